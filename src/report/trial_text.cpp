#include <fmt/format.h>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "plan_parts.hpp"
#include "text_table.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string stop_table(const Job& job, const BalancePlan& plan, std::size_t width) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"last read", Align::right},
                   {"expected", Align::right},
                   {"stop above", Align::right},
                   {"unit", Align::left}});
  for (const auto& one : plan.expected) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    table.add({speed_words(job, one.speed), sensor.name,
               one.last_read ? amplitude_words(sensor.unit.shown_from_peak(*one.last_read)) : "-",
               one.expected ? phasor_words(sensor, *one.expected, job.rotor.phase) : "not known",
               amplitude_words(sensor.unit.shown_from_peak(one.stop_above)), sensor.unit.text()});
  }
  return table.text(width);
}

std::string or_unknown(const std::optional<double>& probability) {
  return probability ? percent_words(*probability) : "?";
}

std::string candidate_table(const Job& job, const TrialAdvice& advice, std::size_t width) {
  TextTable table({{"plane", Align::left},
                   {"slot", Align::right},
                   {"weight", Align::left},
                   {"pull", Align::right},
                   {"of rotor's weight", Align::right},
                   {"of headroom", Align::right},
                   {"uncertainty left", Align::right},
                   {"above a limit", Align::right},
                   {"targets met after", Align::right}});
  for (const auto& one : advice.candidates)
    table.add({job.rotor.planes[one.change.plane].name, std::to_string(one.change.slot),
               one.change.fit->weight_id, fmt::format("{:.0f} N", one.force_n),
               one.force_share ? fmt::format("{:.1f} %", 100.0 * *one.force_share) : "?",
               one.headroom_share ? fmt::format("{:.0f} %", 100.0 * *one.headroom_share) : "?",
               or_unknown(one.variance_left), or_unknown(one.exceeds_limit), or_unknown(one.meets_targets)});
  return table.text(width);
}

std::string candidate_lines(const Job& job, const TrialAdvice& advice, std::size_t width) {
  const std::string text =
      section("TRIAL WEIGHTS COMPARED (the best first)") + candidate_table(job, advice, width);
  const std::string no_mass = advice.advised().force_share
                                  ? ""
                                  : wrapped("  ", "of rotor's weight: ?, as the rotor file gives no mass.");
  if (!advice.advised().variance_left)
    return text + no_mass +
           wrapped("  ",
                   "uncertainty left, above a limit, targets met after: ?, as it is not known how surely a "
                   "weight in "
                   "this plane acts.");
  return text + no_mass +
         wrapped(
             "  ",
             fmt::format(
                 "uncertainty left: how unsure what the correction would leave is after this run, beside now "
                 "(squares compared, in units of the targets); less is better. of headroom: the largest "
                 "expected change over what is left below the limit there. A change that lowers a reading "
                 "counts "
                 "too, so much of headroom does not mean danger where above a limit is small. above a limit: "
                 "the "
                 "chance that some "
                 "reading of this run is. "
                 "Recommended is the least uncertainty with at most {:.0f} % of that and "
                 "{:.0f} % of headroom; of two about equal, the "
                 "safer. targets met after: the chance, by the correction that follows.",
                 100.0 * acceptable_risk, 100.0 * trial_headroom_share));
}

/// Runs that are owed anyway, and what to fit for them.
std::string owed_lines(const Job& job, const TrialAdvice& advice) {
  if (advice.owed.empty()) return {};
  std::string text = section("RUNS OWED ANYWAY (each as if it came next)");
  for (const auto& one : advice.owed) {
    std::string speeds;
    for (const std::size_t speed : one.speeds)
      speeds += (speeds.empty() ? "" : ", ") + speed_words(job, speed);
    text += wrapped("  ", one.reason);
    if (!speeds.empty()) text += wrapped("    ", "It reads " + speeds + ".");
  }
  return text;
}

}  // namespace

std::string trial_text(const Job& job, const TrialAdvice& advice, const BalancePlan& plan,
                       std::size_t width) {
  const bool run = !plan.changes.empty();
  std::string text =
      headline(job, run ? "Plan of a trial run" : "No trial run") + warning_lines(plan.warnings);
  text += section(advice.worth_making ? "WHY A TRIAL RUN" : "NO TRIAL RUN IS WORTH MAKING");
  text += wrapped("  ", advice.reason);
  for (const auto& note : advice.notes) text += wrapped("  ", note);
  if (run)
    text += section("WHAT CHANGES") + change_table(job, plan.changes, width) +
            section("STOP LEVELS (stop the run when a reading goes above its level)") +
            stop_table(job, plan, width);
  return text + owed_lines(job, advice) + candidate_lines(job, advice, width) + step_lines(plan) +
         caution_lines();
}

}  // namespace trimwright
