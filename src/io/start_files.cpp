#include "start_files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "base/name.hpp"
#include "base/new_file.hpp"
#include "base/text.hpp"
#include "csv_rows.hpp"
#include "trade_values.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> items(const std::string& list) {
  std::vector<std::string> found(1);
  for (const char c : list) {
    if (c == ',')
      found.emplace_back();
    else if (c != ' ' || !found.back().empty())
      found.back() += c;
  }
  for (auto& one : found) one.erase(one.find_last_not_of(' ') + 1);
  return found;
}

constexpr const char* usual_planes = "front plane 32, rear plane 24";

/// The text without `word` and the blanks before it, where it ends so and something else is left.
std::string without_last_word(const std::string& text, const std::string& word) {
  const std::string end = " " + word;
  if (text.size() <= end.size() || !lower_case(text).ends_with(end)) return text;
  const std::string rest = text.substr(0, text.size() - end.size());
  return rest.substr(0, rest.find_last_not_of(' ') + 1);
}

struct StartPlane {
  std::string name;
  int slots = 0;
};

struct StartSensor {
  std::string name;
  VibrationUnit unit;
};

/// Ids of the two weights written for a plane.
std::pair<std::string, std::string> weights_of(std::size_t plane) {
  const char letter = static_cast<char>('A' + plane % 26);
  return {fmt::format("{}2", letter), fmt::format("{}5", letter)};
}

Result<std::string> name_in(const std::string& text, const std::vector<std::string>& others) {
  auto name = parse_name(text);
  if (name && std::any_of(others.begin(), others.end(), [&](const auto& one) { return alike(one, *name); }))
    return fail("\"" + *name + "\" stands here twice", "a name of its own for each");
  return name;
}

/// "front plane 32, rear plane 24".
Result<std::vector<StartPlane>> parse_planes(const std::string& text) {
  std::vector<StartPlane> planes;
  std::vector<std::string> names;
  for (std::string one : items(text)) {
    for (const char* counted : {"slots", "slot", "holes", "hole"}) one = without_last_word(one, counted);
    const auto blank = one.find_last_of(' ');
    const auto count =
        parse_quantity(blank == one.npos ? std::string_view{} : std::string_view(one).substr(blank));
    if (!count || !count->unit.empty() || count->value != static_cast<int>(count->value) ||
        count->value < 1 || count->value > 400)
      return fail(
          "\"" + shortened(one) + "\" is no plane with its number of slots",
          "a name and a number from 1 to 400 for each plane, such as \"" + std::string(usual_planes) + "\"");
    const auto name = name_in(one.substr(0, blank), names);
    if (!name) return tl::unexpected(name.error());
    names.push_back(*name);
    planes.push_back({*name, static_cast<int>(count->value)});
  }
  return planes;
}

/// "front in/s peak, rear mil pp": the unit begins at the first word that makes one with those behind it.
Result<std::vector<StartSensor>> parse_sensors(const std::string& text) {
  std::vector<StartSensor> sensors;
  std::vector<std::string> names;
  for (const auto& one : items(text)) {
    std::optional<VibrationUnit> unit;
    std::size_t blank = one.find(' ');
    for (; blank != one.npos && !unit; blank = unit ? blank : one.find(' ', blank + 1))
      if (const auto found = parse_vibration_unit(one.substr(blank + 1))) unit = *found;
    if (!unit)
      return fail(
          "\"" + shortened(one) + "\" is no sensor with its unit",
          "a name and a unit with peak, pp or rms for each sensor, such as \"front in/s peak, rear mil pp\"");
    std::string called = one.substr(0, blank);
    for (const auto quantity :
         {MotionQuantity::displacement, MotionQuantity::velocity, MotionQuantity::acceleration}) {
      const std::string rest = without_last_word(called, std::string(name(quantity)));
      if (rest != called && quantity != unit->quantity)
        return fail(
            "\"" + shortened(one) + "\": " + unit->text() + " is no unit of " + std::string(name(quantity)),
            "a unit of " + std::string(name(quantity)));
      called = rest;
    }
    const auto name = name_in(called, names);
    if (!name) return tl::unexpected(name.error());
    names.push_back(*name);
    sensors.push_back({*name, *unit});
  }
  return sensors;
}

