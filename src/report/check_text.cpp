#include "trimwright/report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "model_warnings.hpp"
#include "plan_parts.hpp"
#include "text_table.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string headline(const Job& job, const Verdict& verdict) {
  std::string text = title_lines(job, "Verdict on the check run");
  const Run& run = job.runs[verdict.run];
  text += "Check run: " + run.name;
  if (!run.conditions.when.empty()) text += ", " + run.conditions.when;
  if (!run.conditions.who.empty()) text += ", " + run.conditions.who;
  return text + "\n" + wrapped("", "Phase is " + convention_words(job.rotor.phase) + ".");
}

std::string limit_table(const Job& job, const Verdict& verdict, std::size_t width) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"first", Align::right},
                   {"now", Align::right},
                   {"limit", Align::right},
                   {"target", Align::right},
                   {"unit", Align::left},
                   {"component", Align::left},
                   {"result", Align::left}});
  for (const auto& one : verdict.readings) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const auto words = [&](const std::optional<double>& peak) {
      return peak ? amplitude_words(sensor.unit.shown_from_peak(*peak)) : std::string("-");
    };
    table.add({speed_words(job, one.speed), sensor.name, words(one.first), words(one.amplitude),
               words(one.limit), words(one.target), sensor.unit.text(), std::string(name(one.component)),
               level_words(one.amplitude, one.limit, one.target)});
  }
  return table.text(width);
}

std::string missing_lines(const Job& job, const Verdict& verdict) {
  std::string text;
  for (const auto& one : verdict.missing)
    text += wrapped("  ", "NOT READ: " + missing_words(job, one) + ", which an earlier run has.");
  return text;
}

std::string expected_table(const Job& job, const Verdict& verdict, std::size_t width) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"read", Align::right},
                   {"expected", Align::right},
                   {"±", Align::right},
                   {"away", Align::right},
                   {"differs by", Align::right},
                   {"result", Align::left}});
  for (const auto& one : verdict.readings) {
    if (!one.expected) continue;
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const auto words = [&](double peak) { return amplitude_words(sensor.unit.shown_from_peak(peak)); };
    table.add({speed_words(job, one.speed), sensor.name, reading_words(as_read(sensor, one, job.rotor.phase)),
               phasor_words(sensor, *one.expected, job.rotor.phase),
               one.expected_sd ? words(*one.expected_sd) : "-",
               words(*one.away()) + (one.off_by_sd() ? fmt::format(" ({:.1f} ±)", *one.off_by_sd()) : ""),
               words(*one.differs_by), one.differs() ? "differs" : "agrees"});
  }
  return table.text(width);
}

std::string mistake_table(const Job& job, const MistakeRanking& ranking, std::size_t width) {
  TextTable table({{"probability", Align::right}, {"misfit", Align::right}, {"explanation", Align::left}});
  for (const std::size_t i : shown_mistakes(ranking)) {
    const auto& one = ranking.kinds[i];
    table.add({percent_words(one.probability), fmt::format("{:.0f}", one.misfit),
               (i < ranking.not_told_apart ? "> " : "  ") + mistake_words(job, one)});
  }
  return table.text(width) +
         wrapped("  ",
                 fmt::format("Misfit: how far the readings lie from what the explanation says, squared, in "
                             "units of their usual scatter, summed over the run it is about; about {} is "
                             "usual of the check run. "
                             "The readings do not tell those marked \">\" from each other.",
                             ranking.degrees_of_freedom));
}

/// Finer than `percent_words`: it is told beside the 1 % that decides.
std::string chance_words(double probability) {
  if (probability < 1e-4) return "below 0.01 %";
  return fmt::format("{:.{}f} %", 100.0 * probability, probability < 0.1 ? 2 : 0);
}

std::string prediction_part(const Job& job, const Verdict& verdict, std::size_t width) {
  if (!verdict.not_predicted.empty())
    return "\nBESIDE THE PREDICTION\n" + wrapped("  ", "Not predicted: " + verdict.not_predicted + ".");
  std::string text = "\nBESIDE THE PREDICTION (amplitude ∠ phase, each sensor in its unit above)\n" +
                     expected_table(job, verdict, width);
  text += wrapped(
      "  ",
      fmt::format("±: usual difference between a sound reading and the expected one in any one direction, "
                  "all scatter "
                  "included. away: from the expected to the read one, from tip to tip of the two arrows, and "
                  "how many ± "
                  "that is; a reading further away than \"differs by\" differs, and about 1 reading in {} "
                  "does even when "
                  "nothing is wrong. "
                  "\"differs by\" is larger than in the plan where the reading was made off its set speed.",
                  one_sound_reading_in));
  const auto& found = verdict.mistakes;
  if (found.kinds.empty()) return text;
  text += wrapped(
      "  ", fmt::format(
                "As predicted or not is judged by all readings together: how far they lie from what is "
                "expected, squared, in units of their scatter, is {:.0f} in all; about {} is usual, "
                "and a sound run is as far off with a probability of {}. {}.",
                found.chi_squared, found.degrees_of_freedom, chance_words(found.probability),
                found.probability < as_predicted_level ? "Below 1 %: not as predicted"
                : found.runs_agree                     ? "As predicted"
                : found.as_predicted()
                    ? "As predicted, by the scatter that the runs before show, which is more than is stated: "
                      "state it in the rotor file (repeatability, run_to_run, proportional)"
                    : "That says nothing here: the runs before do not agree "
                      "with one another, so that almost any reading would "
                      "do"));
  if (!verdict.mistakes.as_predicted())
    text += "\nWHAT MAY HAVE GONE WRONG\n" + mistake_table(job, verdict.mistakes, width);
  return text;
}

std::string next_trim(const Job& job, const Verdict& verdict, std::size_t width) {
  const bool wanted = verdict.advice == Advice::trim_again || verdict.advice == Advice::may_trim_again;
  if (!verdict.next || !wanted || !verdict.next->has_slots()) return {};
  const std::string text = "\nTHE NEXT TRIM\n";
  return text + change_table(job, verdict.next->trade_off[verdict.next->chosen].changes, width);
}

}  // namespace

std::string check_text(const Job& job, const Verdict& verdict, std::size_t width) {
  std::string text = headline(job, verdict) + "\n" + wrapped("", verdict_words(verdict));
  text += "\nBESIDE LIMITS AND TARGETS\n" + limit_table(job, verdict, width) + missing_lines(job, verdict);
  text += prediction_part(job, verdict, width);
  text += "\nWHAT TO DO NEXT\n";
  for (const auto& sentence : advice_words(job, verdict)) text += wrapped("  ", sentence);
  text += next_trim(job, verdict, width);
  if (verdict.refined) text += points_below("THE MODEL WITH THIS RUN", model_warnings(job, *verdict.refined));
  return text + caution_lines();
}

}  // namespace trimwright
