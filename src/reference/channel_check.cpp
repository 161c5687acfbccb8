#include "channel_check.hpp"

#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <limits>

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
  const auto bad = std::find_if(samples.begin(), samples.end(), [](float x) { return !std::isfinite(x); });
  if (bad != samples.end())
    return fail(fmt::format("channel '{}': the sample at {:.6g} s is not a finite number", name_,
                            static_cast<double>(samples_ + (bad - samples.begin())) / sample_rate_hz));
  if (samples_ == 0) {
    first_ = previous_ = high_.value = low_.value = samples.front();
    smallest_step_ = std::numeric_limits<float>::max();
  }
  for (auto rest = samples; !rest.empty(); rest = rest.subspan(std::min(stretch, rest.size())))
    look_at_stretch(rest.first(std::min(stretch, rest.size())));
  samples_ += static_cast<std::int64_t>(samples.size());
  return {};
}

void ChannelCheck::look_at_stretch(std::span<const float> samples) {
  const Eigen::Map<const Eigen::ArrayXf> x(samples.data(), static_cast<Eigen::Index>(samples.size()));
  const Eigen::ArrayXd from_first = x.cast<double>() - static_cast<double>(first_);
  sum_ += from_first.sum();
  squares_ += from_first.square().sum();
  const Eigen::Index last = x.size() - 1;
  const Eigen::ArrayXf steps = (x.tail(last) - x.head(last)).abs();
  const float first_step = std::abs(x[0] - previous_);
  if (first_step > 0.0F) smallest_step_ = std::min(smallest_step_, first_step);
  if (last > 0)
    smallest_step_ = std::min(smallest_step_, (steps > 0.0F).select(steps, smallest_step_).minCoeff());
  previous_ = x[last];
  float near_distance = near_part * (high_.value - low_.value);
  if (high_.run + low_.run == 0 && x.maxCoeff() < high_.value - near_distance &&
      x.minCoeff() > low_.value + near_distance)
    return;
  for (const float sample : samples) {
    high_.look_at(sample - high_.value, near_distance, sample);
    low_.look_at(low_.value - sample, near_distance, sample);
    near_distance = near_part * (high_.value - low_.value);
  }
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
  const bool fine_steps = range > coarsest_steps * static_cast<double>(smallest_step_);
  const auto rests = [](const Limit& limit) {
    return limit.flat_runs >= fewest_flat_runs && limit.flat > limit.near;
  };
  seen.clipped = !seen.silent && fine_steps && (rests(high_) || rests(low_));
  return seen;
}

}  // namespace trimwright
