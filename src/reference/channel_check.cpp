#include "channel_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

namespace trimwright {
namespace {

constexpr std::int64_t flat_run = 3;          ///< equal samples at the extreme that count as resting there
constexpr std::int64_t fewest_flat_runs = 5;  ///< a crest that happens to be flat is not clipping
constexpr float near_part = 0.01F;            ///< of the range: just short of the extreme
constexpr std::size_t stretch = 64;           ///< samples looked at together
constexpr double coarsest_steps = 1000.0;     ///< with fewer quantisation steps, crests are flat anyway

}  // namespace

void ChannelCheck::Limit::look_at(float from_limit, float near_distance, float sample) {
  if (from_limit > 0.0F) {  // beyond all before
    *this = Limit{};
    value = sample;
    run = 1;
  } else if (from_limit == 0.0F) {
    ++run;
    if (run == flat_run) ++flat_runs;
    flat += run == flat_run ? flat_run : run > flat_run ? 1 : 0;
  } else {
    run = 0;
    if (from_limit > -near_distance) ++near;
  }
}

Result<void> ChannelCheck::look_at(std::span<const float> samples, double sample_rate_hz) {
  if (samples.empty()) return {};
  if (samples_ == 0) {
    first_ = previous_ = high_.value = low_.value = samples.front();
    smallest_step_ = std::numeric_limits<float>::max();
  }
  for (auto rest = samples; !rest.empty(); rest = rest.subspan(std::min(stretch, rest.size())))
    look_at_stretch(rest.first(std::min(stretch, rest.size())));
  if (!std::isfinite(squares_)) {
    const auto bad = std::find_if(samples.begin(), samples.end(), [](float x) { return !std::isfinite(x); });
    return fail(fmt::format("channel '{}': the sample at {:.6g} s is not a finite number", name_,
                            static_cast<double>(samples_ + (bad - samples.begin())) / sample_rate_hz));
  }
  samples_ += static_cast<std::int64_t>(samples.size());
  return {};
}

void ChannelCheck::look_at_stretch(std::span<const float> samples) {
  std::array<double, 4> sum{}, squares{};  // side by side: four times as quick as one after the other
  std::array<float, 4> most, least;
  most.fill(samples.front());
  least.fill(samples.front());
  for (std::size_t i = 0; i < samples.size(); i += sum.size())
    for (std::size_t k = 0; k < std::min(sum.size(), samples.size() - i); ++k) {
      const float x = samples[i + k];
      const double from_first = static_cast<double>(x) - static_cast<double>(first_);
      sum[k] += from_first;
      squares[k] += from_first * from_first;
      most[k] = x > most[k] ? x : most[k];
      least[k] = x < least[k] ? x : least[k];
    }
  sum_ += sum[0] + sum[1] + sum[2] + sum[3];
  squares_ += squares[0] + squares[1] + squares[2] + squares[3];
  const float highest = *std::ranges::max_element(most), lowest = *std::ranges::min_element(least);
  float near_distance = near_part * (high_.value - low_.value);
  if (!fine_steps_) look_at_steps(samples, std::max(highest, high_.value) - std::min(lowest, low_.value));
  previous_ = samples.back();
  if (high_.run + low_.run == 0 && highest < high_.value - near_distance &&
      lowest > low_.value + near_distance)
    return;
  for (const float sample : samples) {
    high_.look_at(sample - high_.value, near_distance, sample);
    low_.look_at(low_.value - sample, near_distance, sample);
    near_distance = near_part * (high_.value - low_.value);
  }
}

/// Once fine they stay so: the range only grows.
void ChannelCheck::look_at_steps(std::span<const float> samples, float range) {
  for (const float sample : samples) {
    const float step = std::abs(sample - std::exchange(previous_, sample));
    if (step > 0.0F) smallest_step_ = std::min(smallest_step_, step);
  }
  fine_steps_ = static_cast<double>(range) > coarsest_steps * static_cast<double>(smallest_step_);
}

ChannelCondition ChannelCheck::condition() const {
  ChannelCondition seen;
  seen.samples = samples_;
  if (samples_ == 0) {
    seen.silent = true;
    return seen;
  }
  const double n = static_cast<double>(samples_);
  seen.highest = static_cast<double>(high_.value);
  seen.lowest = static_cast<double>(low_.value);
  seen.mean = static_cast<double>(first_) + sum_ / n;
  seen.rms = std::sqrt(std::max(0.0, squares_ / n - (sum_ / n) * (sum_ / n)));
  const double range = seen.highest - seen.lowest;
  seen.silent = range == 0.0;
  seen.flat_at_limit = high_.flat + low_.flat;
  const auto rests = [](const Limit& limit) {
    return limit.flat_runs >= fewest_flat_runs && limit.flat > limit.near;
  };
  seen.clipped = !seen.silent && fine_steps_ && (rests(high_) || rests(low_));
  return seen;
}

}  // namespace trimwright