/// "clockwise from aft".
Result<SeenSense> parse_rotation(const std::string& text) {
  for (const auto sense : {Sense::clockwise, Sense::counterclockwise})
    for (const auto end : {ViewingEnd::front, ViewingEnd::aft})
      if (text == fmt::format("{} from {}", name(sense), name(end))) return SeenSense{sense, end};
  return fail(
      "\"" + shortened(text) + "\" does not say how the rotor turns",
      "clockwise from front, clockwise from aft, counterclockwise from front or counterclockwise from aft");
}

Result<PhaseConvention> parse_convention(const std::string& text) {
  if (text == "lag") return PhaseConvention::lag;
  if (text == "lead") return PhaseConvention::lead;
  if (text == "unknown") return PhaseConvention::unknown;
  return fail("\"" + shortened(text) + "\" is no way to count phase", "lag, lead or unknown");
}

/// The speed that is 100 %, with its unit: a number alone is in rpm.
std::string rpm_text(const std::string& text) {
  const auto quantity = parse_quantity(text);
  return quantity && quantity->unit.empty() ? text + " rpm" : text;
}

/// The items of a list of speeds, each with a unit: a number alone has that of the next item that has one;
/// with none behind it, it is in rpm where it is too large for a share.
std::vector<std::string> speeds_with_units(const std::string& text) {
  constexpr double largest_share = 105.0;
  auto speeds = items(text);
  std::string unit;
  for (auto one = speeds.rbegin(); one != speeds.rend(); ++one) {
    const auto quantity = parse_quantity(*one);
    if (!quantity) continue;
    if (!quantity->unit.empty())
      unit = quantity->unit;
    else if (!unit.empty() || quantity->value > largest_share)
      *one += " " + (unit.empty() ? "rpm" : unit);
  }
  return speeds;
}

/// Speeds with their units, each in % of a rotor that runs at `full_rpm`, or in rpm.
Result<std::vector<std::string>> parse_speeds(const std::string& text, double full_rpm) {
  Rotor rotor;
  rotor.speed_100_rpm = full_rpm;
  std::vector<std::string> speeds;
  for (const auto& one : speeds_with_units(text)) {
    const auto rpm = parse_speed(one, rotor);
    if (!rpm) return tl::unexpected(rpm.error());
    if (*rpm > 1.05 * full_rpm)
      return fail("\"" + shortened(one) + "\" is above 105 % of the speed that is 100 %",
                  "a speed that is run");
    if (std::find(speeds.begin(), speeds.end(), one) != speeds.end())
      return fail("\"" + one + "\" stands here twice", "each speed once");
    speeds.push_back(one);
  }
  return speeds;
}

/// "0.06 in/s, 0.3 mil": for each sensor in turn the most that its readings differ, peak in its unit.
Result<std::vector<double>> parse_differences(const std::string& text,
                                              const std::vector<StartSensor>& sensors) {
  const auto written = items(text);
  if (written.size() != sensors.size())
    return fail(fmt::format("\"{}\" tells {} of {}", shortened(text), counted(written.size(), "amount"),
                            counted(sensors.size(), "sensor")),
                "an amount for each sensor in turn, such as \"0.06 in/s, 0.3 mil\"");
  std::vector<double> most;
  for (std::size_t s = 0; s < sensors.size(); ++s) {
    const auto peak = parse_peak_amplitude(written[s], sensors[s].unit);
    if (!peak) return tl::unexpected(peak.error());
    if (!(*peak > 0.0)) return fail("no reading repeats exactly", "an amount above zero");
    most.push_back(*peak);
  }
  return most;
}

template <class T>
Result<void> only_error(const Result<T>& result) {
  if (!result) return tl::unexpected(result.error());
  return {};
}

/// A text as YAML takes it back: plain where nothing in it could be mistaken.
std::string yaml_text(const std::string& text) {
  const bool plain = std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == ' ' ||
           c == '-' || c == '/' || c == '%' || c == '.';
  });
  const bool begins =
      !text.empty() && ((text[0] >= 'a' && text[0] <= 'z') || (text[0] >= 'A' && text[0] <= 'Z') ||
                        (text[0] >= '0' && text[0] <= '9'));
  return plain && begins && lower_case(text) != "null" ? text : nlohmann::json(text).dump();
}

/// Invented limits, in the sensor's unit: 25 mm/s, 127 µm peak to peak, 2 g.
double assumed_limit(const VibrationUnit& unit) {
  const double peak_si = unit.quantity == MotionQuantity::velocity       ? 0.025
                         : unit.quantity == MotionQuantity::displacement ? 63.5e-6
                                                                         : 2.0 * 9.80665;
  return unit.shown_from_peak(peak_si / unit.si_per_unit);
}

