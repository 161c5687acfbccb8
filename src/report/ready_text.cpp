#include "trimwright/report.hpp"

#include <fmt/format.h>

#include <vector>

#include "convention_words.hpp"
#include "plan_parts.hpp"
#include "runs/next_steps.hpp"
#include "text_table.hpp"
#include "trimwright/check.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

using Concern = ReadinessConcern;

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
  if (!readiness.has(Concern::nothing_spare))
    list.emplace_back(
        "Whether runs with other weights fit together (trimwright influence tells, and which reading to "
        "repeat).");
  return list;
}

/// What the run judged read, beside limits and targets.
std::string levels(const Job& job, const Readiness& readiness, std::size_t width) {
  if (readiness.has(Concern::no_readings)) return {};
  if (!readiness.judged)
    return wrapped("  ", "No run was made with what is fitted now, so how it runs is not known.");
  TextTable table({{"speed", TextTable::Align::left},
                   {"sensor", TextTable::Align::left},
                   {"read", TextTable::Align::right},
                   {"limit", TextTable::Align::right},
                   {"target", TextTable::Align::right},
                   {"unit", TextTable::Align::left},
                   {"component", TextTable::Align::left},
                   {"result", TextTable::Align::left}});
  for (const auto& one : job.runs[*readiness.judged].readings) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const Place& place = place_of(job, one.speed, one.sensor);
    const auto words = [&](double peak) { return amplitude_words(sensor.unit.shown_from_peak(peak)); };
    table.add({speed_words(job, one.speed), sensor.name, words(one.amplitude), words(place.limit),
               place.target ? words(*place.target) : "-", sensor.unit.text(),
               std::string(name(one.component)), level_words(one.amplitude, place.limit, place.target)});
  }
  return "  Run \"" + job.runs[*readiness.judged].name + "\", the last with what is fitted now:\n" +
         table.text(width);
}

/// Whether WHAT IS MISSING says it already.
bool is_missing(const ReadinessFinding& finding) {
  return finding.concern == Concern::to_confirm || finding.concern == Concern::no_readings;
}

/// What is missing, in order, and the command after that.
std::string next_lines(const Job& job, const Readiness& readiness, const std::string& job_file,
                       bool knows_type) {
  const NextSteps next = next_steps(job, knows_type);
  std::string text = missing_lines(next);
  if (readiness.has(Concern::above_limit) || readiness.has(Concern::below_target)) return text;
  text += "\nNEXT\n";
  if (std::any_of(readiness.findings.begin(), readiness.findings.end(),
                  [](const auto& finding) { return holds_up(finding.concern) && !is_missing(finding); }))
    text += wrapped("  ", "Settle first what was found, below. Then:");
  return text + "  trimwright " + next.command + " " + job_file + "\n" + wrapped("    ", next.purpose);
}

}  // namespace

std::string ready_text(const Job& job, const Readiness& readiness, const std::string& job_file,
                       bool knows_type, std::size_t width) {
  std::string text = title_lines(job, "Ready for a trim?");
  text += "\nANSWER\n" + wrapped("  ", answer_words(readiness));
  text += next_lines(job, readiness, job_file, knows_type);
  auto findings = readiness.findings;
  std::erase_if(findings, is_missing);
  if (!findings.empty()) text += "\nWHAT WAS FOUND\n";
  for (std::size_t i = 0; i < findings.size(); ++i) {
    const auto& finding = findings[i];
    text += wrapped("  * ", finding_words(job, finding));
    const bool last = i + 1 == findings.size() || findings[i + 1].concern != finding.concern;
    const bool no_more_runs = finding.concern == Concern::no_repeat && readiness.has(Concern::above_limit);
    if (const std::string advice = what_to_do(finding.concern); last && !advice.empty() && !no_more_runs)
      text += wrapped("    ", advice);
  }
  if (const std::string table = levels(job, readiness, width); !table.empty())
    text += "\nBESIDE LIMITS AND TARGETS\n" + table;
  if (const auto open = not_checked(readiness); !open.empty()) {
    text += "\nNOT CHECKED\n";
    for (const auto& one : open) text += wrapped("  * ", one);
  }
  return text + caution_lines();
}

}  // namespace trimwright
