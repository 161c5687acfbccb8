#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "start_questions.hpp"
#include "start_texts.hpp"
#include "trade_values.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

/// What a person has to compare before a weight is advised: its words, and what leads to its line, one after
/// the other.
struct OpenItem {
  std::string words;
  std::vector<std::string> leads;
};

std::vector<OpenItem> open_items(const StartJob& job) {
  std::vector<OpenItem> open;
  const auto name_line = [](const std::string& name) { return "\n  - name: " + yaml_text(name) + "\n"; };
  for (const auto& question : start_questions())
    if (!question.confirmed.empty() && !job.is_told(question.key))
      open.push_back({question.confirmed, {"\n" + question.confirmed + ":"}});
  for (const auto& plane : job.planes)
    if (plane.slots > 0 && (!plane.numbering || plane.numbering->taken_over))
      open.push_back({"slot numbering of " + plane.name, {"\nplanes:", name_line(plane.name), "slots:"}});
  for (const auto& sensor : job.sensors)
    if (sensor.limit.empty())
      open.push_back({"limits of " + sensor.name, {"\nsensors:", name_line(sensor.name), "limits:"}});
  return open;
}

std::string to_confirm_text(const StartJob& job) {
  std::string list;
  for (const auto& one : open_items(job)) list += (list.empty() ? "" : ", ") + yaml_text(one.words);
  if (list.empty()) return {};
  return "# Not told, or only assumed so far. Put each right below, then take its words off this list. Until "
         "the\n# list is gone trimwright advises no weight.\nto_confirm: [" +
         list + "]\n";
}

/// Readings within 1 % belong to one speed; in rpm of the highest one where nothing says what 100 % is.
std::string speed_tolerance(const StartJob& job) {
  if (!job.speed_100.empty()) return "1 %";
  double highest = 0.0;
  for (const auto& speed : job.speeds)
    if (const auto rpm = parse_rpm(speed)) highest = std::max(highest, *rpm);
  return fmt::format("{:.0f} rpm", highest > 0.0 ? std::ceil(0.01 * highest) : 50.0);
}

std::string weight_lines(const StartPlane& plane) {
  const std::string radius = plane.radius.empty() ? "R mm" : plane.radius;
  if (plane.weights.empty())
    return fmt::format(
        "    # Each kind of weight with its name, mass and radius; stock only where they are counted:\n"
        "    # weights:\n    #   - {{id: NAME, mass: M g, radius: {}, stock: N}}\n",
        radius);
  const std::string lead = plane.has_weights() ? "    " : "    # ";
  std::string text = plane.has_weights() ? "" : "    # Write the radius for R, then take the # away:\n";
  text += lead + "weights:\n";
  for (const auto& one : plane.weights)
    text += fmt::format("{}  - {{id: {}, {}{}}}\n", lead, yaml_text(one.id),
                        one.is_moment ? "moment: " + yaml_text(one.amount)
                                      : "mass: " + yaml_text(one.amount) + ", radius: " + yaml_text(radius),
                        one.stock ? fmt::format(", stock: {}", *one.stock) : "");
  return text;
}

std::string plane_block(const StartPlane& plane) {
  std::string text = "  - name: " + yaml_text(plane.name) + "\n";
  if (plane.slots == 0)
    return text +
           "    # slots: {count: N, slot_1_at: 0 deg, numbered: clockwise, seen_from: front}\n"
           "    # weights:\n    #   - {id: NAME, mass: M g, radius: R mm}\n";
  const StartNumbering numbering = plane.numbering.value_or(StartNumbering{});
  return text +
         fmt::format("    slots: {{count: {}, slot_1_at: {}, numbered: {}, seen_from: {}}}\n", plane.slots,
                     yaml_text(numbering.slot_1_at), name(numbering.numbered.sense),
                     name(numbering.numbered.seen_from)) +
         weight_lines(plane);
}

/// The limit in the sensor's unit as shown; none: not told.
std::optional<double> shown_limit(const StartSensor& sensor) {
  if (sensor.limit.empty()) return std::nullopt;
  return sensor.unit.shown_from_peak(*parse_peak_amplitude(sensor.limit, sensor.unit));
}