/// `differ`: the most that readings differ, peak, where that was answered.
std::string sensor_block(const StartSensor& sensor, const std::optional<double>& differ) {
  const double limit = assumed_limit(sensor.unit);
  const std::string& symbol = sensor.unit.symbol;
  return fmt::format(
      "  - name: {}\n    measures: {}\n    unit: {}\n    limits:\n"
      "      - {{up_to: 105 %, limit: {:.2g} {}, target: {:.2g} {}}}\n"
      "    repeatability: {:.2g} {}{}\n    # proportional: 3 %\n    # run_to_run: {:.2g} {}\n",
      yaml_text(sensor.name), name(sensor.unit.quantity), yaml_text(sensor.unit.text()), limit, symbol,
      0.25 * limit, symbol, differ ? sensor.unit.shown_from_peak(*differ) / 3.0 : 0.01 * limit, symbol,
      differ ? fmt::format("  # a third of {:.3g} {}", sensor.unit.shown_from_peak(*differ), symbol) : "",
      0.05 * limit, symbol);
}

std::string plane_block(const StartPlane& plane, std::size_t index) {
  const auto [light, heavy] = weights_of(index);
  return fmt::format(
      "  - name: {}\n    slots: {{count: {}, slot_1_at: 0 deg, numbered: clockwise, "
      "seen_from: "
      "front}}\n    weights:\n      - {{id: {}, mass: 2 g, radius: 200 mm, stock: 10}}\n"
      "      - {{id: {}, mass: 5 g, radius: 200 mm, stock: 10}}\n",
      yaml_text(plane.name), plane.slots, light, heavy);
}

std::string answer_of(const StartAnswers& answers, const std::string& key) {
  if (const auto found = answers.find(key); found != answers.end() && !found->second.empty())
    return found->second;
  for (const auto& question : start_questions())
    if (question.key == key) return question.usual;
  return {};
}

std::string rotor_file(const StartAnswers& answers, const std::vector<StartPlane>& planes,
                       const std::vector<StartSensor>& sensors, const std::vector<double>& differ) {
  std::string assumed;
  for (const auto& question : start_questions()) {
    const auto found = answers.find(question.key);
    const bool answered = found != answers.end() && !found->second.empty();
    if (!answered && !question.confirmed.empty()) assumed += question.confirmed + ", ";
  }
  assumed += "speed_tolerance, reference, slot numbering, weights, limits";
  const SeenSense rotation = *parse_rotation(answer_of(answers, "rotation"));
  std::string text = fmt::format(
      R"(trimwright: rotor 1
# What is balanced. Compare every line with the maker's manual and the rotor itself.
# All keys are told in docs/file-formats.md.
name: {}
# Only assumed so far. Put each right below, then take its words off this list. Until the
# list is gone trimwright advises no weight.
to_confirm: [{}]
# The sense of rotation, and from which end it is seen: front is ahead of the fan, aft behind it.
rotation: {{sense: {}, seen_from: {}}}
# How the instrument counts phase: lag, lead, or unknown (then the trial runs must settle it).
phase: {}
speed_100: {}
# Readings this close to each other belong to one speed.
speed_tolerance: 1 %
# Without the rotor's mass the trial weight has to be named by you.
# mass: 260 kg
# The ring of reference teeth. All angles start at the larger tooth; of a single tooth or
# mark write teeth: 1, larger_tooth: 1. Where recordings are read, add polarity: falling
# or rising.
reference: {{teeth: 1, larger_tooth: 1}}
# Each plane: its slots, where slot 1 is (0 deg is the reference tooth, else as in
# "9 deg against rotation"), which way the numbers grow, seen from where; every weight that
# it takes, with its stock (those that are fitted count too). Where two planes are filled from one
# box, share its pieces out between their stocks: nothing counts them together. An empty slot that
# holds a plug has a filler: {{mass: 1 g, radius: 200 mm}}. A plane that is hard to reach has
# access: hard; it is then the last to be tried.
planes:
)",
      yaml_text(answer_of(answers, "name")), assumed, name(rotation.sense), name(rotation.seen_from),
      answer_of(answers, "phase"), rpm_text(answer_of(answers, "speed-100")));
  for (std::size_t i = 0; i < planes.size(); ++i) text += plane_block(planes[i], i);
  text += R"(# Each sensor: its unit with peak, pp or rms; limits by rising speed, and what a trim aims at.
