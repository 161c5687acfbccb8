#include <Eigen/QR>
#include <algorithm>
#include <cmath>

#include "day.hpp"
#include "virtual_rotor/response.hpp"

namespace trimwright {
namespace {

/// Enough to settle every coefficient; no number depends on its size, the rotor being linear.
constexpr double probe_g_mm = 1000.0;

Reading exact_reading(const Rehearsal& rehearsal, std::size_t speed, double rpm, std::size_t sensor,
                      Phasor x) {
  Reading reading;
  reading.speed = speed;
  reading.rpm = rpm;
  reading.sensor = sensor;
  reading.x = in_sensor_unit(rehearsal.rotor.sensors[sensor],
                             rehearsal.truth.rotor().sensors[sensor].quantity, x, rpm);
  reading.amplitude = std::abs(*reading.x);
  return reading;
}

Run exact_run(const Rehearsal& rehearsal, const std::vector<virtual_rotor::SpeedResponse>& responses,
              const Job& job, std::optional<std::size_t> probed) {
  Run run;
  run.name = probed ? "probe " + job.rotor.planes[*probed].name : "slots empty";
  run.fitted.resize(job.rotor.planes.size());
  if (probed) run.fitted[*probed].free.push_back({probe_g_mm, RotorAngle{}});
  std::vector<std::complex<double>> unbalance;
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    unbalance.push_back(total_moment(job.rotor.planes[p], run.fitted[p]));
  for (std::size_t s = 0; s < responses.size(); ++s) {
    const Eigen::VectorXcd levels = virtual_rotor::vibration(responses[s], unbalance);
    for (std::size_t sensor = 0; sensor < job.rotor.sensors.size(); ++sensor)
      run.readings.push_back(
          exact_reading(rehearsal, s, job.speeds_rpm[s], sensor, levels(static_cast<Eigen::Index>(sensor))));
  }
  return run;
}

/// The five speeds, and as many noiseless runs as show the rotor whole.
Result<Job> exact_job(const Rehearsal& rehearsal) {
  Job job;
  job.rotor = rehearsal.rotor;
  job.serial = "rehearsal " + std::to_string(rehearsal.seed);
  for (Sensor& sensor : job.rotor.sensors) sensor.repeatability.reset();  // the truth has no scatter
  std::vector<virtual_rotor::SpeedResponse> responses;
  for (const double percent : rehearsal_speeds_percent) {
    job.speeds_rpm.push_back(percent / 100.0 * rehearsal.truth.rotor().full_speed_rpm);
    responses.push_back(virtual_rotor::speed_response(rehearsal.truth, job.speeds_rpm.back()));
  }
  job.runs.push_back(exact_run(rehearsal, responses, job, std::nullopt));
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    job.runs.push_back(exact_run(rehearsal, responses, job, p));
  if (auto settled = settle_places(job); !settled) return tl::unexpected(settled.error());
  return job;
}

/// A blade exchanged and the like, told by the person: part of the rotor from then on.
std::vector<KnownChange> changes_of(const Job& job) {
  std::vector<KnownChange> changes;
  for (const Run& run : job.runs) changes.insert(changes.end(), run.changes.begin(), run.changes.end());
  return changes;
}

/// U in the planes of least sum over speeds and sensors of |X0 - C U|^2 over the limit squared.
std::vector<std::complex<double>> acting_alike(const Job& job, const InfluenceModel& model) {
  const auto rows = static_cast<Eigen::Index>(model.rows.size());
  Eigen::MatrixXcd coefficients(rows, static_cast<Eigen::Index>(model.planes.size()));
  Eigen::VectorXcd baseline(rows);
  for (Eigen::Index i = 0; i < rows; ++i) {
    const InfluenceRow& row = model.rows[static_cast<std::size_t>(i)];
    const double weight = 1.0 / place_of(job, row.speed, row.sensor).limit;
    coefficients.row(i) = weight * row.coefficients.transpose();
    baseline(i) = weight * row.baseline;
  }
  const Eigen::VectorXcd moments = coefficients.colPivHouseholderQr().solve(baseline);
  return {moments.begin(), moments.end()};
}

/// The row of the trade-off with most changes: the best that could be fitted.
Result<TrimPlan> best_trim(const Job& job, const InfluenceModel& model, TrimRequest request) {
  request.pieces.reset();
  const Deadline deadline = request.deadline();
  auto trim = plan_trim(job, model, request, deadline.after_share(0.5));
  if (!trim || !trim->has_slots() || trim->chosen + 1 == trim->trade_off.size()) return trim;
  request.pieces = static_cast<int>(trim->trade_off.back().changes.size());
  return plan_trim(job, model, request, deadline);
}

}  // namespace

Result<RehearsalTruth> rehearsal_truth(const Rehearsal& rehearsal, const Job& job) {
  RehearsalTruth truth;
  auto exact = exact_job(rehearsal);
  if (!exact) return tl::unexpected(exact.error());
  truth.job = *std::move(exact);
  std::vector<std::size_t> planes;
  for (std::size_t p = 0; p < truth.job.rotor.planes.size(); ++p) planes.push_back(p);
  auto model = fit_influence(truth.job, planes);
  if (!model) return tl::unexpected(model.error());
  truth.model = *std::move(model);
  truth.hidden = rehearsal.truth.rotor().as_found;
  truth.equivalent = acting_alike(truth.job, truth.model);
  truth.fitted = job.fitted_now;
  truth.moment = unbalance_now(job);
  const auto& first = job.runs.empty() ? job.fitted_now : job.runs.front().fitted;
  // Known changes are told to the trim by the last of the runs it knows.
  truth.job.fitted_now = first;
  Job changed = truth.job;
  changed.runs.back().changes = changes_of(job);
  truth.levels = forecast(changed, truth.model, job.fitted_now).predictions;
  TrimRequest request;
  request.max_changes = rehearsal_changes;
  auto best = best_trim(changed, truth.model, request);
  if (!best) return tl::unexpected(best.error());
  truth.best = *std::move(best);
  Job before = job;
  for (std::size_t r = job.runs.size(); r-- > 1;) {
    before.runs.resize(r);
    if (const auto slip = planted_slip(rehearsal, before, r, job.runs[r].fitted))
      truth.slip = "Run \"" + job.runs[r].name + "\": " + slip->what + ".";
  }
  return truth;
}

}  // namespace trimwright
