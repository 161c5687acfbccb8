#include "run_comparison.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "base/linear_algebra.hpp"
#include "forecast/outlook.hpp"
#include "influence/events.hpp"
#include "influence/plane_moments.hpp"
#include "influence/prior_place.hpp"
#include "influence/run_matrix.hpp"
#include "influence/usable_reading.hpp"
#include "runs/stated_sd.hpp"
#include "runs/used_runs.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::VectorXcd;

/// Of X0, and of what the usual change of a plane's weights moves a reading by, over the level usual there.
constexpr double believed_levels = 2.0;
/// Of the level usual at a place: no reading is known better than this.
constexpr double finest_reading = 1e-4;

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// A plane outside the model whose weights differ in the check run: its effect is not known.
std::string unknown_plane(const Job& job, const InfluenceModel& model, std::size_t run) {
  for (const std::size_t p : planes_changed(job, {model.runs.used.front(), run}))
    if (std::find(model.planes.begin(), model.planes.end(), p) == model.planes.end())
      return "the weights of plane \"" + job.rotor.planes[p].name +
             "\" changed in this run, and no run before tells how that plane acts";
  return {};
}

}  // namespace

std::string why_not_foretold(const Job& job, const InfluenceModel& model, std::size_t run) {
  if (const auto plane = unknown_plane(job, model, run); !plane.empty()) return plane;
  if (new_baseline_between(job, run - 1, run)) return "the baseline became another before this run";
  if (event_between(job, run - 1, run))
    return "what happened before this run (its phase reference, its delay or a sensor) is not told by the "
           "runs";
  const Run& check = job.runs[run];
  for (const auto& reading : check.readings) {
    const std::pair place{reading.speed, reading.sensor};
    if (model.posterior && why_not_usable(job, check, reading).empty() &&
        std::find(model.posterior->rows.begin(), model.posterior->rows.end(), place) !=
            model.posterior->rows.end())
      return {};
  }
  return "no reading of this run has a phase, a prediction and a known repeatability (\"repeatability\" of "
         "the sensor)";
}

RunComparison::RunComparison(const Job& job, const InfluenceModel& model, std::size_t check,
                             const RunToRun& scatter, const Prior* prior)
    : job_(&job), model_(&model), check_(check), scatter_(scatter) {
  const InfluencePosterior& posterior = *model.posterior;
  std::vector<std::vector<double>> amplitudes(posterior.rows.size());
  std::vector<std::size_t> all(check + 1);
  std::iota(all.begin(), all.end(), std::size_t{0});
  shifts_ = new_baselines(job, all, check + 1);
  for (std::size_t r = 0; r <= check; ++r) {
    listed_.push_back(of_planes(run_unbalance(job, r), posterior.planes));
    Eigen::VectorXd fitting(listed_.back().size());
    for (Index p = 0; p < fitting.size(); ++p) {
      const std::size_t plane = posterior.planes[static_cast<std::size_t>(p)];
      fitting(p) = 0.5 * fitting_covariance(job.rotor.planes[plane], job.runs[r].fitted[plane]).trace();
    }
    fitting_.push_back(fitting);
    if (job.runs[r].set_aside) continue;
    for (const auto& reading : job.runs[r].readings) {
      const auto at =
          std::find(posterior.rows.begin(), posterior.rows.end(), std::pair(reading.speed, reading.sensor));
      if (at == posterior.rows.end() || !why_not_usable(job, job.runs[r], reading).empty()) continue;
      const auto row = static_cast<std::size_t>(at - posterior.rows.begin());
      const double own =
          stated_sd(job.rotor, reading).value_or(posterior.noise.sensors[reading.sensor].within.sd);
      const double rpm = job.speeds_rpm[reading.speed];
      const Phasor since = since_events(posterior.events, job, r, rpm, reading.sensor);
      const Phasor x = since * *reading.x;
      Eigen::VectorXcd unsure(static_cast<Index>(posterior.events.size()));
      for (std::size_t k = 0; k < posterior.events.size(); ++k)
        unsure(static_cast<Index>(k)) = x * event_exponent(posterior.events[k], job, r, rpm, reading.sensor);
      held_.push_back({r, reading.speed, reading.sensor, row, reading.rpm, x, since * reading.phase_factor,
                       std::move(unsure),
                       std::abs(since) *
                           std::hypot(posterior.noise.widened * own, speed_effect(job, job.runs[r], reading)),
                       x});
      amplitudes[row].push_back(std::abs(x));
      if (runs_.empty() || runs_.back() != r) runs_.push_back(r);
    }
  }
  seating_.resize(static_cast<Index>(posterior.planes.size()));
  for (Index p = 0; p < seating_.size(); ++p)
    seating_(p) = std::pow(
        scatter.seating * job.rotor.planes[posterior.planes[static_cast<std::size_t>(p)]].heaviest_g_mm(), 2);
  for (const auto& one : amplitudes) levels_.push_back(one.empty() ? 0.0 : median_of(one));
  const double usual = median_of(levels_);
  for (double& level : levels_) level = std::max({level, 0.05 * usual, 1e-9});
  for (auto& one : held_) {
    one.within_sd = std::max(one.within_sd, finest_reading * levels_[one.row]);
    if (const double most = 2.0 * levels_[one.row]; std::abs(one.x) > most)
      one.level *= most / std::abs(one.x);
  }
  believe_beforehand(prior);
  const VectorXcd foretold = expected(as_written({check}));
  Index i = 0;
  for (auto& one : held_)
    if (one.run == check) one.level = foretold(i++);
}

