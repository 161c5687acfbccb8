#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "running_median.hpp"

namespace trimwright {

/// The signal's fall from a top to the following bottom.
struct Flank {
  std::int64_t top = 0;     ///< sample number
  std::int64_t bottom = 0;  ///< sample number
  double height = 0.0;      ///< top value minus bottom value

  [[nodiscard]] double middle() const { return 0.5 * static_cast<double>(top + bottom); }
};

/// Finds the falls that are large compared with the running level.
///
/// A turning point counts once the signal has moved away from it by 0.36 of the median of the last nine
/// heights: no absolute threshold, so neither an offset, nor slow wander, nor the growth of an inductive
/// pickup's output with speed matters. When nothing is found for `patience` samples (or four spacings, once
/// they are known) the level is halved, again and again, until something is. Two falls near to each other and
/// several times as high as the level are the signal coming back, not the noise that was followed meanwhile:
/// the level is theirs at once.
class FlankFinder {
 public:
  FlankFinder(double first_level, double patience);

  void scan(std::span<const float> samples, std::int64_t first_sample, std::vector<Flank>& found);

 private:
  void scan_stretch(std::span<const float> samples, std::int64_t first_sample, std::vector<Flank>& found);
  void accept(const Flank& flank, std::vector<Flank>& found);
  void notice_return(const Flank& flank);
  void lower_level_when_overdue(std::int64_t now);

  RunningMedian<9> heights_;
  RunningMedian<9> spacings_;
  double threshold_;
  double patience_;
  bool falling_ = false;  ///< a top is settled, the bottom is awaited
  float top_value_ = 0.0F, bottom_value_ = 0.0F;
  std::int64_t top_ = -1, bottom_ = -1;
  std::int64_t last_found_ = 0;
  double last_middle_ = -1.0;
  Flank high_;  ///< the last that was several times as high as the level
};

}  // namespace trimwright