# How far readings repeat when nothing was changed is told by up to three figures. If you know
# the most that such readings ever differ, write a third of it. A figure is right when about two
# readings in three are no further than it from the middle of them all.
#   repeatability: readings of one place one after the other, in the sensor's unit.
#   proportional: the same as a part of the reading. Only where large readings repeat worse than
#     small ones: take its # away and write your figure.
#   run_to_run: what changes between two runs with nothing changed (warm-up, seating of blades,
#     wind). On wing 5 to 15 % of a reading and 5 to 20 deg are ordinary (common practice, no
#     published source); a phase that turns by 10 deg counts as 17 % of the reading, 20 deg as 35 %.
#     The figure below is 10 % of a reading at half the limit: put it right and take its # away.
#     Not needed where a run is made twice with nothing changed: the two runs then tell it.
# Figures that are too small make a plan look surer than it is. Figures that are too large lower
# the chance that it gives, and let a wrong weight pass the check.
sensors:
)";
  for (std::size_t s = 0; s < sensors.size(); ++s)
    text += sensor_block(sensors[s], differ.empty() ? std::nullopt : std::optional(differ[s]));
  return text;
}

std::string job_file(const StartAnswers& answers, const std::vector<StartPlane>& planes,
                     const std::vector<std::string>& speeds) {
  const std::string serial = answer_of(answers, "serial");
  std::string text =
      R"(trimwright: job 1
# What was done on one engine. Enter each run in the order made, with ALL that was fitted.
rotor: rotor.yaml
)";
  text += serial.empty() ? "# Needed to file the job.\n# serial: 123456\n"
                         : "serial: " + yaml_text(serial) + "\n";
  text += "# Amplitude and phase of every run: one row for each speed.\nreadings: readings.csv\nspeeds:\n";
  for (const auto& speed : speeds) text += "  - {at: " + yaml_text(speed) + "}\n";
  const std::string plane = yaml_text(planes.front().name);
  const auto [light, heavy] = weights_of(0);
  const int slots = planes.front().slots;
  return text + fmt::format(R"(runs:
  - name: as found
    # when: 2031-05-12 09:40
    # who: R. Orrin
    # conditions: {{warm_up: 5 min at idle, dwell: 60 s, wind: 4 kt on the nose}}
    # All weights that are in, by plane and slot, as {{{plane}: {{{one}: {light}, {other}: {heavy}}}}}; none: empty
    # slots and fillers only.
    fitted: none
  # A second run with nothing changed shows how far readings repeat:
  # - name: repeat
  #   fitted: same as as found
  # The trial run, once "trimwright trial job.yaml" has named its weight:
  # - name: trial
  #   fitted: {{{plane}: {{{other}: {heavy}}}}}
# What is on the rotor when the plan is made, where the trial weight has been taken out again:
# fitted_now: same as as found
)",
                            fmt::arg("plane", plane), fmt::arg("light", light), fmt::arg("heavy", heavy),
                            fmt::arg("one", 1), fmt::arg("other", (slots + 1) / 2));
}

std::string reading_file(const std::vector<std::string>& speeds, const std::vector<StartSensor>& sensors,
                         const std::string& convention) {
  std::vector<std::string> heading{"run", "speed"};
  for (const auto& sensor : sensors) {
    heading.push_back(sensor.name + " [" + sensor.unit.text() + "]");
    heading.push_back(sensor.name + (convention == "unknown" ? " [deg]" : " [deg " + convention + "]"));
  }
  heading.emplace_back("note");
  // Spreadsheets of countries with a decimal comma part cells at semicolons, others at commas; told which it
  // is, all read it.
  std::string text = "sep=;\r\n" + csv_line(heading, ';');
  for (const auto& speed : speeds) {
    std::vector<std::string> row(heading.size());
    row[0] = "as found";
    row[1] = speed;
    text += csv_line(row, ';');
  }
  return text;
}

}  // namespace

