#pragma once

#include <Eigen/Core>
#include <span>

namespace trimwright {

/// How far each tooth stands from its nominal place, learned while the rotor turns.
///
/// Angles [rad] in the sense of `ToothTrack`: positive when the shaft has turned further than nominal as that
/// tooth passes. Zero at the reference tooth by definition. Once-per-revolution unevenness of the rotation
/// itself cannot be told from spacing errors and is learned as such.
class SpacingErrors {
 public:
  explicit SpacingErrors(int teeth);

  /// Learn from passage times of consecutive teeth (missing ones interpolated beforehand and marked), the
  /// first having place `first_place` counted from the reference tooth.
  void learn(std::span<const double> times_s, std::span<const char> present, int first_place);

  [[nodiscard]] double at(int place) const;  ///< [rad]
  [[nodiscard]] double scatter_rad() const;  ///< standard deviation of one passage about its average
  [[nodiscard]] double passages(int place) const { return weight_[place]; }
  [[nodiscard]] int teeth() const { return static_cast<int>(sum_.size()); }

 private:
  Eigen::ArrayXd sum_, weight_;
  double squares_ = 0.0, square_weight_ = 0.0;
};

/// Deviation of each passage from smooth motion, as shaft angle [rad].
///
/// From each time the mean over the one revolution centred on it is taken away, and once more from what is
/// left: a pattern that repeats every revolution keeps its shape, while motion that is a cubic in the count
/// (any speed, run-up and its change) vanishes. NaN in the first and last revolution and for absent teeth.
[[nodiscard]] Eigen::ArrayXd deviations_rad(std::span<const double> times_s, std::span<const char> present,
                                            int teeth);

}  // namespace trimwright
