#include "known_ring.hpp"

#include <cmath>

#include "reference/ring_picture.hpp"

namespace trimwright {
namespace {

constexpr double changed_size = 0.05;     ///< log: more than another gap does to one tooth
constexpr double changed_spacing = 0.01;  ///< pitches
constexpr double beside_known = 1.1;      ///< of the swings known

}  // namespace

RingComparison compared_with(const KnownRing& known, const Extraction& now, bool falling) {
  const ReferenceHealth& health = now.health;
  RingComparison result;
  result.from = known.from;
  result.polarity_as_before = known.falling == falling;
  result.swing_ratio = known.swing > 0.0 ? health.swing / known.swing : 0.0;
  result.swing_as_before =
      health.swing * beside_known >= known.lowest_swing && health.swing <= beside_known * known.highest_swing;
  const Eigen::ArrayXd then = without_run_out(known.picture.size);
  result.ratio_then = std::exp(then[0]);
  result.ratio_now = health.reference.over_others;
  if (health.reference.verdict == ReferenceVerdict::another_ring) result.same = RingComparison::Same::no;
  if (health.reference.basis != ReferenceBasis::known_ring) return result;
  result.same = RingComparison::Same::yes;
  const Eigen::ArrayXd sizes = without_run_out(health.ring.size);
  for (Eigen::Index i = 0; i < sizes.size(); ++i) {
    const bool as_before = std::abs(sizes[i] - then[i]) < changed_size &&
                           std::abs(health.ring.spacing[i] - known.picture.spacing[i]) < changed_spacing;
    ++(as_before ? result.teeth_alike : result.teeth_changed);
  }
  return result;
}

}  // namespace trimwright
