#include <fmt/format.h>

#include <cmath>

#include "trimwright/job.hpp"

namespace trimwright {
namespace {

using Concern = ReadinessConcern;

std::string runs_words(const Job& job, const std::vector<std::size_t>& runs) {
  std::string words = runs.size() == 1 ? "run " : "runs ";
  for (std::size_t i = 0; i < runs.size(); ++i)
    words += fmt::format("{}\"{}\"",
                         i == 0                 ? ""
                         : i + 1 == runs.size() ? " and "
                                                : ", ",
                         job.runs[runs[i]].name);
  return words;
}

std::string place_words(const Job& job, const ReadinessFinding& finding) {
  if (!finding.speed) return {};
  return (finding.sensor ? place_words(job, *finding.speed, *finding.sensor)
                         : speed_words(job, *finding.speed)) +
         ": ";
}

}  // namespace

std::string finding_words(const Job& job, const ReadinessFinding& finding) {
  const std::string place = place_words(job, finding), runs = runs_words(job, finding.runs);
  switch (finding.concern) {
    case Concern::no_readings:
      return "There are no readings in any run.";
    case Concern::to_confirm:
      return "The rotor file lists under to_confirm what is open or only assumed: " + finding.what + ".";
    case Concern::went_above_limit:
      return fmt::format("{}{:.2f} of its limit in {}, an earlier run.", place, finding.ratio, runs);
    case Concern::unread_run:
      return fmt::format("There are no readings of {}.", runs);
    case Concern::doubled_readings:
      return fmt::format(
          "Run \"{}\" has no readings, and run \"{}\" has two at most places: are some of them those of run "
          "\"{}\"?",
          job.runs[finding.runs[1]].name, job.runs[finding.runs[0]].name, job.runs[finding.runs[1]].name);
    case Concern::contradicts:
      return fmt::format("{}two readings of {} differ by {:.0f} % of the amplitude.", place, runs,
                         100.0 * finding.ratio);
    case Concern::lone_speed:
      return fmt::format("{}only {} has this speed, and it has no reading at {}: mistyped?", place, runs,
                         finding.what);
    case Concern::odd_effect:
      return fmt::format(
          "{}the weights of {} moved it {:.0f} times as much as at the speeds beside it, and no other sensor "
          "so: is "
          "an amplitude or a phase mistyped there?",
          place, runs, finding.ratio);
    case Concern::runs_disagree:
      return fmt::format(
          "The runs do not agree with one another: they scatter {:.1f} times what is stated. A reading or a "
          "weight "
          "is written down wrong, the rotor or the conditions changed between runs, or the rotor file states "
          "too "
          "little (repeatability, run_to_run, proportional).",
          finding.ratio);
    case Concern::no_longer_listed:
      return fmt::format(
          "{} no longer lists {}: were they taken out? A run lists all that is fitted, not "
          "only what was added.",
          "R" + runs.substr(1), finding.what);
    case Concern::other_conditions:
      return fmt::format("{} stand in one model, and were not made alike ({}).", "R" + runs.substr(1),
                         finding.what);
    case Concern::trial_weight_in:
      return fmt::format(
          "The job does not say what is fitted now, so the weights of {} count as fitted, because it was the "
          "last. Say fitted_now where they were taken out again.",
          runs);
    case Concern::not_fitted_now:
      return fmt::format(
          "The job says under fitted_now that other weights are in than {} was made with, the last one. If "
          "its "
          "weights are still in, write fitted_now: same as {}.",
          runs, job.runs[finding.runs.front()].name);
    case Concern::below_target:
      return fmt::format("Every reading of {} meets its target (the largest is at {:.2f} of it).", runs,
                         finding.ratio);
    case Concern::above_limit:
      return fmt::format("{}{:.2f} of its limit in {}.", place, finding.ratio, runs);
    case Concern::no_repeat:
      return "No two runs were made with the same weights: how well the rotor repeats is unknown.";
    case Concern::nothing_spare:
      return fmt::format(
          "{0:.0f} runs for {0:.0f} unknowns (the vibration as found, and how each plane acts): a mistyped "
          "reading "
          "cannot be found by comparing the runs.",
          finding.ratio);
    case Concern::does_not_repeat:
    case Concern::drifts:
      return fmt::format(
          "{}{}, with the same weights, differ by {:.0f} % of the amplitude; from first to last "
          "the phase turns by {:.0f}°{}.",
          place, runs, 100.0 * finding.ratio, std::abs(finding.turn_deg),
          finding.concern == Concern::drifts ? ", all in one direction" : "");
    case Concern::not_as_foretold:
      return fmt::format("{} is not as the runs before it foretell: {}.", "R" + runs.substr(1), finding.what);
    case Concern::mostly_other:
      return fmt::format("{}only {:.0f} % of the overall level is once per revolution, in {}.", place,
                         100.0 * finding.ratio, runs);
    case Concern::more_than_all:
      return fmt::format("{}the once-per-rev amplitude is {:.2f} times the overall level, in {}.", place,
                         finding.ratio, runs);
    case Concern::scatters_within:
      return fmt::format("{}scatters {:.1f} times its repeatability within {}.", place, finding.ratio, runs);
    case Concern::no_phase:
      return fmt::format("{}no phase was read in {}.", place, runs);
    case Concern::too_small:
      return fmt::format("{}{:.1f} standard deviations only, in {}: its phase says little.", place,
                         finding.ratio, runs);
  }
  return {};
}

std::string what_to_do(ReadinessConcern concern) {
  switch (concern) {
    case Concern::below_target:
    case Concern::no_longer_listed:
    case Concern::trial_weight_in:
    case Concern::not_fitted_now:
      return {};
    case Concern::to_confirm:
      return "Compare each with the maker's manual, put it right in the rotor file, and take it off the "
             "list. Until then "
             "there is no plan.";
    case Concern::went_above_limit:
      return "Inspect as the maker's manual says after a run above a limit. Where a trial weight did it, "
             "take a smaller one, or "
             "the opposite side.";
    case Concern::other_conditions:
      return "Compare only runs made alike: set those aside that were not, or repeat them.";
    case Concern::no_readings:
    case Concern::unread_run:
      return "Make the run, or enter its readings.";
    case Concern::doubled_readings:
    case Concern::lone_speed:
    case Concern::odd_effect:
    case Concern::contradicts:
      return "Compare the table of readings with what was written down at the instrument.";
    case Concern::above_limit:
      return "Inspect first, as the maker's manual says: blades, spinner and their fastening, damage, loose "
             "or "
             "lost parts. Make no run there that goes above the limit; a trim comes after.";
    case Concern::no_repeat:
      return "One more run as found, nothing changed, shows what a trim can rely on.";
    case Concern::nothing_spare:
      return "One more run would show it: an earlier run made again, or one with other weights.";
    case Concern::does_not_repeat:
      return "Look at seating, looseness and damage of blades and spinner; liquid that the drains left; "
             "mounts; sensor, "
             "harness and connectors; the same warm-up, dwell and wind in every run.";
    case Concern::drifts:
      return "Look at warm-up and dwell (repeat until it stands still), rubbing, fresh damage of blades and "
             "spinner.";
    case Concern::runs_disagree:
      return "trimwright influence shows which readings and runs are furthest off.";
    case Concern::not_as_foretold:
      return "Find out what happened before this run, and say it in the job; trimwright check compares more.";
    case Concern::mostly_other:
      return "Look for the source of the rest: the other shaft, blades passing, bearings, structure near "
             "resonance, "
             "electrical hum. Weights lower the once-per-rev part only.";
    case Concern::more_than_all:
      return "Check unit and detector (peak, peak to peak, rms) of both readings, and the sensor's harness.";
    case Concern::scatters_within:
      return "Think of a beat with the other shaft (another speed, a longer dwell); looseness, rubbing, "
             "connectors.";
    case Concern::no_phase:
      return "Look at the reference pickup, its gap and harness; a recording tells more (trimwright "
             "readings).";
    case Concern::too_small:
      return "Use a speed at which the vibration is larger; look at the sensor and its harness.";
  }
  return {};
}

std::string answer_words(const Readiness& readiness) {
  if (readiness.has(Concern::no_readings)) return "Not yet: there are no readings at all.";
  if (readiness.has(Concern::above_limit))
    return "ABOVE A LIMIT: inspect first, before any further run or trim, as the maker's manual says.";
  if (readiness.has(Concern::below_target) && readiness.has(Concern::runs_disagree))
    return "The runs do not agree with one another: settle this first, below. With what is fitted now every "
           "reading meets its "
           "target.";
  if (readiness.has(Concern::below_target))
    return "No trim is called for: with what is fitted now every reading meets its target.";
  if (!readiness.ready()) return "Not yet: look at the following first, as the maker's manual says.";
  if (readiness.findings.empty()) return "Ready: nothing in these runs speaks against a trim.";
  return "Ready, with care: nothing in these runs speaks against a trim, but see below.";
}

}  // namespace trimwright
