#include <fmt/format.h>

#include "base/text.hpp"
#include "page_cards.hpp"
#include "page_frame.hpp"
#include "page_levels.hpp"
#include "page_tables.hpp"
#include "run_sheet.hpp"
#include "slot_map.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

/// What a trial run shows of itself: no model need be known.
PageView trial_view(const Job& job, const BalancePlan& plan, const InfluenceModel& none,
                    const TrimPlan& no_trim) {
  return {job, none, no_trim, plan, fitted_after(job, plan.changes), {}, nullptr, {}};
}

Markup stop_level_table(const Job& job, const BalancePlan& plan) {
  Markup rows;
  for (const auto& one : plan.expected) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const auto number = [](const std::string& words) { return element("td", {{"class", "number"}}, words); };
    rows += element(
        "tr", {{"class", "row"}},
        element("th", {{"scope", "row"}}, speed_words(job, one.speed)) + element("td", {}, sensor.name) +
            number(one.last_read ? amplitude_words(sensor.unit.shown_from_peak(*one.last_read)) : "–") +
            number(one.expected ? phasor_words(sensor, *one.expected, job.rotor.phase) : "not known") +
            number(amplitude_words(sensor.unit.shown_from_peak(one.stop_above))) +
            element("td", {{"class", "unit"}}, sensor.unit.text()));
  }
  return page_table(
      "Stop levels: end the run when a reading passes its level",
      {{"speed"}, {"sensor"}, {"last read", true}, {"expected", true}, {"stop above", true}, {"unit"}}, rows);
}

Markup candidate_list(const Job& job, const TrialAdvice& advice) {
  Markup rows;
  for (const auto& one : advice.candidates) {
    const auto percent = [](const std::optional<double>& share) {
      return share ? percent_words(*share) : std::string("?");
    };
    const auto number = [](const std::string& words) { return element("td", {{"class", "number"}}, words); };
    rows +=
        element("tr", {},
                element("th", {{"scope", "row"}}, job.rotor.planes[one.change.plane].name) +
                    number(std::to_string(one.change.slot)) + element("td", {}, one.change.fit->weight_id) +
                    number(fmt::format("{:.0f} N", one.force_n)) +
                    number(one.force_share ? fmt::format("{:.1f} %", 100.0 * *one.force_share) : "?") +
                    number(percent(one.exceeds_limit)) + number(percent(one.meets_targets)));
  }
  return page_table("Trials weighed, the best first",
                    {{"plane"},
                     {"slot", true},
                     {"weight"},
                     {"pull", true},
                     {"of the rotor's weight", true},
                     {"chance above a limit", true},
                     {"targets met after", true}},
                    rows);
}

}  // namespace

std::string trial_page(const Job& job, const TrialAdvice& advice, const BalancePlan& plan) {
  const InfluenceModel none;
  TrimPlan no_trim;
  no_trim.trade_off.resize(1);  // slots, and nothing planned in them
  const PageView view = trial_view(job, plan, none, no_trim);
  const bool run = !plan.changes.empty();
  const Markup result = element(
      "section", {{"id", "result"}, {"aria-labelledby", "result-heading"}},
      element("h1", {{"id", "result-heading"}}, "Trial run") +
          element("p", {{"class", "verdict"}}, run ? "Fit one trial weight and run" : "Make no trial run") +
          element("p", {}, advice.reason) +
          cautions_part(plan.cautions, plan.warnings, !plan.warnings.empty()));
  Markup planes;
  for (const auto& change : plan.changes)
    planes += element("div", {{"class", "plane"}}, plane_drawing(view, change.plane, "map"));
  Markup weights =
      element("div", {{"class", "heading"}},
              element("h2", {{"id", "weights-heading"}}, run ? work_words(view) : "Nothing to fit")) +
      change_cards(view);
  Markup notes;
  for (const auto& note : advice.notes) notes += element("p", {{"class", "chance"}}, note);
  Markup levels;
  if (!plan.expected.empty())
    levels = level_bars_of(view) + level_bars_key(view) +
             element("details", {}, element("summary", {}, "Every figure") + stop_level_table(job, plan));
  const Markup work = element(
      "div", {{"class", "work"}},
      element("section", {{"id", "weights"}, {"aria-labelledby", "weights-heading"}}, weights) +
          element("section", {{"id", "levels"}, {"class", "levels"}, {"aria-labelledby", "levels-heading"}},
                  element("div", {{"class", "heading"}},
                          element("h2", {{"id", "levels-heading"}}, "When to stop") +
                              element("small", {}, "bar: last read, as part of the stop level")) +
                      levels) +
          element("section", {{"id", "slots"}, {"aria-labelledby", "slots-heading"}},
                  element("h2", {{"id", "slots-heading"}, {"class", "unseen"}}, "Slots") +
                      element("div", {{"class", "planes"}}, planes) + (run ? slot_map_legend() : Markup()) +
                      notes));
  Markup more;
  if (!advice.candidates.empty())
    more += folded("candidates", "Trials weighed", "other weights and slots, and what each would tell",
                   candidate_list(job, advice));
  more += folded("steps", "Steps", counted(plan.steps.size(), "step") + ", from making safe to writing down",
                 step_list(plan), true);
  return page_document(job, "Trial run",
                       masthead(job) + element("main", {{"id", "main"}},
                                               result + work + element("div", {{"class", "more"}}, more) +
                                                   run_sheet(job, "only", run ? &view : nullptr)),
                       {});
}

std::string run_sheet_page(const Job& job) {
  const Markup result = element(
      "section", {{"id", "result"}, {"aria-labelledby", "result-heading"}},
      element("h1", {{"id", "result-heading"}}, "A blank run sheet") +
          element("p", {{"class", "verdict"}}, "Print this sheet, and write into it while the run is made") +
          element("p", {},
                  "Enter its readings as a run of the job. The first run is the "
                  "rotor as found; the trial weight comes after it, and the plan "
                  "after the trial runs.") +
          cautions_part(cautions(), {}, false));
  return page_document(
      job, "Run sheet",
      masthead(job) + element("main", {{"id", "main"}}, result + run_sheet(job, "only", nullptr)), {});
}

}  // namespace trimwright