const std::vector<StartQuestion>& start_questions() {
  static const std::vector<StartQuestion> questions{
      {"name", "What is the type of rotor called?", "Rotor type", "name"},
      {"serial", "Serial of the engine?", "", ""},
      {"rotation", "How does the rotor turn: clockwise or counterclockwise, from front or aft?",
       "clockwise from aft", "rotation"},
      {"speed-100", "What speed is 100 %?", "4740 rpm", "speed_100"},
      {"phase", "How does the instrument count phase: lag, lead or unknown?", "lag", "phase"},
      {"planes", "Planes that take weights, each with its number of slots?", usual_planes, "planes"},
      {"sensors", "Vibration sensors, each with its unit and peak, pp or rms?",
       "front in/s peak, rear mil pp", "sensors"},
      {"repeatability",
       "Within how much do readings repeat? For each sensor the most that they differ when nothing was "
       "changed, "
       "such as 0.06 in/s, 0.3 mil",
       "", "repeatability"},
      {"speeds", "Speeds at which readings are taken?", "60 %, 70 %, 80 %, 90 %, 95 %", ""}};
  return questions;
}

Result<void> check_start_answer(const std::string& key, const std::string& answer,
                                const StartAnswers& others) {
  if (key == "name" || key == "serial") return only_error(parse_name(answer));
  if (key == "rotation") return only_error(parse_rotation(answer));
  if (key == "speed-100") return only_error(parse_rpm(rpm_text(answer)));
  if (key == "phase") return only_error(parse_convention(answer));
  if (key == "planes") return only_error(parse_planes(answer));
  if (key == "sensors") return only_error(parse_sensors(answer));
  if (key == "repeatability") {
    const auto sensors = parse_sensors(answer_of(others, "sensors"));
    return sensors ? only_error(parse_differences(answer, *sensors)) : only_error(sensors);
  }
  if (key == "speeds") return only_error(parse_speeds(answer, 1e9));
  return fail("nothing called \"" + shortened(key) + "\" is asked", "one of the questions");
}

Result<std::vector<std::pair<std::string, std::string>>> start_files(const StartAnswers& answers) {
  for (const auto& [key, answer] : answers)
    if (const auto fits = check_start_answer(key, answer, answers); !answer.empty() && !fits) {
      Error error = fits.error();
      error.what = "--" + key + ": " + error.what;
      return tl::unexpected(error);
    }
  const auto planes = parse_planes(answer_of(answers, "planes"));
  const auto sensors = parse_sensors(answer_of(answers, "sensors"));
  const auto speeds =
      parse_speeds(answer_of(answers, "speeds"), *parse_rpm(rpm_text(answer_of(answers, "speed-100"))));
  if (!speeds) return tl::unexpected(speeds.error());
  const std::string repeat = answer_of(answers, "repeatability");
  const auto differ = repeat.empty() ? Result<std::vector<double>>(std::vector<double>{})
                                     : parse_differences(repeat, *sensors);
  if (!differ) return tl::unexpected(differ.error());
  return std::vector<std::pair<std::string, std::string>>{
      {"rotor.yaml", rotor_file(answers, *planes, *sensors, *differ)},
      {"job.yaml", job_file(answers, *planes, *speeds)},
      {"readings.csv", reading_file(*speeds, *sensors, answer_of(answers, "phase"))}};
}

Result<std::vector<std::string>> start_folder(const std::string& folder, const StartAnswers& answers) {
  const auto files = start_files(answers);
  if (!files) return tl::unexpected(files.error());
  std::vector<std::string> names;
  for (const auto& [name, text] : *files) names.push_back(name);
  names.emplace_back("run-sheet.html");
  std::error_code status;
  for (const auto& name : names)
    if (fs::exists(fs::path(folder) / name, status))
      return fail("there is a " + name + " already", "a new folder, or one without a job", {folder, 0, {}});
  fs::create_directories(folder, status);
  if (status)
    return fail("the folder cannot be made (" + status.message() + ")", "a folder this user may write to",
                {folder, unwritten, {}});
  const auto path = [&](const std::string& name) { return (fs::path(folder) / name).string(); };
  for (const auto& [name, text] : *files)
    if (const auto written = write_text_file(path(name), text, NewFile::Existing::refused); !written)
      return tl::unexpected(written.error());
  const auto job = read_job(path("job.yaml"));
  if (!job) return tl::unexpected(job.error());
  const auto sheet =
      write_text_file(path("run-sheet.html"), run_sheet_page(job->job), NewFile::Existing::refused);
  if (!sheet) return tl::unexpected(sheet.error());
  return names;
}

}  // namespace trimwright