void RunComparison::believe_beforehand(const Prior* prior) {
  const InfluencePosterior& posterior = *model_->posterior;
  const auto planes = static_cast<Index>(posterior.planes.size());
  centre_ = VectorXcd::Zero(planes);
  for (const std::size_t r : runs_) centre_ += listed_[r] / static_cast<double>(runs_.size());
  change_ = Eigen::VectorXd::Zero(planes);
  for (const std::size_t r : runs_)
    change_ = change_.cwiseMax((listed_[r] - listed_[runs_.front()]).cwiseAbs());
  for (double& one : change_)
    if (one <= 0.0) one = 1.0;
  const auto rows = static_cast<Index>(posterior.rows.size());
  const Index entries = this->entries();
  before_mean_ = VectorXcd::Zero(rows * entries);
  before_covariance_ = MatrixXcd::Zero(rows * entries, rows * entries);
  for (Index i = 0; i < rows; ++i)
    before_covariance_.diagonal()
        .segment(i * entries, entries)
        .setConstant(std::pow(believed_levels * levels_[static_cast<std::size_t>(i)], 2));
  if (prior == nullptr || model_->basis != InfluenceModel::Basis::prior) return share_coefficients();
  fleet_ = true;
  const auto match = matched(*prior, *job_, posterior);
  const auto moments = prior_moments(*prior, match.prior);
  const auto scale = [&](std::size_t unknown) {
    return change_(static_cast<Index>(unknown) % (1 + planes) - 1);
  };
  for (std::size_t a = 0; a < match.unknown.size(); ++a) {
    const auto i = place_of_unknown(match.unknown[a]), at = 2 * static_cast<Index>(a);
    before_mean_(i) = scale(match.unknown[a]) * Phasor(moments.mean(at), moments.mean(at + 1));
    for (std::size_t b = 0; b < match.unknown.size(); ++b)
      before_covariance_(i, place_of_unknown(match.unknown[b])) =
          scale(match.unknown[a]) * scale(match.unknown[b]) *
          circular_part(moments.covariance.block<2, 2>(at, 2 * static_cast<Index>(b)));
  }
  share_coefficients();
}

void RunComparison::share_coefficients() {
  const auto& rows = model_->posterior->rows;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const auto first = static_cast<Index>(sharing_row(*job_, rows, i)), row = static_cast<Index>(i);
    for (Index p = 1; p <= centre_.size() && first != row; ++p) {
      const Index from = first * entries() + p, to = row * entries() + p;
      before_mean_(to) = before_mean_(from);
      before_covariance_.row(to) = before_covariance_.row(from);
      before_covariance_.col(to) = before_covariance_.col(from);
    }
  }
}

std::vector<HeldReading> RunComparison::readings_of(const std::vector<std::size_t>& runs) const {
  std::vector<HeldReading> readings;
  for (const std::size_t run : runs)
    for (const auto& one : held_)
      if (one.run == run) readings.push_back(one);
  return readings;
}

Eigen::VectorXcd RunComparison::listed(std::size_t run) const { return listed_[run]; }

bool RunComparison::is_foretold(std::size_t run) const {
  if (run == check_ || fleet_) return true;
  std::vector<std::size_t> others = runs_;
  std::erase(others, run);
  MatrixXcd all(static_cast<Index>(others.size()), entries());
  for (Index r = 0; r < all.rows(); ++r) {
    const std::size_t other = others[static_cast<std::size_t>(r)];
    all.row(r) << 1.0, ((listed_[other] - centre_).cwiseQuotient(change_.cast<Phasor>())).transpose(),
        shifts_.row(static_cast<Index>(other)).cast<Phasor>();
  }
  return rank_of(all, 1e3 * rank_tolerance) == all.cols();
}

Eigen::Index RunComparison::place_of_unknown(std::size_t unknown) const {
  const std::size_t known = 1 + static_cast<std::size_t>(centre_.size());
  return static_cast<Index>(unknown / known) * entries() + static_cast<Index>(unknown % known);
}

Hypothesis RunComparison::as_written(const std::vector<std::size_t>& runs) const {
  Hypothesis one;
  one.what = "nothing is wrong, and the readings only scatter more than usual";
  one.runs = runs;
  const auto readings = readings_of(runs);
  one.readings.resize(static_cast<Index>(readings.size()));
  for (std::size_t i = 0; i < readings.size(); ++i) one.readings(static_cast<Index>(i)) = readings[i].x;
  one.unbalance.resize(static_cast<Index>(runs.size()), centre_.size());
  for (std::size_t r = 0; r < runs.size(); ++r)
    one.unbalance.row(static_cast<Index>(r)) = listed_[runs[r]].transpose();
  return one;
}

RunComparison RunComparison::corrected(const Hypothesis& one) const {
  RunComparison after = *this;
  after.memory_.clear();
  const auto written = readings_of(one.runs);
  Index i = 0;
  for (const std::size_t run : one.runs)
    for (auto& held : after.held_)
      if (held.run == run) held.x = one.readings(i++);
  for (std::size_t r = 0; r < one.runs.size(); ++r)
    after.listed_[one.runs[r]] = one.unbalance.row(static_cast<Index>(r)).transpose();
  return after;
}

}  // namespace trimwright
