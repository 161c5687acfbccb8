#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "level_bars.hpp"
#include "model_warnings.hpp"
#include "plan_parts.hpp"
#include "text_table.hpp"
#include "trimwright/check.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string moment_table(const Job& job, const Correction& correction, std::size_t width) {
  TextTable table({{"plane", Align::left},
                   {"moment to add", Align::right},
                   {"angle", Align::right},
                   {"blades", Align::left}});
  for (const auto& part : correction.parts) {
    const auto position = angle_position(job.rotor, RotorAngle::of(part.moment_to_add));
    table.add({job.rotor.planes[part.plane].name, moment_words(std::abs(part.moment_to_add)),
               angle_words(position.angle.degrees()), position.blade});
  }
  table.leave_out_if_empty("blades");
  return table.text(width);
}

/// Every place to run, by speed: those that nothing predicts are to be read and watched all the same.
std::string prediction_table(const Job& job, const std::vector<Prediction>& predictions,
                             const BalancePlan& plan, std::size_t width) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"now (fit)", Align::right},
                   {"expected", Align::right},
                   {"±", Align::right},
                   {"9 in 10", Align::right},
                   {"differs by", Align::right},
                   {"limit", Align::right},
                   {"target", Align::right},
                   {"unit", Align::left},
                   {"result", Align::left}});
  for (const auto& one : plan.expected) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const Prediction* p = prediction_at(predictions, one.speed, one.sensor);
    const auto words = [&](const std::optional<double>& peak, const char* unknown) {
      return peak ? amplitude_words(sensor.unit.shown_from_peak(*peak)) : std::string(unknown);
    };
    const auto phasor = [&](Phasor x) { return phasor_words(sensor, x, job.rotor.phase); };
    table.add({speed_words(job, one.speed), sensor.name, p ? phasor(p->before) : "-",
               p ? phasor(p->after) : "not known", words(p ? p->after_sd : std::nullopt, "?"),
               p && p->reading ? words(p->reading->low, "") + "-" + words(p->reading->high, "") : "?",
               words(one.differs_by, "?"), words(one.stop_above, ""), words(one.target, "-"),
               sensor.unit.text(), p ? level_words(std::abs(p->after), p->limit, p->target) : "watch it"});
  }
  for (const char* heading : {"±", "9 in 10", "differs by", "target"}) table.leave_out_if_empty(heading);
  return table.text(width);
}

std::string trade_off_table(const TrimPlan& trim, std::size_t width) {
  const bool squares = trim.request.objective == SlotObjective::least_squares;
  std::vector<std::pair<std::string, Align>> columns{{"slots changed", Align::right},
                                                     {"largest / limit", Align::right}};
  if (squares) columns.emplace_back("root of squares", Align::right);
  columns.emplace_back(squares ? "proved (squares)" : "proved", Align::left);
  const bool likely = trim.outlook.has_value();
  if (likely) columns.emplace_back("chance of all targets", Align::right);
  columns.emplace_back("", Align::left);
  TextTable table(columns);
  for (std::size_t i = 0; i < trim.trade_off.size(); ++i) {
    const auto& row = trim.trade_off[i];
    std::string remark = row.recommended ? "recommended" : "";
    if (i == trim.chosen) remark += row.recommended ? ", this plan" : "this plan";
    std::vector<std::string> cells{std::to_string(row.changes.size()),
                                   fmt::format("{:.3f}", row.worst_ratio)};
    if (squares) cells.push_back(fmt::format("{:.3f}", row.objective));
    cells.push_back(proof_words(trim, row));
    if (likely) cells.push_back(row.outlook ? percent_words(row.outlook->meets_targets) : "?");
    cells.push_back(remark);
    table.add(cells);
  }
  return table.text(width);
}

/// "spinner 3: K3 for filler, drum 11: filler for D4".
std::string changes_words(const Job& job, const std::vector<SlotChange>& changes) {
  std::string words;
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    words += fmt::format("{}{} {}: {} for {}", words.empty() ? "" : ", ", plane.name, change.slot,
                         content_words(plane, change.fit), content_words(plane, change.remove));
  }
  return words.empty() ? "nothing" : words;
}

std::string alternative_lines(const Job& job, const TrimPlan& trim) {
  std::string text;
  for (std::size_t i = 0; i < trim.alternatives.size(); ++i) {
    const auto& row = trim.alternatives[i];
    text += wrapped(fmt::format("  {:2}. ", i + 1),
                    fmt::format("largest / limit {:.3f}, root of squares {:.3f}: {}", row.worst_ratio,
                                row.root_of_squares, changes_words(job, row.changes)));
  }
  const bool all_proved = std::all_of(trim.alternatives.begin(), trim.alternatives.end(),
                                      [](const auto& row) { return row.proved_optimal; });
  text += wrapped("  ", fmt::format("Each is {} of those that differ from all above it in {} or more, "
                                    "with at most {} changed.",
                                    all_proved ? "proved the best" : "the best found",
                                    counted(static_cast<std::size_t>(trim.request.least_difference), "slot"),
                                    counted(trim.trade_off[trim.chosen].changes.size(), "slot")));
  if (static_cast<int>(trim.alternatives.size()) < trim.request.best)
    text += wrapped("  ", "No further plan differs as much.");
  return text;
}

