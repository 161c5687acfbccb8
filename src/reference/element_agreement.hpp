#pragma once

#include <cstddef>
#include <deque>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "dwell.hpp"
#include "reference_health.hpp"
#include "revolution_block.hpp"

namespace trimwright {

/// What one sensing element of the pickup said lately: its last blocks of kept places, at most `most_kept`.
class ElementWatch {
 public:
  explicit ElementWatch(std::string name) : name_(std::move(name)) {}

  void see(const RevolutionBlock& block);
  /// At the end: where zero is in each picture of the ring, and whether it may be used.
  void settle(std::vector<PhaseTurn> turns, ReferenceBasis basis);

  static constexpr std::size_t most_kept = 64;
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::deque<RevolutionBlock>& kept() const { return kept_; }
  [[nodiscard]] int blocks() const { return blocks_; }
  [[nodiscard]] int trusted() const;  ///< blocks
  [[nodiscard]] ReferenceBasis basis() const { return basis_; }
  /// Shaft angle from the reference tooth [rad] at `time_s`; empty where none is trusted then.
  [[nodiscard]] std::optional<double> angle_at(double time_s) const;

 private:
  [[nodiscard]] const PhaseTurn* turn_of(const RevolutionBlock& block) const;

  std::string name_;
  std::deque<RevolutionBlock> kept_;
  std::vector<PhaseTurn> turns_;
  ReferenceBasis basis_ = ReferenceBasis::at_its_word;
  int blocks_ = 0;
  std::map<int, int> placed_;  ///< blocks by ring
};

/// How two sensing elements compare where both were trusted at the same time.
struct ElementComparison {
  std::size_t a = 0, b = 0;
  int moments = 0;           ///< compared
  double ahead_rad = 0.0;    ///< shaft angle by b minus that by a, circular mean, in (-pi, pi]
  double scatter_rad = 0.0;  ///< standard deviation
  double swing_ratio = 0.0;  ///< b over a
};

/// All pairs of elements.
[[nodiscard]] std::vector<ElementComparison> compared(std::span<const ElementWatch> elements);

/// Elements of one pickup face the same tooth: they disagree when their angles differ by more than a quarter
/// tooth pitch or scatter by more than a tenth, when one is trusted much less often than another, or when
/// one's pulses are less than half another's.
[[nodiscard]] std::vector<Finding> disagreements(std::span<const ElementWatch> elements, int teeth);

/// Which element the phase is taken from.
struct ElementChoice {
  std::size_t used = 0;
  bool phase = true;  ///< false: elements disagree on the angle and nothing decides
};

/// The first that is trusted as often as the best, of those that agree. Where trusted elements disagree, one
/// identified by a known ring decides, else more than half of them that agree.
[[nodiscard]] ElementChoice chosen_element(std::span<const ElementWatch> elements, int teeth);

}  // namespace trimwright
