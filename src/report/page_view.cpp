#include "page_view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "trimwright/plan/plan_job.hpp"
#include "trimwright/report/balance_page.hpp"

namespace trimwright {
namespace {

std::string speed_label(const Rotor& rotor, double rpm) {
  return rotor.speed_100_rpm ? fmt::format("{:.1f} %", 100.0 * rpm / *rotor.speed_100_rpm)
                             : fmt::format("{:.0f}", rpm);
}

/// Mean of a run's once-per-rev phasors at a speed and sensor, as shown.
std::optional<ShownReading> shown_reading(const Job& job, const std::optional<std::size_t>& run,
                                          std::size_t speed, std::size_t sensor) {
  if (!run) return std::nullopt;
  Phasor sum = 0.0;
  int count = 0;
  for (const auto& reading : job.runs[*run].readings) {
    if (reading.speed != speed || reading.sensor != sensor || !reading.x ||
        reading.component != Component::once_per_rev)
      continue;
    sum += *reading.x;
    ++count;
  }
  if (count == 0) return std::nullopt;
  return shown(job.rotor.sensors[sensor], sum / static_cast<double>(count), job.rotor.phase);
}

std::optional<std::size_t> first_run(const Job& job) {
  for (std::size_t r = 0; r < job.runs.size(); ++r)
    if (!job.runs[r].set_aside && !job.runs[r].readings.empty()) return r;
  return std::nullopt;
}

/// The last run, when it was made with the plan's weights and the model knows nothing of it.
std::optional<std::size_t> check_run(const Job& job, const InfluenceModel& model,
                                     const std::vector<FittedWeights>& fitted) {
  if (job.runs.empty() || !made_with(job.runs.back(), fitted)) return std::nullopt;
  const std::size_t last = job.runs.size() - 1;
  const bool used = std::find(model.runs_used.begin(), model.runs_used.end(), last) != model.runs_used.end();
  return used ? std::nullopt : std::optional(last);
}

PageRow page_row(const PageView& view, const Prediction& p, const ExpectedReading* expected) {
  const Sensor& sensor = view.rotor().sensors[p.sensor];
  const auto seen = [&](const std::optional<double>& peak) {
    return peak ? std::optional(sensor.unit.shown_from_peak(*peak)) : std::nullopt;
  };
  PageRow row;
  row.speed = p.speed;
  row.sensor = p.sensor;
  row.speed_label = speed_label(view.rotor(), view.job.speeds_rpm[p.speed]);
  row.before = shown(sensor, p.before, view.rotor().phase);
  row.after = shown(sensor, p.after, view.rotor().phase);
  row.limit = sensor.unit.shown_from_peak(p.limit);
  row.target = seen(p.target);
  row.after_sd = seen(p.after_sd);
  if (expected != nullptr) row.differs_by = seen(expected->differs_by);
  row.as_found = shown_reading(view.job, view.found_run, p.speed, p.sensor);
  row.measured = shown_reading(view.job, view.check_run, p.speed, p.sensor);
  return row;
}

}  // namespace

PageView page_view(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                   const BalancePlan& plan) {
  PageView view{job, model, trim, plan, fitted_after(job, plan.changes), first_run(job), {}, {}};
  view.check_run = check_run(job, model, view.fitted);
  for (std::size_t i = 0; i < trim.predictions.size(); ++i)
    view.rows.push_back(
        page_row(view, trim.predictions[i], i < plan.expected.size() ? &plan.expected[i] : nullptr));
  return view;
}

std::string level_words(double amplitude, double limit, const std::optional<double>& target) {
  if (amplitude > limit) return "✕ ABOVE LIMIT";
  if (!target) return "✓ below limit";
  return amplitude > *target ? "▲ above target" : "✓ below target";
}

std::string levels_summary(const PageView& view, bool measured) {
  std::size_t known = 0;
  std::size_t over_limit = 0;
  std::size_t over_target = 0;
  for (const auto& row : view.rows) {
    if (measured && !row.measured) continue;
    const double amplitude = measured ? row.measured->amplitude : row.after.amplitude;
    ++known;
    if (amplitude > row.limit) {
      ++over_limit;
    } else if (row.target && amplitude > *row.target) {
      ++over_target;
    }
  }
  const std::string what = measured ? "measured" : "expected";
  if (over_limit > 0) return fmt::format("✕ {} of {} {} readings ABOVE THEIR LIMIT", over_limit, known, what);
  if (over_target > 0)
    return fmt::format("▲ all {} {} readings below their limit, {} above their target", known, what,
                       over_target);
  return fmt::format("✓ all {} {} readings below limit and target", known, what);
}

}  // namespace trimwright
