#include "ring_picture.hpp"

#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>
#include <vector>

namespace trimwright {
namespace {

constexpr double most_revolutions = 2000.0;  ///< remembered; older ones fade, so that wear shows
constexpr double enough_to_miss = 7.0;       ///< revolutions after which a place without pulses is broken off
constexpr double seldom = 0.1;               ///< part of the revolutions in which a broken tooth may show
constexpr int most_waves = 3;                ///< per turn that count as run-out
constexpr int teeth_per_wave = 6;            ///< with fewer the waves would follow single teeth
constexpr int reweightings = 25;
constexpr double clear_of_next = 0.05;  ///< log, of the larger tooth over the next
constexpr int furthest_slip = 3;        ///< places looked at on either side

Eigen::ArrayXd turned_array(const Eigen::ArrayXd& values, int place) {
  const Eigen::Index n = values.size();
  Eigen::ArrayXd result(n);
  for (Eigen::Index i = 0; i < n; ++i) result[i] = values[(i + place) % n];
  return result;
}

void blend(Eigen::ArrayXd& into, const Eigen::ArrayXd& newer, const Eigen::ArrayXd& weight,
           const Eigen::ArrayXd& newer_weight) {
  for (Eigen::Index i = 0; i < into.size(); ++i) {
    if (!std::isfinite(newer[i])) continue;
    into[i] = std::isfinite(into[i])
                  ? (weight[i] * into[i] + newer_weight[i] * newer[i]) / (weight[i] + newer_weight[i])
                  : newer[i];
  }
}

double median_of_finite(const Eigen::ArrayXd& values) {
  std::vector<double> finite;
  for (const double value : values)
    if (std::isfinite(value)) finite.push_back(value);
  if (finite.empty()) return 0.0;
  const auto middle = finite.begin() + static_cast<std::ptrdiff_t>(finite.size() / 2);
  std::nth_element(finite.begin(), middle, finite.end());
  return *middle;
}

double variance_of_mean(double scatter, double revolutions, double floor) {
  return scatter * scatter / std::max(1.0, revolutions) + floor * floor;
}

/// One feature of both pictures and the inverse variance of their difference.
struct Feature {
  Eigen::ArrayXd known, seen;
  double weight;
};

Feature feature(const RingPicture& known, const RingPicture& seen, Eigen::ArrayXd RingPicture::*which,
                double RingPicture::*scatter, double floor, bool other_gap) {
  const auto levelled = [&](const Eigen::ArrayXd& values) -> Eigen::ArrayXd {
    return other_gap ? without_run_out(values) : values - median_of_finite(values);
  };
  return {levelled(known.*which), levelled(seen.*which),
          1.0 / (variance_of_mean(known.*scatter, known.revolutions, 0.0) +
                 variance_of_mean(seen.*scatter, seen.revolutions, floor))};
}

std::vector<Feature> features_of(const RingPicture& known, const RingPicture& seen, const MatchRules& rules) {
  return {
      feature(known, seen, &RingPicture::size, &RingPicture::size_scatter, rules.size_floor, rules.other_gap),
      feature(known, seen, &RingPicture::width, &RingPicture::width_scatter, rules.width_floor,
              rules.other_gap),
      feature(known, seen, &RingPicture::spacing, &RingPicture::spacing_scatter, rules.spacing_floor, false)};
}

double cost_of(const std::vector<Feature>& features, int shift, double most) {
  const Eigen::Index n = features.front().seen.size();
  double cost = 0.0;
  for (Eigen::Index i = 0; i < n; ++i) {
    const Eigen::Index j = (i + shift) % n;
    double tooth = 0.0;
    for (const Feature& one : features) {
      const double off = one.seen[i] - one.known[j];
      if (std::isfinite(off))
        tooth += one.weight * off * off;
      else if (std::isfinite(one.seen[i]) != std::isfinite(one.known[j]))
        tooth = most;
    }
    cost += std::min(tooth, most);
  }
  return cost;
}

/// Best shift and its lead, of the features of one ring against another.
RingMatch best_of(const std::vector<Feature>& features, double most) {
  const auto n = static_cast<int>(features.front().seen.size());
  RingMatch best;
  double least = std::numeric_limits<double>::infinity(), second = least;
  for (int shift = 0; shift < n; ++shift) {
    const double cost = cost_of(features, shift, most);
    if (cost < least) {
      second = least;
      least = cost;
      best.shift = shift;
    } else {
      second = std::min(second, cost);
    }
  }
  best.lead = second - least;
  best.misfit = least / n;
  return best;
}

}  // namespace

RingPicture RingPicture::turned(int place) const {
  RingPicture result = *this;
  for (auto member : {&RingPicture::size, &RingPicture::before, &RingPicture::after, &RingPicture::width,
                      &RingPicture::spacing, &RingPicture::pulses, &RingPicture::uneven})
    result.*member = turned_array(this->*member, place);
  return result;
}

bool RingPicture::broken_off(int place) const {
  return revolutions >= enough_to_miss && pulses[place] <= seldom * revolutions;
}

void RingPicture::take_in(const RingPicture& newer) {
  if (teeth() == 0) {
    *this = newer;
    return;
  }
  const double fade = std::min(1.0, most_revolutions / revolutions);
  pulses *= fade;
  revolutions *= fade;
  for (auto member : {&RingPicture::size, &RingPicture::before, &RingPicture::after, &RingPicture::width,
                      &RingPicture::spacing, &RingPicture::uneven})
    blend(this->*member, newer.*member, pulses, newer.pulses);
  const double all = revolutions + newer.revolutions;
  for (auto member : {&RingPicture::size_scatter, &RingPicture::width_scatter, &RingPicture::spacing_scatter})
    this->*member = std::sqrt(
        (revolutions * std::pow(this->*member, 2) + newer.revolutions * std::pow(newer.*member, 2)) / all);
  pulses += newer.pulses;
  revolutions = all;
}

int run_out_waves(int teeth) { return std::clamp((teeth - 2) / teeth_per_wave, 0, most_waves); }

Eigen::ArrayXd without_run_out(const Eigen::ArrayXd& logs) {
  const auto n = static_cast<int>(logs.size());
  const int waves = run_out_waves(n);
  Eigen::MatrixXd shape(n, 2 * waves + 1);
  for (int i = 0; i < n; ++i) {
    const double angle = 2.0 * std::numbers::pi * i / n;
    shape(i, 0) = 1.0;
    for (int h = 1; h <= waves; ++h) {
      shape(i, 2 * h - 1) = std::cos(h * angle);
      shape(i, 2 * h) = std::sin(h * angle);
    }
  }
  const Eigen::ArrayXd known = logs.isFinite().select(logs, 0.0);
  Eigen::ArrayXd weight = logs.isFinite().select(Eigen::ArrayXd::Ones(n), 0.0);
  Eigen::ArrayXd rest = logs - median_of_finite(logs);
  for (int step = 0; step < reweightings; ++step) {
    const Eigen::ArrayXd distance = rest.isFinite().select(rest.abs(), 0.0);
    const double least = std::max(1e-9, 0.05 * median_of_finite(rest.abs()));
    const Eigen::ArrayXd root = (weight / distance.max(least)).sqrt();
    const Eigen::VectorXd fit =
        (shape.array().colwise() * root).matrix().colPivHouseholderQr().solve((known * root).matrix());
    rest = logs - (shape * fit).array();
  }
  return rest;
}

namespace {

/// The largest tooth where it stands clearly above the next one.
std::optional<int> clear_largest(const RingPicture& ring) {
  const Eigen::ArrayXd own = without_run_out(ring.size);
  int first = -1, second = -1;
  for (int i = 0; i < ring.teeth(); ++i) {
    if (!std::isfinite(own[i])) continue;
    if (first < 0 || own[i] > own[first])
      second = std::exchange(first, i);
    else if (second < 0 || own[i] > own[second])
      second = i;
  }
  return second >= 0 && own[first] - own[second] > clear_of_next ? std::optional(first) : std::nullopt;
}

}  // namespace

bool passes_elsewhere(const RingPicture& known, const RingPicture& seen, int shift) {
  const MatchRules rules;
  const int n = known.teeth();
  const auto features = features_of(known, seen, rules);
  const double here = cost_of(features, shift, rules.most_per_tooth);
  for (int aside = 1; aside <= std::min(furthest_slip, n / 2); ++aside)
    for (const int there : {(shift + aside) % n, (shift + n - aside) % n})
      if (here - cost_of(features, there, rules.most_per_tooth) > clear_lead) {
        // Hum that beats slowly with the teeth moves the pattern of the others, never the larger tooth.
        const auto now = clear_largest(seen), then = clear_largest(known);
        return !(now && then && (*now + shift) % n == *then);
      }
  return false;
}

RingMatch matched(const RingPicture& known, const RingPicture& seen, const MatchRules& rules) {
  const auto features = features_of(known, seen, rules);
  RingMatch match = best_of(features, rules.most_per_tooth);
  if (!rules.other_gap) return match;
  std::vector<Feature> self = features;
  for (Feature& one : self) one.seen = one.known;
  match.expected_lead = best_of(self, rules.most_per_tooth).lead;
  return match;
}

}  // namespace trimwright
