#include "trimwright/check.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

namespace trimwright {
namespace {

using Eigen::Index;

struct Judged {
  double log_density = 0.0;
  double misfit = 0.0;
};

/// log(exp(a) + exp(b)).
double log_sum(double a, double b) {
  if (a == -std::numeric_limits<double>::infinity()) return b;
  if (b == -std::numeric_limits<double>::infinity()) return a;
  return std::max(a, b) + std::log1p(std::exp(-std::abs(a - b)));
}

/// What a hypothesis leaves unknown, as covariance beside the usual scatter.
Eigen::MatrixXcd unknown_part(const InfluenceModel& model, const CheckRows& rows, const Hypothesis& one,
                              const Eigen::VectorXcd& expected) {
  const Index n = expected.size();
  Eigen::MatrixXcd s = Eigen::MatrixXcd::Zero(n, n);
  if (one.moment_sd.size() > 0) {
    Eigen::MatrixXcd c(n, one.moment_sd.size());
    for (Index i = 0; i < n; ++i)
      c.row(i) = model.rows[rows.rows[static_cast<std::size_t>(i)].row].coefficients.transpose();
    s += c * one.moment_sd.cwiseAbs2().cast<Phasor>().asDiagonal() * c.adjoint();
  }
  if (one.gain_sd > 0.0) s += one.gain_sd * one.gain_sd * expected * expected.adjoint();
  if (one.noise_sd.size() > 0) s.diagonal() += one.noise_sd.cwiseAbs2().cast<Phasor>();
  return s;
}

/// Circular complex Gaussian with covariance S per real component: -n log 2 pi - log det S - d^H S^-1 d / 2.
Judged gaussian(const Eigen::MatrixXcd& s, const Eigen::VectorXcd& d) {
  const Eigen::LLT<Eigen::MatrixXcd> factor(s);
  if (factor.info() != Eigen::Success) return {-std::numeric_limits<double>::infinity(), 0.0};
  const Eigen::MatrixXcd lower = factor.matrixL();
  const double log_det = 2.0 * lower.diagonal().real().array().log().sum();
  const double squares = factor.matrixL().solve(d).squaredNorm();
  const auto n = static_cast<double>(d.size());
  return {-n * std::log(2.0 * M_PI) - log_det - 0.5 * squares, squares};
}

/// A covariance with row i and column i times `scale(i)`; empty: as it is.
Eigen::MatrixXcd row_scaled(const Eigen::MatrixXcd& covariance, const Eigen::VectorXd& scale) {
  if (scale.size() == 0) return covariance;
  return scale.asDiagonal() * covariance * scale.asDiagonal();
}

/// Log density of the readings under one hypothesis, the mean over the scales that the scatter may have. How
/// well a posterior is known it tells itself: that part is not scaled.
Judged judged(const InfluenceModel& model, const CheckRows& rows, const Hypothesis& one,
              const DifferenceCovariance& covariance) {
  const Eigen::VectorXcd expected = expected_readings(model, rows, one.unbalance);
  const Eigen::MatrixXcd usual = row_scaled(covariance.scatter, one.row_scale);
  const Eigen::MatrixXcd unknown =
      unknown_part(model, rows, one, expected) + row_scaled(covariance.believed, one.row_scale);
  const Eigen::VectorXcd d = one.readings - expected;
  double log_density = -std::numeric_limits<double>::infinity();
  for (const double scale : scatter_scales)
    log_density = log_sum(log_density, gaussian(scale * scale * usual + unknown, d).log_density);
  return {one.log_volume + log_density - std::log(static_cast<double>(std::size(scatter_scales))),
          gaussian(usual + unknown, d).misfit};
}

/// Posterior probabilities of the kinds, which then stand in falling order.
void weigh(std::vector<RankedMistake>& kinds) {
  const double mistaken =
      (1.0 - prior_of_nothing_wrong) / static_cast<double>(std::max<std::size_t>(kinds.size() - 1, 1));
  double all = -std::numeric_limits<double>::infinity();
  const auto log_weight = [&](const RankedMistake& one) {
    return one.log_evidence + std::log(one.kind == MistakeKind::nothing ? prior_of_nothing_wrong : mistaken);
  };
  for (const auto& one : kinds) all = log_sum(all, log_weight(one));
  for (auto& one : kinds) one.probability = std::exp(log_weight(one) - all);
  std::stable_sort(kinds.begin(), kinds.end(),
                   [](const auto& a, const auto& b) { return a.probability > b.probability; });
}

}  // namespace

MistakeRanking rank_mistakes(const Job& job, const InfluenceModel& model, const CheckRows& rows,
                             const RunToRun& scatter) {
  MistakeRanking ranking;
  if (rows.rows.empty()) return ranking;
  ranking.degrees_of_freedom = 2 * static_cast<int>(rows.rows.size());
  const DifferenceCovariance as_written = difference_covariance(job, model, rows, rows.unbalance, scatter);
  std::map<MistakeKind, std::pair<RankedMistake, double>> kinds;  // and the density of its likeliest form
  for (const auto& one : hypotheses(job, model, rows)) {
    const Judged form = judged(model, rows, one,
                               one.unbalance == rows.unbalance
                                   ? as_written
                                   : difference_covariance(job, model, rows, one.unbalance, scatter));
    const double weighted = form.log_density + std::log(one.share);
    const auto [entry, is_new] =
        kinds.try_emplace(one.kind, RankedMistake{one.kind, one.what, 0.0, weighted, form.misfit}, weighted);
    if (is_new) continue;
    auto& [kind, best] = entry->second;
    kind.log_evidence = log_sum(kind.log_evidence, weighted);
    if (weighted <= best) continue;
    best = weighted;
    kind.what = one.what;
    kind.misfit = form.misfit;
  }
  for (auto& entry : kinds) ranking.kinds.push_back(std::move(entry.second.first));
  weigh(ranking.kinds);
  for (const auto& one : ranking.kinds)
    if (one.probability * telling_odds > ranking.kinds.front().probability) ++ranking.not_told_apart;
  return ranking;
}

const std::vector<MistakeKind>& mistake_kinds() {
  using enum MistakeKind;
  static const std::vector<MistakeKind> all{
      nothing,           mirrored,   shifted,     opposite,      missing,      swapped,
      wrong_size,        left_in,    wrong_plane, phase_sense,   polarity,     sensors_exchanged,
      reference_shifted, time_delay, unit,        rotor_changed, none_of_these};
  return all;
}

std::string mistake_name(MistakeKind kind) {
  using enum MistakeKind;
  switch (kind) {
    case nothing:
      return "nothing_wrong";
    case mirrored:
      return "weights_mirrored";
    case shifted:
      return "weights_shifted";
    case opposite:
      return "weights_opposite";
    case missing:
      return "weight_missing";
    case swapped:
      return "weights_swapped";
    case wrong_size:
      return "weight_of_wrong_size";
    case left_in:
      return "weight_left_in";
    case wrong_plane:
      return "wrong_plane";
    case phase_sense:
      return "phase_sense";
    case polarity:
      return "sensor_polarity";
    case sensors_exchanged:
      return "sensors_exchanged";
    case reference_shifted:
      return "reference_shifted";
    case time_delay:
      return "time_delay";
    case unit:
      return "unit_or_detector";
    case rotor_changed:
      return "rotor_changed";
    case none_of_these:
      return "none_of_these";
  }
  return {};
}

std::string mistake_remedy(MistakeKind kind) {
  using enum MistakeKind;
  switch (kind) {
    case nothing:
      return {};
    case mirrored:
    case shifted:
    case opposite:
    case missing:
    case swapped:
    case wrong_size:
    case left_in:
    case wrong_plane:
      return "Two people compare every slot of every plane with the list: slot 1, the way the numbers grow, "
             "the "
             "piece in each slot, and what was taken out.";
    case phase_sense:
      return "Check that the instrument's phase is lag or lead as the rotor file says.";
    case polarity:
    case sensors_exchanged:
      return "Check the sensors: which is on which channel, its mounting direction and its wiring.";
    case reference_shifted:
      return "Check the reference: pickup, polarity, the larger tooth and the tooth count.";
    case time_delay:
      return "Check filters, cables and settings of the instrument: something is later or earlier than in "
             "the "
             "runs before.";
    case unit:
      return "Check unit and detector (peak, peak to peak, rms) of the readings.";
    case rotor_changed:
      return "Inspect the rotor as the manual says: blades, their seating, loose or lost parts, ice or dirt; "
             "and compare warm-up and dwell with the runs before.";
    case none_of_these:
      return "Repeat the run under the same conditions; if the readings stay, look beyond the trim.";
  }
  return {};
}

}  // namespace trimwright
