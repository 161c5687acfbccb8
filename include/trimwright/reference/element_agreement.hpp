#pragma once

#include <cstddef>
#include <deque>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "trimwright/reference/reference_health.hpp"
#include "trimwright/reference/revolution_block.hpp"

namespace trimwright {

/// What one sensing element of the pickup said lately: its last trusted blocks, at most `most_kept`.
class ElementWatch {
 public:
  explicit ElementWatch(std::string name) : name_(std::move(name)) {}

  void see(const RevolutionBlock& block);

  static constexpr std::size_t most_kept = 64;
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::deque<RevolutionBlock>& kept() const { return kept_; }
  [[nodiscard]] int blocks() const { return blocks_; }
  [[nodiscard]] int trusted() const { return trusted_; }

 private:
  std::string name_;
  std::deque<RevolutionBlock> kept_;
  int blocks_ = 0, trusted_ = 0;
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

}  // namespace trimwright
