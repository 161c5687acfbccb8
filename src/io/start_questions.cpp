#include "start_questions.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "start_answers.hpp"
#include "start_table.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

constexpr const char* assumed_sensors = "front in/s peak, rear mil pp";

bool any_in_percent(const StartJob& job) {
  return std::any_of(job.speeds.begin(), job.speeds.end(),
                     [](const auto& one) { return one.ends_with('%'); });
}

}  // namespace

const std::vector<StartQuestion>& start_questions() {
  static const std::vector<StartQuestion> questions{
      {AskedOf::job, "name", "What is the type of rotor called?",
       "Jobs on rotors of one type learn from one another.", "Larkmere fan",
       "not known yet; \"Rotor type\" stands there until you put it right", "name", take_name},
      {AskedOf::job, "serial", "What is the serial of the engine?", "A job is filed under it.", "LKM-512",
       "left open; needed only to file the job", "", take_serial},
      {AskedOf::job, "planes", "Which planes take weights, and how many slots has each?",
       "A plane is a ring of slots or holes for balance weights. Name each as you call it.",
       "front plane 32, rear plane 24", "left open", "planes", take_planes},
      {AskedOf::job, "rotation", "Which way does the rotor turn, and seen from which end?",
       "Front is ahead of the fan, looking aft; aft is behind it, looking forward.", "clockwise from aft",
       "not known yet; clockwise from aft is assumed until you confirm it", "rotation", take_rotation},
      {AskedOf::planes, "slots", "{}: where is slot 1, and which way do the slot numbers grow?",
       "Angles begin at the larger tooth or the one mark of the phase reference, which is 0 deg.",
       "slot 1 at 0 deg, clockwise from front", "not known yet; the example is assumed until you confirm it",
       "", take_slots},
      {AskedOf::planes, "radius", "{}: at which radius do the weights sit?",
       "From the axis of the shaft to the middle of the weight in its hole.", "250 mm, or 10 in", "left open",
       "", take_radius},
      {AskedOf::planes, "weights", "{}: which weights are in the kit?",
       "Each kind once, with its name and mass, or the mass alone. Behind it the number at hand, if you "
       "like.",
       "S1 2.5 g, S2 5 g x 10, or 2.5 g, 5 g, 7.5 g", "left open", "", take_weights},
      {AskedOf::job, "sensors",
       "Which vibration sensors are there, in which unit, and is it peak, pp or rms?",
       "The unit as the instrument shows it. A table of readings gets two columns for each sensor.",
       assumed_sensors, "not known yet; the example is assumed until you confirm it", "sensors",
       take_sensors},
      {AskedOf::job, "phase", "How does the instrument count phase: lag, lead or unknown?",
       "Lag: from the pulse of the reference to the next positive peak. The instrument's manual says it.",
       "lag", "not known yet; lag is assumed until you confirm it", "phase", take_phase},
      {AskedOf::job, "teeth", "How many teeth has the ring of the phase reference?",
       "All teeth, the larger one too; 1 where there is a single tooth or mark.", "1",
       "1 is written; the number matters only where recordings are read", "", take_teeth},
      {AskedOf::sensors, "limits", "{}: what is its limit, and the target of a trim?",
       "No reading may be above the limit; a trim aims below the target. The maker's manual gives the limit.",
       "limit 1.0 in/s, target 0.3", "left open; no weight is advised before", "", take_limits},
      {AskedOf::sensors, "repeatability",
       "{}: how much do its readings differ at most when nothing was changed?",
       "Two readings of one speed one after the other. It tells how sure an answer can be.", "0.06 in/s",
       "left open", "", take_repeatability},
      {AskedOf::job, "speeds", "At which speeds are readings taken?",
       "Each gets a row in the table of readings. In rpm, or in % of the speed that is 100 %.",
       "3200 3600 4104 rpm, or 60 %, 80 %, 95 %", "left open", "", take_speeds},
      {AskedOf::job, "speed-100", "Which speed is 100 %?", "Speeds may then be written in %.", "4740 rpm",
       "left open; speeds are then in rpm", "", take_speed_100},
      {AskedOf::job, "mass", "What is the mass of the rotor?",
       fmt::format("The first trial weight is chosen by it: its pull stays below {:.0f} % of the rotor's "
                   "weight.",
                   100.0 * trial_force_share),
       "260 kg", "left open; then you name the trial weight yourself", "", take_mass},
      {AskedOf::runs, "fitted", "{}: which weights are in, and in which slots?",
       "ALL that is in, not only what was added: plane, slot, weight. Or none, or \"same as\" and a run.",
       "front plane 7 S2, rear plane 3 S1", "none: empty slots and fillers only", "", take_fitted}};
  return questions;
}

