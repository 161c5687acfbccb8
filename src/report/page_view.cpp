#include "page_view.hpp"

#include <algorithm>
#include <cmath>

#include "plan/steps.hpp"
#include "runs/mean_phasor.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

std::optional<std::size_t> first_since_event(const Job& job) {
  std::optional<std::size_t> first;
  for (const std::size_t run : runs_read(job))
    if (!first || event_between(job, *first, run)) first = run;
  return first;
}

std::optional<double> differs_by(const PageView& view, const Prediction& p) {
  if (view.verdict)
    for (const auto& one : view.verdict->readings)
      if (one.speed == p.speed && one.sensor == p.sensor && one.differs_by) return one.differs_by;
  return p.differs_by;
}

/// One rule for the whole page: where the run is made, a reading differs by what `check` says.
BalancePlan as_judged(BalancePlan plan, const PageView& view) {
  if (view.verdict == nullptr) return plan;
  for (auto& one : plan.expected)
    if (const Prediction* p = prediction_at(view.trim.predictions, one.speed, one.sensor))
      one.differs_by = differs_by(view, *p);
  for (auto& step : plan.steps)
    for (auto& made : running_steps(view.job, plan.expected, "limit"))
      if (step.kind == StepKind::compare && made.kind == StepKind::compare)
        step.particulars = made.particulars;
  return plan;
}

PageRow page_row(const PageView& view, const Prediction& p) {
  const Sensor& sensor = view.rotor().sensors[p.sensor];
  const auto seen = [&](const std::optional<double>& peak) {
    return peak ? std::optional(sensor.unit.shown_from_peak(*peak)) : std::nullopt;
  };
  PageRow row;
  row.speed = p.speed;
  row.sensor = p.sensor;
  row.speed_label = short_speed_words(view.job, p.speed);
  row.before = shown(sensor, p.before, view.rotor().phase);
  row.after = shown(sensor, p.after, view.rotor().phase);
  row.limit = sensor.unit.shown_from_peak(p.limit);
  row.target = seen(p.target);
  row.after_sd = seen(p.after_sd);
  row.differs_by = seen(differs_by(view, p));
  row.first_since_event = shown_reading(view.job, view.first_run_since_event, p.speed, p.sensor);
  row.measured = shown_reading(view.job, view.verdict ? std::optional(view.verdict->run) : std::nullopt,
                               p.speed, p.sensor);
  return row;
}

}  // namespace

std::optional<ShownReading> shown_reading(const Job& job, const std::optional<std::size_t>& run,
                                          std::size_t speed, std::size_t sensor) {
  if (!run) return std::nullopt;
  const auto x = mean_phasor(job.runs[*run], speed, sensor);
  if (!x) return std::nullopt;
  return shown(job.rotor.sensors[sensor], *x, job.rotor.phase);
}

const PageRow* PageView::row_at(std::size_t speed, std::size_t sensor_index) const {
  const auto found = std::find_if(rows.begin(), rows.end(), [&](const PageRow& row) {
    return row.speed == speed && row.sensor == sensor_index;
  });
  return found == rows.end() ? nullptr : &*found;
}

PageView page_view(const Job& job, const InfluenceModel& model, const TrimPlan& trim, const BalancePlan& plan,
                   const Verdict* verdict) {
  PageView view{job, model, trim, plan, fitted_after(job, plan.changes), first_since_event(job), verdict, {}};
  view.plan = as_judged(std::move(view.plan), view);
  for (const auto& prediction : trim.predictions) view.rows.push_back(page_row(view, prediction));
  return view;
}

}  // namespace trimwright