std::string sensor_block(const StartSensor& sensor) {
  const std::string& symbol = sensor.unit.symbol;
  std::string text = fmt::format("  - name: {}\n    measures: {}\n    unit: {}\n", yaml_text(sensor.name),
                                 name(sensor.unit.quantity), yaml_text(sensor.unit.text()));
  const auto limit = shown_limit(sensor);
  if (limit)
    text += fmt::format("    limits:\n      - {{limit: {}{}}}\n", yaml_text(sensor.limit),
                        sensor.target.empty() ? "" : ", target: " + yaml_text(sensor.target));
  else
    text += fmt::format("    # limits:\n    #   - {{limit: L {0}, target: T {0}}}\n", symbol);
  const auto differ =
      sensor.differ ? std::optional(sensor.unit.shown_from_peak(*sensor.differ)) : std::nullopt;
  text += differ ? fmt::format("    repeatability: {:.2g} {}  # a third of {:.3g} {}\n", *differ / 3.0,
                               symbol, *differ, symbol)
                 : fmt::format("    # repeatability: R {}\n", symbol);
  text += "    # proportional: 3 %\n";
  return text + (limit ? fmt::format("    # run_to_run: {:.2g} {}\n", 0.05 * *limit, symbol)
                       : fmt::format("    # run_to_run: R {}\n", symbol));
}

}  // namespace

std::vector<LineToConfirm> lines_to_confirm(const StartJob& job, const std::string& rotor_text) {
  std::vector<LineToConfirm> lines;
  const auto line_of = [&](const std::vector<std::string>& leads) {
    std::size_t at = 0, end = 0;
    for (const auto& lead : leads) {
      at = rotor_text.find(lead, end);
      if (at == rotor_text.npos) return std::ptrdiff_t{1};
      end = at + lead.size() - (lead.ends_with('\n') ? 1 : 0);
      if (lead.starts_with('\n')) ++at;
    }
    return 1 + std::count(rotor_text.begin(), rotor_text.begin() + static_cast<std::ptrdiff_t>(at), '\n');
  };
  for (const auto& one : open_items(job)) lines.push_back({line_of(one.leads), one.words});
  if (!lines.empty()) lines.push_back({line_of({"\nto_confirm:"}), "to_confirm"});
  return lines;
}

std::string start_rotor_text(const StartJob& job) {
  std::string text = fmt::format(
      R"(trimwright: rotor 1
# What is balanced. Compare every line with the maker's manual and the rotor itself.
# All keys are told in docs/file-formats.md.
name: {}
{}# The sense of rotation, and from which end it is seen: front is ahead of the fan, aft behind it.
rotation: {{sense: {}, seen_from: {}}}
# How the instrument counts phase: lag, lead, or unknown (then the trial runs must settle it).
phase: {}
{}# Readings this close to each other belong to one speed.
speed_tolerance: {}
# Without the rotor's mass the trial weight has to be named by you.
{}
# The ring of reference teeth. All angles start at the larger tooth; a single tooth or mark is
# teeth: 1, larger_tooth: 1. The number of teeth matters only where recordings are read. Where recordings are read, add polarity: falling or rising.
reference: {{teeth: {}, larger_tooth: 1}}
# Each plane: its slots, where slot 1 is (0 deg is the reference tooth, else as in
# "9 deg against rotation"), which way the numbers grow, seen from where; every weight that
# it takes, with its stock where they are counted (those that are fitted count too). Where two planes are
# filled from one box, share its pieces out between their stocks: nothing counts them together. An empty slot
# that holds a plug has a filler: {{mass: 1 g, radius: 200 mm}}. A plane that is hard to reach has
# access: hard; it is then the last to be tried.
planes:
)",
      yaml_text(job.name), to_confirm_text(job), name(job.rotation.sense), name(job.rotation.seen_from),
      job.phase,
      job.speed_100.empty() ? "# speed_100: N rpm\n" : "speed_100: " + yaml_text(job.speed_100) + "\n",
      speed_tolerance(job), job.mass.empty() ? "# mass: M kg" : "mass: " + yaml_text(job.mass), job.teeth);
  for (const auto& plane : job.planes) text += plane_block(plane);
  text +=
      R"(# Each sensor: its unit with peak, pp or rms; limits, and what a trim aims at. Limits that change with
# speed are bands by rising speed: {up_to: 80 %, limit: ..., target: ...}, the last without up_to.
# How far readings repeat when nothing was changed is told by up to three figures. If you know
# the most that such readings ever differ, write a third of it. A figure is right when about two
# readings in three are no further than it from the middle of them all.
#   repeatability: readings of one place one after the other, in the sensor's unit.
#   proportional: the same as a part of the reading. Only where large readings repeat worse than
#     small ones: take its # away and write your figure.
#   run_to_run: what changes between two runs with nothing changed (warm-up, seating of blades,
#     wind). On wing 5 to 15 % of a reading and 5 to 20 deg are ordinary (common practice, no
#     published source); a phase that turns by 10 deg counts as 17 % of the reading, 20 deg as 35 %.
#     Where a figure stands below it is 10 % of a reading at half the limit: put it right and take its #
#     away. Not needed where a run is made twice with nothing changed: the two runs then tell it.
# Figures that are too small make a plan look surer than it is. Figures that are too large lower
# the chance that it gives, and let a wrong weight pass the check.
sensors:
)";
  for (const auto& sensor : job.sensors) text += sensor_block(sensor);
  return text;
}

}  // namespace trimwright
