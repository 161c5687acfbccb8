#include "flank_finder.hpp"

#include <algorithm>

namespace trimwright {
namespace {

constexpr double part_of_height = 0.36;  ///< run-out of 60 % leaves 0.4 of the usual height
constexpr double patience_in_spacings = 4.0;
constexpr double much_higher = 4.0;        ///< than the level
constexpr double alike_heights = 2.0;      ///< ratio of heights
constexpr double near_in_patience = 0.75;  ///< of the patience, which is four pitches at the lowest speed
constexpr std::size_t look_every = 128;    ///< samples between two looks at the clock

}  // namespace

FlankFinder::FlankFinder(double first_level, double patience)
    : threshold_(part_of_height * first_level), patience_(patience) {}

void FlankFinder::scan(std::span<const float> samples, std::int64_t first_sample, std::vector<Flank>& found) {
  if (samples.empty()) return;
  if (top_ < 0) {
    top_ = first_sample;
    top_value_ = samples.front();
    last_found_ = first_sample;
  }
  while (!samples.empty()) {
    const std::size_t length = std::min(look_every, samples.size());
    lower_level_when_overdue(first_sample);
    scan_stretch(samples.first(length), first_sample, found);
    samples = samples.subspan(length);
    first_sample += static_cast<std::int64_t>(length);
  }
}

void FlankFinder::scan_stretch(std::span<const float> samples, std::int64_t first_sample,
                               std::vector<Flank>& found) {
  float threshold = static_cast<float>(threshold_);
  std::int64_t now = first_sample;
  for (const float x : samples) {
    if (falling_) {
      if (x < bottom_value_) {
        bottom_value_ = x;
        bottom_ = now;
      } else if (x - bottom_value_ > threshold) {
        accept({top_, bottom_, static_cast<double>(top_value_) - static_cast<double>(bottom_value_)}, found);
        threshold = static_cast<float>(threshold_);
        falling_ = false;
        top_value_ = x;
        top_ = now;
      }
    } else if (x > top_value_) {
      top_value_ = x;
      top_ = now;
    } else if (top_value_ - x > threshold) {
      falling_ = true;
      bottom_value_ = x;
      bottom_ = now;
    }
    ++now;
  }
}

void FlankFinder::accept(const Flank& flank, std::vector<Flank>& found) {
  found.push_back(flank);
  notice_return(flank);
  heights_.push(flank.height);
  threshold_ = part_of_height * heights_.median();
  if (last_middle_ >= 0.0) spacings_.push(flank.middle() - last_middle_);
  last_middle_ = flank.middle();
  last_found_ = flank.bottom;
}

void FlankFinder::notice_return(const Flank& flank) {
  if (heights_.empty() || flank.height < much_higher * heights_.median()) return;
  const bool near = high_.height > 0.0 && flank.middle() - high_.middle() < near_in_patience * patience_;
  if (near && flank.height < alike_heights * high_.height && flank.height > high_.height / alike_heights) {
    heights_.clear();
    spacings_.clear();
    last_middle_ = -1.0;
  }
  high_ = flank;
}

void FlankFinder::lower_level_when_overdue(std::int64_t now) {
  const double patience =
      spacings_.empty() ? patience_ : std::min(patience_, patience_in_spacings * spacings_.median());
  if (static_cast<double>(now - last_found_) <= patience) return;
  threshold_ *= 0.5;
  heights_.clear();
  spacings_.clear();
  last_found_ = now;
}

}  // namespace trimwright
