#include "trimwright/report.hpp"

#include <fmt/format.h>

#include <cmath>
#include <vector>

#include "text_table.hpp"
#include "trimwright/plan.hpp"

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
  if (!finding.speed || !finding.sensor) return {};
  return place_words(job, *finding.speed, *finding.sensor) + ": ";
}

std::vector<std::string> not_checked(const Readiness& readiness) {
  std::vector<std::string> list;
  if (!readiness.overall_read)
    list.emplace_back(
        "How much of the vibration is once per revolution: no overall level stands beside a once-per-rev "
        "one.");
  if (!readiness.repeated) list.emplace_back("Whether the rotor repeats, or moves with time.");
  if (!readiness.scatter_stated)
    list.emplace_back(
        "Scatter within a dwell, such as a beat with another shaft: no reading states its own sd "
        "(trimwright readings does, from a recording).");
  list.emplace_back(
      "Whether runs with other weights fit together (trimwright influence tells, and which reading to "
      "repeat).");
  return list;
}

}  // namespace

std::string finding_words(const Job& job, const ReadinessFinding& finding) {
  const std::string place = place_words(job, finding), runs = runs_words(job, finding.runs);
  switch (finding.concern) {
    case Concern::below_target:
      return fmt::format("Every reading of {} meets its target (the largest is at {:.2f} of it).", runs,
                         finding.ratio);
    case Concern::above_limit:
      return fmt::format("{}{:.2f} of its limit in {}.", place, finding.ratio, runs);
    case Concern::no_repeat:
      return "No two runs were made with the same weights: how well the rotor repeats is unknown.";
    case Concern::does_not_repeat:
    case Concern::drifts:
      return fmt::format(
          "{}{}, with the same weights, differ by {:.0f} % of the amplitude; from first to last "
          "the phase turns by {:.0f}°{}.",
          place, runs, 100.0 * finding.ratio, std::abs(finding.turn_deg),
          finding.concern == Concern::drifts ? ", all in one direction" : "");
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
      return {};
    case Concern::above_limit:
      return "Run there again only as far as the maker's manual allows.";
    case Concern::no_repeat:
      return "One more run as found, nothing changed, shows what a trim can rely on.";
    case Concern::does_not_repeat:
      return "Look at seating, looseness and damage of blades and spinner; liquid that the drains left; "
             "mounts; sensor, "
             "harness and connectors; the same warm-up, dwell and wind in every run.";
    case Concern::drifts:
      return "Look at warm-up and dwell (repeat until it stands still), rubbing, fresh damage of blades and "
             "spinner.";
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
  if (readiness.has(Concern::below_target)) return "No trim is called for: the last run meets every target.";
  if (!readiness.ready()) return "Not yet: look at the following first, as the maker's manual says.";
  if (readiness.findings.empty()) return "Ready: nothing in these runs speaks against a trim.";
  return "Ready, with care: nothing in these runs speaks against a trim, but see below.";
}

std::string ready_text(const Job& job, const Readiness& readiness) {
  std::string text = "Ready for a trim?\n=================\n";
  text += "Rotor: " + job.rotor.name + (job.serial.empty() ? "" : ", serial " + job.serial) + "\n";
  text += "\nANSWER\n" + wrapped("  ", answer_words(readiness));
  if (!readiness.findings.empty()) text += "\nWHAT WAS FOUND\n";
  for (std::size_t i = 0; i < readiness.findings.size(); ++i) {
    const auto& finding = readiness.findings[i];
    text += wrapped("  * ", finding_words(job, finding));
    const bool last =
        i + 1 == readiness.findings.size() || readiness.findings[i + 1].concern != finding.concern;
    if (const std::string advice = what_to_do(finding.concern); last && !advice.empty())
      text += wrapped("    ", advice);
  }
  if (const auto open = not_checked(readiness); !open.empty()) {
    text += "\nNOT CHECKED\n";
    for (const auto& one : open) text += wrapped("  * ", one);
  }
  text += "\nCAUTION\n";
  for (const auto& caution : cautions()) text += wrapped("  ! ", caution);
  return text;
}

}  // namespace trimwright
