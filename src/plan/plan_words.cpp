#include "plan_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

namespace trimwright {
namespace {

std::string seen_words(const SeenSense& numbered) {
  return fmt::format("the numbers grow {} seen from {}", name(numbered.sense),
                     numbered.seen_from == ViewingEnd::front ? "the front (ahead of the fan, looking aft)"
                                                             : "aft (behind the fan, looking forward)");
}

Step confirm_step(const Job& job, const std::vector<std::size_t>& planes) {
  const Rotor& rotor = job.rotor;
  Step step{StepKind::confirm_numbering,
            "Confirm the numbering on the rotor itself before touching a weight.",
            {},
            true};
  step.particulars.push_back(fmt::format("The rotor turns {} seen from {}.", name(rotor.rotation.sense),
                                         name(rotor.rotation.seen_from)));
  for (const std::size_t p : planes) {
    const Plane& plane = rotor.planes[p];
    if (!plane.slots) continue;
    step.particulars.push_back(fmt::format("{}: {} slots, {}; slot 1 is at {}.", plane.name,
                                           plane.slots->count, seen_words(plane.slots->numbered),
                                           angle_position(rotor, plane.slots->slot_1).text()));
  }
  if (rotor.blades)
    step.particulars.push_back(fmt::format("Blades: {}, {}; blade 1 is at {:.1f}° with rotation.",
                                           rotor.blades->count, seen_words(rotor.blades->numbered),
                                           rotor.blades->blade_1.degrees()));
  return step;
}

Step count_step(const Job& job, const std::vector<std::size_t>& planes) {
  Step step{
      StepKind::count_fitted,
      "A second person counts what is fitted now. If it is not exactly this, stop: the plan does not hold.",
      {},
      true};
  for (const std::size_t p : planes) {
    const Plane& plane = job.rotor.planes[p];
    const auto& fitted = job.fitted_now[p];
    if (fitted.slots.empty() && fitted.free.empty())
      step.particulars.push_back(plane.name + ": no weights" + (plane.slots ? ", fillers only" : ""));
    for (const auto& [slot, piece] : fitted.slots)
      step.particulars.push_back(place_words(job.rotor, p, slot) + ": " + piece_words(plane, piece));
    for (const auto& piece : fitted.free)
      step.particulars.push_back(fmt::format("{}: {:.6g} g mm at {}", plane.name, piece.moment_g_mm,
                                             angle_position(job.rotor, piece.at).text()));
  }
  return step;
}

/// "2 × w3 (...)": pieces by kind.
std::vector<std::string> tally(const Job& job, const std::vector<SlotChange>& changes, bool fitted) {
  std::map<std::string, int> count;
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    const auto& piece = fitted ? change.fit : change.remove;
    if (piece || plane.filler.moment_g_mm > 0.0) ++count[piece_words(plane, piece)];
  }
  std::vector<std::string> lines;
  for (const auto& [words, n] : count) lines.push_back(fmt::format("{} × {}", n, words));
  if (lines.empty()) lines.push_back("none");
  return lines;
}

std::string joined(const std::vector<std::string>& parts) {
  std::string text;
  for (const auto& part : parts) text += (text.empty() ? "" : ", ") + part;
  return text;
}

std::vector<std::string> condition_lines(const Job& job) {
  std::vector<std::string> lines;
  const auto run = std::find_if(job.runs.begin(), job.runs.end(), [](const Run& r) { return !r.set_aside; });
  if (run == job.runs.end()) return lines;
  for (const auto& [what, value] : run->conditions.other)
    lines.push_back(fmt::format("{}: as in \"{}\" ({})", what, run->name, value));
  return lines;
}

}  // namespace

std::string piece_words(const Plane& plane, const std::optional<Piece>& piece) {
  if (!piece) return plane.filler.moment_g_mm > 0.0 ? "the filler" : "nothing (open slot)";
  if (piece->weight_id.empty()) return fmt::format("a piece of {:.6g} g mm", piece->moment_g_mm);
  const Weight* weight = plane.find_weight(piece->weight_id);
  const std::string part = weight->part_number.empty() ? std::string{} : ", part " + weight->part_number;
  if (weight->mass_g && weight->radius_mm)
    return fmt::format("{} ({:.4g} g at {:.5g} mm{})", weight->id, *weight->mass_g, *weight->radius_mm, part);
  return fmt::format("{} ({:.6g} g mm{})", weight->id, weight->moment_g_mm, part);
}

std::string place_words(const Rotor& rotor, std::size_t plane, int slot) {
  return rotor.planes[plane].name + " " + slot_position(rotor, rotor.planes[plane], slot).text();
}

std::vector<Step> opening_steps(const Job& job, const std::vector<std::size_t>& planes) {
  Step safe{StepKind::make_safe,
            "Make safe: engine shut down, rotor stopped and held, starting and ignition isolated and tagged, "
            "intake "
            "clear, as the maker's current manual says.",
            {"Manual and revision: ____________________"},
            true};
  return {safe, confirm_step(job, planes), count_step(job, planes)};
}

std::vector<Step> fitting_steps(const Job& job, const std::vector<SlotChange>& changes) {
  Step out{StepKind::take_out, "Take out:", {}, false};
  Step in{StepKind::put_in, "Put in:", {}, false};
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    const std::string place = place_words(job.rotor, change.plane, change.slot);
    const bool empty_before = !change.remove && plane.filler.moment_g_mm == 0.0;
    const bool empty_after = !change.fit && plane.filler.moment_g_mm == 0.0;
    if (!empty_before) out.particulars.push_back(place + ": " + piece_words(plane, change.remove));
    if (!empty_after) in.particulars.push_back(place + ": " + piece_words(plane, change.fit));
  }
  if (out.particulars.empty()) out.particulars.push_back("nothing");
  if (in.particulars.empty()) in.particulars.push_back("nothing");
  Step check{
      StepKind::second_check,
      "A second person checks every slot of the plane against this list, then counts the pieces left over.",
      {"Drawn from stock: " + joined(tally(job, changes, true)),
       "Left over and returned: " + joined(tally(job, changes, false))},
      true};
  Step torque{
      StepKind::torque_and_locking,
      "Torque and lock every fastener that was touched, with the values of the maker's current manual.",
      {"Torque (from the manual): __________", "Locking (from the manual): __________",
       "Manual revision: __________"},
      true};
  return {out, in, check, torque};
}

std::vector<Step> running_steps(const Job& job, const std::vector<ExpectedReading>& expected) {
  std::set<std::size_t> speeds;
  for (const auto& one : expected) speeds.insert(one.speed);
  std::vector<std::string> listed;
  for (const std::size_t s : speeds) {
    const double rpm = job.speeds_rpm[s];
    listed.push_back(job.rotor.speed_100_rpm
                         ? fmt::format("{:.0f} rpm ({:.1f} %)", rpm, 100.0 * rpm / *job.rotor.speed_100_rpm)
                         : fmt::format("{:.0f} rpm", rpm));
  }
  Step run{StepKind::run,
           "Run at these speeds, under the same conditions as the runs before: " + joined(listed) + ".",
           condition_lines(job), false};
  Step stop{
      StepKind::stop_levels,
      "End the run at once when any reading passes its stop level in the table, or on any sign of rubbing, "
      "looseness or a sudden change; the manual's own limits hold where they are lower.",
      {},
      false};
  Step compare{StepKind::compare,
               "Write down amplitude and phase at each speed beside the expected readings.",
               {},
               true};
  return {run, stop, compare};
}

}  // namespace trimwright
