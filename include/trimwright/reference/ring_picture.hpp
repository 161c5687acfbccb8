#pragma once

#include <Eigen/Core>

namespace trimwright {

/// What the teeth of a ring look like to its pickup: one entry per place, in order of passing.
///
/// Sizes and widths are natural logarithms relative to the mean of the ring around them, so that speed and
/// gap cancel. NaN where no pulse ever came. Which place is the reference tooth is not said here.
struct RingPicture {
  Eigen::ArrayXd size;     ///< of the flux swing
  Eigen::ArrayXd before;   ///< of the part of it before the tooth's centre
  Eigen::ArrayXd after;    ///< of the part behind
  Eigen::ArrayXd width;    ///< of the pulse: swing over height
  Eigen::ArrayXd spacing;  ///< [pitches] out of the even place; positive: the shaft has turned further
  Eigen::ArrayXd pulses;   ///< seen at that place
  Eigen::ArrayXd uneven;   ///< variance of the size from pulse to pulse, the largest and smallest left out
  double size_scatter = 0.0, width_scatter = 0.0, spacing_scatter = 0.0;  ///< sd of a single pulse
  double revolutions = 0.0;

  [[nodiscard]] int teeth() const { return static_cast<int>(size.size()); }
  /// The same ring with `place` called 0.
  [[nodiscard]] RingPicture turned(int place) const;
  /// No pulse comes there though many revolutions were seen.
  [[nodiscard]] bool broken_off(int place) const;
  /// Takes in `newer`, whose places are the same; what is older than about 2000 revolutions fades.
  void take_in(const RingPicture& newer);
};

/// `logs` less what varies smoothly around the ring (run-out: up to three waves per turn, fitted so that
/// single odd places weigh little; P. Bloomfield and W. L. Steiger, Least Absolute Deviations, 1983). NaN
/// stay.
[[nodiscard]] Eigen::ArrayXd without_run_out(const Eigen::ArrayXd& logs);

/// Which place of one picture is which of another.
struct RingMatch {
  int shift = 0;        ///< place i of the picture seen is place i + shift of the known one
  double lead = 0.0;    ///< by how much the next best shift fits worse, in chi-square
  double misfit = 0.0;  ///< of the best, chi-square per tooth; each tooth counts at most `most_per_tooth`
  double expected_lead = 0.0;  ///< lead if the two were the same ring: how well it can be told at all
};

struct MatchRules {
  double size_floor = 0.004, width_floor = 0.006, spacing_floor = 0.001;  ///< sd beside the scatter
  double most_per_tooth = 25.0;                                           ///< so that no single tooth decides
  bool other_gap = false;  ///< run-out may have another share: it is taken off first
};

[[nodiscard]] RingMatch matched(const RingPicture& known, const RingPicture& seen, const MatchRules& rules);

/// Whether the teeth of `seen` fit clearly better a few places beside `shift` (a pulse lost or doubled
/// unnoticed).
[[nodiscard]] bool passes_elsewhere(const RingPicture& known, const RingPicture& seen, int shift);

/// Of two recordings: another gap, pickup, temperature; two damaged teeth (four places) must not decide.
inline constexpr MatchRules across_recordings{0.012, 0.012, 0.0015, 9.0, true};
inline constexpr double clear_lead = 30.0;  ///< chi-square: more than five standard deviations

}  // namespace trimwright