const TradeOffRow* row_with(const std::vector<TradeOffRow>& rows, std::size_t changes) {
  const auto found =
      std::find_if(rows.begin(), rows.end(), [&](const auto& row) { return row.changes.size() == changes; });
  return found == rows.end() ? nullptr : &*found;
}

std::string both_objectives_table(const TrimPlan& trim, std::size_t width) {
  const bool squares = trim.request.objective == SlotObjective::least_squares;
  const auto& by_ratio = squares ? trim.other_trade_off : trim.trade_off;
  const auto& by_squares = squares ? trim.trade_off : trim.other_trade_off;
  TextTable table({{"slots changed", Align::right},
                   {"by worst ratio: largest / limit", Align::right},
                   {"root of squares", Align::right},
                   {"proved", Align::left},
                   {"by least squares: largest / limit", Align::right},
                   {"root of squares", Align::right},
                   {"proved", Align::left}});
  std::size_t most = 0;
  for (const auto* rows : {&by_ratio, &by_squares})
    for (const auto& row : *rows) most = std::max(most, row.changes.size());
  for (std::size_t changes = 0; changes <= most; ++changes) {
    const std::array both{row_with(by_ratio, changes), row_with(by_squares, changes)};
    if (both[0] == nullptr && both[1] == nullptr) continue;
    std::vector<std::string> cells{std::to_string(changes)};
    for (const TradeOffRow* row : both) {
      cells.push_back(row == nullptr ? "-" : fmt::format("{:.3f}", row->worst_ratio));
      cells.push_back(row == nullptr ? "-" : fmt::format("{:.3f}", row->root_of_squares));
      cells.push_back(row == nullptr ? "gains nothing" : proof_words(trim, *row));
    }
    table.add(cells);
  }
  return table.text(width);
}

/// Whether the expected value lies in the lowest tenth of the range of nine readings in ten.
bool at_low_end(const Prediction& one) {
  return one.reading && std::abs(one.after) - one.reading->low < 0.1 * (one.reading->high - one.reading->low);
}

std::string verdict_line(const TrimPlan& trim) {
  return wrapped("  ", fmt::format("Largest expected amplitude divided by its limit: {:.3f} (1 is at the "
                                   "limit). No choice allowed here "
                                   "can bring it below {:.3f}.",
                                   trim.worst_ratio, trim.bound));
}

}  // namespace

std::string plan_text(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                      const BalancePlan& plan, std::size_t width) {
  std::string text = headline(job, "Balance plan");
  if (!trim.trust.sound())
    text += "\n" + wrapped("✕ ", trim.trust.words() + " What to look at stands below.");
  text += warning_lines(model_warnings(job, model));
  text += trim.has_slots() ? section("WHAT CHANGES") + change_table(job, plan.changes, width)
                           : section("MOMENTS TO ADD") + moment_table(job, trim.correction, width);
  if (trim.has_slots())
    if (const std::string stays = staying_words(job, plan.changes); !stays.empty())
      text += wrapped("  ", stays);
  for (const auto& note : trim.notes) text += wrapped("  ", note);
  if (trim.has_slots())
    text += section("IF WEIGHTS CAME IN EVERY SIZE AND AT EVERY ANGLE") +
            moment_table(job, trim.correction, width);
  text += section("EXPECTED IN THE NEXT RUN (amplitude ∠ phase; stop the run above the limit)");
  text += prediction_table(job, trim.predictions, plan, width);
  text += wrapped(
      "  ",
      fmt::format(
          "now (fit): what the runs together say is read with the weights that are fitted now. ±: the usual "
          "error of "
          "the expected value in any one direction, from the readings' stated repeatability or else from "
          "their "
          "scatter; ? where neither is known. 9 in 10: nine readings in ten will lie between these two, "
          "noise "
          "and tolerances included; the expected value need not lie in their middle. differs by: draw the "
          "expected reading and the one you read as arrows; when their tips are further apart than this, the "
          "reading is not as expected. Even when nothing is wrong, about 1 reading in {} is further away.",
          one_sound_reading_in));
  if (std::any_of(trim.predictions.begin(), trim.predictions.end(), at_low_end))
    text +=
        wrapped("  ",
                "Where the expected value lies at the low end of its 9 in 10: scatter hardly makes a small "
                "amplitude smaller, and the range counts in what trims usually leave, which ± does not.");
  text += wrapped("  ", outlook_words(trim.predictions, trim.not_predicted.size(), trim.outlook));
  for (const auto& note : chance_notes(job, model, trim.predictions, trim.outlook))
    text += wrapped("  ", note);
  text += verdict_line(trim);
  text += section("AT A GLANCE (# expected, o now, | target, ] limit)") +
          level_bars(job, trim.predictions, width);
  if (trim.has_slots())
    text += section("FEWER OR MORE SLOTS") + trade_off_table(trim, width) + wrapped("  ", trim.why);
  if (trim.has_slots() && trim.request.both_objectives)
    text += section("WORST RATIO AND LEAST SQUARES SIDE BY SIDE") + both_objectives_table(trim, width);
  if (!trim.alternatives.empty())
    text += section("PLANS TO CHOOSE FROM (the first is this plan)") + alternative_lines(job, trim);
  return text + step_lines(plan) + caution_lines();
}

}  // namespace trimwright
