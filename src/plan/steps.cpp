#include "steps.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "runs/used_runs.hpp"

namespace trimwright {
namespace {

std::string growing_words(const SeenSense& numbered) {
  return fmt::format("the numbers grow {} {}", name(numbered.sense), seen_words(numbered.seen_from));
}

/// Where all angles start, and how to find it by eye.
std::string zero_by_eye(const Rotor& rotor) {
  const ReferenceRing& ring = rotor.reference;
  if (!ring.mark.empty()) return "0° is at the mark \"" + ring.mark + "\": find it on the rotor.";
  if (ring.teeth == 1) return "0° is at the one reference tooth: find it by eye and mark where it stands.";
  return fmt::format(
      "0° is at the larger tooth of the reference ring, number {} of {}: find it by eye, the one tooth wider "
      "or "
      "higher than all others, and mark where it stands.",
      ring.larger_tooth, ring.teeth);
}

/// " (written: 9 deg against rotation)", where that is not what was just told.
std::string as_written(const std::string& written) {
  const bool same =
      written.empty() || written.ends_with("with rotation") || parse_quantity(written)->value == 0.0;
  return same ? std::string{} : " (written: " + written + ")";
}

Step confirm_step(const Job& job) {
  const Rotor& rotor = job.rotor;
  Step step{StepKind::confirm_numbering,
            "Confirm the numbering on the rotor itself before touching a weight.",
            {},
            true};
  step.particulars.push_back(fmt::format("The rotor turns {} {}.", name(rotor.rotation.sense),
                                         seen_words(rotor.rotation.seen_from)));
  step.particulars.push_back(zero_by_eye(rotor));
  for (const Plane& plane : rotor.planes) {
    if (!plane.slots) continue;
    step.particulars.push_back(fmt::format("{}: {} slots, {}; slot 1 is at {}{}.", plane.name,
                                           plane.slots->count, growing_words(plane.slots->numbered),
                                           angle_position(rotor, plane.slots->slot_1).text(),
                                           as_written(plane.slots->slot_1_written)));
  }
  if (rotor.blades)
    step.particulars.push_back(fmt::format(
        "Blades: {}, {}; blade 1 is at {}{}.", rotor.blades->count, growing_words(rotor.blades->numbered),
        Position{{}, rotor.blades->blade_1, {}}.text(), as_written(rotor.blades->blade_1_written)));
  return step;
}

/// "w3 (4.2 g at 197.5 mm)", "a piece of 780 g mm"; the filler where there is no piece.
std::string piece_in_full(const Plane& plane, const std::optional<Piece>& piece) {
  const Weight* weight = catalogue_weight(plane, piece);
  if (weight == nullptr) return piece ? piece_words(*piece, "a ") : "the filler";
  const std::string part = weight->part_number.empty() ? std::string{} : ", part " + weight->part_number;
  return fmt::format("{} ({}{})", weight->id, weight->size_words(), part);
}

/// What the slots of a plane hold that are not listed one by one.
std::string other_slots(const Plane& plane, bool any_listed) {
  std::string words = any_listed ? "every other slot: " : "every slot: ";
  words += plane.filler.none() ? "open" : "its filler";
  if (plane.slots->unusable.empty()) return words;
  const auto& unusable = plane.slots->unusable;
  return words + fmt::format("; leave alone unusable slot{} {}", unusable.size() == 1 ? "" : "s",
                             fmt::join(unusable, ", "));
}

Step count_step(const Job& job) {
  Step step{
      StepKind::count_fitted,
      "A second person counts what is fitted now. If it is not exactly this, stop: the plan does not hold.",
      {},
      true};
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p) {
    const Plane& plane = job.rotor.planes[p];
    const auto& fitted = job.fitted_now[p];
    for (const auto& [slot, piece] : fitted.slots)
      step.particulars.push_back(slot_place_words(job.rotor, p, slot) + ": " + piece_in_full(plane, piece));
    for (const auto& piece : fitted.free)
      step.particulars.push_back(fmt::format("{}: {:.6g} g mm at {}{}", plane.name, piece.moment_g_mm,
                                             angle_position(job.rotor, piece.at).text(),
                                             as_written(piece.at_written)));
    if (plane.slots) step.particulars.push_back(plane.name + " " + other_slots(plane, !fitted.slots.empty()));
    if (!plane.slots && fitted.free.empty()) step.particulars.push_back(plane.name + ": nothing fitted");
  }
  return step;
}

/// "2 × w3 (...)": pieces by kind.
std::vector<std::string> tally(const Job& job, const std::vector<SlotChange>& changes, bool fitted) {
  std::map<std::string, int> count;
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    const auto& piece = fitted ? change.fit : change.remove;
    if (anything_held(plane, piece)) ++count[piece_in_full(plane, piece)];
  }
  std::vector<std::string> lines;
  for (const auto& [words, n] : count) lines.push_back(fmt::format("{} × {}", n, words));
  if (lines.empty()) lines.push_back("none");
  return lines;
}

std::vector<std::string> condition_lines(const Job& job) {
  std::vector<std::string> lines;
  const auto run = std::find_if(job.runs.begin(), job.runs.end(), [](const Run& r) { return !r.set_aside; });
  if (run == job.runs.end()) return lines;
  for (const auto& [key, value] : run->conditions.other) {
    std::string what = key;
    std::replace(what.begin(), what.end(), '_', ' ');
    lines.push_back(fmt::format("{}: as in \"{}\" ({})", what, run->name, value));
  }
  return lines;
}

