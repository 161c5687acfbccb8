#include "probable_bound.hpp"

#include <algorithm>
#include <cmath>
#include <queue>

#include "influence/posterior_draws.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::VectorXd;

/// Moments u with |Re u_p - middle| <= half and alike for Im: (Re u_1, Im u_1, ...).
struct MomentBox {
  VectorXd middle, half;
  std::vector<Index> draws;  ///< that may meet every target somewhere in it

  bool operator<(const MomentBox& other) const { return draws.size() < other.draws.size(); }
};

/// The draws of a posterior as they depend on the moments added.
class DrawnTargets {
 public:
  DrawnTargets(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance_now,
               const std::vector<std::size_t>& entries, const VectorXd& target)
      : posterior_(posterior),
        entries_(entries),
        target_(target),
        chance_(drawn_chance(posterior)),
        now_(target.size(), chance_.own.cols()),
        size_(static_cast<Index>(entries.size()) * target.size(), chance_.own.cols()),
        hint_(static_cast<std::size_t>(chance_.own.cols()), 0) {
    for (Index d = 0; d < now_.cols(); ++d)
      for (Index i = 0; i < now_.rows(); ++i) {
        now_(i, d) = unknown(i, 0, d);
        for (std::size_t p = 0; p < entries.size(); ++p)
          size_(i * static_cast<Index>(entries.size()) + static_cast<Index>(p), d) =
              std::abs(unknown(i, 1 + entries[p], d));
        for (Index p = 0; p < unbalance_now.size(); ++p)
          now_(i, d) += unknown(i, 1 + static_cast<std::size_t>(p), d) * unbalance_now(p);
      }
  }

  [[nodiscard]] Index count() const { return now_.cols(); }
  [[nodiscard]] Index rows() const { return now_.rows(); }

  /// Largest effect on a row of one g mm in the plane, over the row's target, in the mean.
  [[nodiscard]] double effect(std::size_t plane) const {
    double most = 0.0;
    for (Index i = 0; i < rows(); ++i)
      most = std::max(most, std::abs(posterior_.unknowns.at(
                                posterior_.entry(static_cast<std::size_t>(i), 1 + entries_[plane]))) /
                                target_(i));
    return most;
  }

  enum class Meets { nowhere, somewhere, in_the_middle };
  /// Whether draw `d` may meet every target in a box.
  [[nodiscard]] Meets meets(const MomentBox& box, const VectorXd& radius, Index d) {
    const auto planes = static_cast<Index>(entries_.size());
    const NoiseModel& noise =
        posterior_.draws->noise[posterior_.draws->noise_of[static_cast<std::size_t>(d)]];
    auto& hint = hint_[static_cast<std::size_t>(d)];
    Meets found = Meets::in_the_middle;
    for (Index k = 0; k < rows(); ++k) {
      const Index i = (k + hint) % rows();
      Phasor x = now_(i, d);
      for (Index p = 0; p < planes; ++p) {
        const Phasor c = unknown(i, 1 + entries_[static_cast<std::size_t>(p)], d);
        const double re = box.middle(2 * p), im = box.middle(2 * p + 1);
        x += Phasor(c.real() * re - c.imag() * im, c.real() * im + c.imag() * re);
      }
      const std::size_t sensor = posterior_.rows[static_cast<std::size_t>(i)].second;
      const double share = noise.sensors[sensor].proportional;
      const Phasor z = chance_.own(i, d);
      const double sd = own_sd(noise, sensor, share > 0.0 ? std::abs(x) : 0.0);
      const double squared = std::norm(x + chance_.shared(i, d) + sd * z);
      if (squared <= target_(i) * target_(i)) continue;
      found = Meets::somewhere;
      double slack = 0.0;
      for (Index p = 0; p < planes; ++p) slack += size_(i * planes + p, d) * radius(p);
      if (share > 0.0) slack *= 1.0 + noise.widened * share * std::abs(z);
      if (squared <= std::pow(target_(i) + slack, 2)) continue;
      hint = i;
      return Meets::nowhere;
    }
    return found;
  }

 private:
  [[nodiscard]] Phasor unknown(Index row, std::size_t entry, Index d) const {
    const auto at = 2 * static_cast<Index>(posterior_.entry(static_cast<std::size_t>(row), entry));
    return {posterior_.draws->unknowns(at, d), posterior_.draws->unknowns(at + 1, d)};
  }

  const InfluencePosterior& posterior_;
  const std::vector<std::size_t>& entries_;
  const VectorXd& target_;
  DrawnChance chance_;
  Eigen::MatrixXcd now_;     ///< without noise
  Eigen::MatrixXd size_;     ///< |C| of each row and plane
  std::vector<Index> hint_;  ///< the row that last showed that a draw meets nowhere
};

}  // namespace

std::optional<MostProbable> most_probable(const InfluencePosterior& posterior,
                                          const Eigen::VectorXcd& unbalance_now,
                                          const std::vector<std::size_t>& entries, const VectorXd& target,
                                          const VectorXd& reach, double known, Deadline deadline) {
  constexpr double close_enough = 0.005;
  constexpr double most_effort = 2e7;  // products of a coefficient and a moment
  if (!posterior.draws) return std::nullopt;
  DrawnTargets drawn(posterior, unbalance_now, entries, target);
  VectorXd effect(2 * reach.size());
  for (Index p = 0; p < reach.size(); ++p)
    effect.segment<2>(2 * p).setConstant(drawn.effect(static_cast<std::size_t>(p)));
  auto best = static_cast<std::size_t>(known * static_cast<double>(drawn.count()));
  double effort = 0.0;
  const auto look = [&](MomentBox& box) {
    std::size_t in_the_middle = 0;
    effort += static_cast<double>(box.draws.size()) * static_cast<double>(drawn.rows() * reach.size());
    VectorXd radius(reach.size());
    for (Index p = 0; p < radius.size(); ++p) radius(p) = box.half.segment<2>(2 * p).norm();
    std::erase_if(box.draws, [&](Index d) {
      const auto meets = drawn.meets(box, radius, d);
      in_the_middle += meets == DrawnTargets::Meets::in_the_middle;
      return meets == DrawnTargets::Meets::nowhere;
    });
    best = std::max(best, in_the_middle);
  };
  MomentBox all{VectorXd::Zero(effect.size()), VectorXd(effect.size()), {}};
  for (Index p = 0; p < reach.size(); ++p) all.half.segment<2>(2 * p).setConstant(reach(p));
  for (Index d = 0; d < drawn.count(); ++d) all.draws.push_back(d);
  look(all);
  std::priority_queue<MomentBox> open;
  open.push(std::move(all));
  const double count = static_cast<double>(drawn.count());
  while (!open.top().draws.empty() &&
         static_cast<double>(open.top().draws.size()) > static_cast<double>(best) + close_enough * count &&
         effort < most_effort && !deadline.passed_now()) {
    const MomentBox box = open.top();
    open.pop();
    Index widest = 0;
    box.half.cwiseProduct(effect).maxCoeff(&widest);
    for (const double side : {-1.0, 1.0}) {
      MomentBox part = box;
      part.half(widest) *= 0.5;
      part.middle(widest) += side * part.half(widest);
      look(part);
      open.push(std::move(part));
    }
  }
  const std::size_t most = std::max(best, open.top().draws.size());
  return MostProbable{static_cast<double>(best) / count, static_cast<double>(most) / count};
}

}  // namespace trimwright