std::vector<std::string> named_by(const StartQuestion& question, const StartJob& job) {
  if (job.is_told(question.key)) return {};
  switch (question.asked_of) {
    case AskedOf::planes:
      return job.is_told("planes") ? names_of(job.planes) : std::vector<std::string>{};
    case AskedOf::sensors:
      return job.is_told("sensors") ? names_of(job.sensors) : std::vector<std::string>{};
    case AskedOf::job:
      return question.key == "mass" && job.has_trials() ? std::vector<std::string>{}
                                                        : std::vector<std::string>{""};
    case AskedOf::runs:
      break;
  }
  const bool known = std::any_of(job.planes.begin(), job.planes.end(),
                                 [](const auto& plane) { return plane.has_weights(); });
  return known ? job.runs_and_now() : std::vector<std::string>{};
}

std::string example_of(const StartQuestion& question, const std::string& of, const StartJob& job) {
  std::string example = question.example;
  if (question.key == "fitted") {
    example.clear();
    for (const auto& plane : job.planes)
      if (plane.has_weights() && plane.slots > 6)
        example += (example.empty() ? "" : ", ") + plane.name + " 7 " + plane.weights.back().id;
    return example.empty() ? "none" : example;
  }
  for (const auto& sensor : job.sensors)
    if (const auto at = example.find("in/s"); sensor.name == of && at != example.npos)
      example.replace(at, 4, sensor.unit.symbol);
  return example;
}

std::string enter_means(const StartQuestion& question, const std::string& of, const StartJob& job) {
  const bool now = question.key == "fitted" && of == "now" && job.has_trials();
  return now ? "the same as in run \"" + job.runs.back().name + "\", the last" : question.enter;
}

std::string enter_answer(const StartQuestion& question, const std::string& of, const StartJob& job) {
  const bool now = question.key == "fitted" && of == "now" && job.has_trials();
  return now ? "same as " + job.runs.back().name : "";
}

std::string why_needed(const StartQuestion& question, const std::string& of, const StartJob& job) {
  const std::string& key = question.key;
  if (key == "speed-100" && any_in_percent(job)) return "there are speeds in %";
  if (!job.has_trials()) return {};
  if (key == "fitted" && (of == "now" || of == job.runs.front().name)) return {};
  if (key == "planes" || key == "radius" || key == "weights" || key == "fitted")
    return "the table has readings of run \"" + (key == "fitted" ? of : job.runs[1].name) +
           "\", and what was in must be known";
  return {};
}

Result<StartJob> begun_job(const std::string& table) {
  StartJob job;
  if (!table.empty())
    if (const auto taken = take_table(table, job); !taken) return tl::unexpected(taken.error());
  return job;
}

Result<StartJob> start_job(const StartAnswers& answers, StartJob job) {
  const std::string of_table = job.is_told("phase") ? job.phase : "";
  for (const auto& question : start_questions()) {
    const auto answer = answers.find(question.key);
    if (answer == answers.end() || answer->second.empty()) continue;
    if ((question.key == "sensors" || question.key == "speeds") && job.is_told(question.key))
      return fail("--" + question.key + ": the table of readings tells them", "no --" + question.key);
    if (auto taken = question.take(answer->second, job); !taken) {
      taken.error().what = "--" + question.key + ": " + taken.error().what;
      return tl::unexpected(taken.error());
    }
    if (question.key == "phase" && !of_table.empty() && of_table != job.phase)
      return fail("--phase: the headings of the table say " + of_table, "no --phase");
    job.told.insert(question.key);
  }
  if (job.sensors.empty())
    if (const auto assumed = take_sensors(assumed_sensors, job); !assumed)
      return tl::unexpected(assumed.error());
  return job;
}

Result<void> check_complete(const StartJob& job) {
  if (job.speed_100.empty() && any_in_percent(job))
    return fail("there are speeds in %, and nothing says what 100 % is", "--speed-100, such as \"4740 rpm\"");
  if (job.has_trials())
    for (std::size_t r = 1; r < job.runs.size(); ++r)
      if (job.runs[r].fitted.empty())
        return fail("nothing says which weights were in when run \"" + job.runs[r].name + "\" was made",
                    "--fitted, such as \"" + job.runs[r].name + ": " + job.planes[0].name +
                        " 7 S2\" (and --planes, --radius, --weights)");
  return {};
}

}  // namespace trimwright