/// What to write down, beside what is expected and how far off is too far.
std::string reading_line(const Job& job, const ExpectedReading& one) {
  const Sensor& sensor = job.rotor.sensors[one.sensor];
  std::string words = fmt::format("{}, {}: read ________ ∠ ______ ({}); ", speed_words(job, one.speed),
                                  sensor.name, sensor.unit.text());
  if (!one.expected) return words + "not predicted: watch it";
  words += "expected " + phasor_words(sensor, *one.expected, job.rotor.phase);
  if (!one.differs_by) return words;
  const double size = std::abs(*one.expected);
  const auto shown_words = [&](double peak) { return amplitude_words(sensor.unit.shown_from_peak(peak)); };
  words += fmt::format("; not as expected when the tips are more than {} apart (always so with an amplitude ",
                       shown_words(*one.differs_by));
  if (size > *one.differs_by) words += "below " + shown_words(size - *one.differs_by) + " or ";
  return words + "above " + shown_words(size + *one.differs_by) + ")";
}

std::string overall_line(const Job& job, const PlaceToRead& one) {
  const Sensor& sensor = job.rotor.sensors[one.sensor];
  return fmt::format(
      "{}, {}, overall level: read ________ ({}); not predicted, its limit is {}",
      speed_words(job, one.speed), sensor.name, sensor.unit.text(),
      amplitude_words(sensor.unit.shown_from_peak(place_of(job, one.speed, one.sensor).limit)));
}

}  // namespace

std::string slot_place_words(const Rotor& rotor, std::size_t plane, int slot) {
  return rotor.planes[plane].name + " " + slot_position(rotor, rotor.planes[plane], slot).text();
}

std::string next_run_name(const Job& job, const BalancePlan& plan) {
  std::string called = plan.kind == BalancePlan::Kind::trial ? "trial" : "check run";
  if (plan.kind == BalancePlan::Kind::trial && !plan.changes.empty())
    called += " " + job.rotor.planes[plan.changes.front().plane].name;
  std::string name = called;
  for (int n = 2; run_named(job, name); ++n) name = fmt::format("{} {}", called, n);
  return name;
}

void append(std::vector<Step>& steps, std::vector<Step> more) {
  steps.insert(steps.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

std::vector<Step> opening_steps(const Job& job) {
  Step safe{StepKind::make_safe,
            "Make safe: engine shut down, rotor stopped and held, starting and ignition isolated and tagged, "
            "intake "
            "clear, as the maker's current manual says.",
            {"Manual and revision: ____________________"},
            true};
  return {safe, confirm_step(job), count_step(job)};
}

std::vector<Step> fitting_steps(const Job& job, const std::vector<SlotChange>& changes) {
  Step out{StepKind::take_out, "Take out:", {}, true};
  Step in{StepKind::put_in, "Put in:", {}, true};
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    const std::string place = slot_place_words(job.rotor, change.plane, change.slot);
    for (auto [step, content] : {std::pair{&out, &change.remove}, std::pair{&in, &change.fit}})
      if (anything_held(plane, *content))
        step->particulars.push_back(place + ": " + piece_in_full(plane, *content));
  }
  for (Step* step : {&out, &in}) {
    step->sign = !step->particulars.empty();  // nobody signs for nothing
    if (step->particulars.empty()) step->particulars.push_back("nothing");
  }
  const auto closing = closing_checks(
      {fmt::format("Drawn from stock: {}", fmt::join(tally(job, changes, true), ", ")),
       fmt::format("Left over and returned: {}", fmt::join(tally(job, changes, false), ", "))});
  return {out, in, closing[0], closing[1]};
}

std::vector<Step> closing_checks(const std::vector<std::string>& counts) {
  Step check{StepKind::second_check,
             "A second person checks every slot of every plane: what the count before listed, with these "
             "changes and no "
             "others. Then the pieces left over are counted.",
             counts, true};
  Step torque{
      StepKind::torque_and_locking,
      "Torque and lock every fastener that was touched, with the values of the maker's current manual.",
      {"Torque (from the manual): __________", "Locking (from the manual): __________",
       "Manual revision: __________"},
      true};
  return {check, torque};
}

std::vector<Step> running_steps(const Job& job, const std::vector<ExpectedReading>& expected,
                                const std::string& stop_column) {
  std::set<std::size_t> speeds;
  for (const auto& one : expected) speeds.insert(one.speed);
  std::vector<std::string> listed;
  for (const std::size_t s : speeds) listed.push_back(speed_words(job, s));
  Step run{StepKind::run,
           fmt::format("Run at these speeds, under the same conditions as the runs before: {}.",
                       fmt::join(listed, ", ")),
           condition_lines(job), false};
  Step stop{StepKind::stop_levels,
            "End the run at once when any reading passes its level in the table (" + stop_column +
                "), or on any sign of rubbing, looseness or a sudden change; the manual's own limits hold "
                "where they are lower.",
            {},
            false};
  const bool told =
      std::any_of(expected.begin(), expected.end(), [](const auto& one) { return one.differs_by; });
  Step compare{
      StepKind::compare,
      std::string("Write down amplitude and phase at each speed") +
          (told ? " and compare. How far a reading is away: draw it and the expected one as arrows "
                  "from one point, as long as the amplitude and turned by the phase, and measure from "
                  "tip to tip."
                : ":"),
      {},
      true};
  for (const auto& one : expected) compare.particulars.push_back(reading_line(job, one));
  for (const auto& one : readings_to_make(job))
    if (one.component == Component::overall && speeds.contains(one.speed))
      compare.particulars.push_back(overall_line(job, one));
  return {run, stop, compare};
}

}  // namespace trimwright
