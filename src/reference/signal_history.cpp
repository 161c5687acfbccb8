#include "signal_history.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace trimwright {

SignalHistory::Window::Window(double half_width_samples)
    : half_width(half_width_samples),
      step(std::numbers::pi / half_width_samples),
      step_cosine(std::cos(step)),
      step_sine(std::sin(step)) {}

void SignalHistory::append(std::span<const float> samples, float sign) {
  samples_.reserve(samples_.size() + samples.size());
  sums_.reserve(sums_.size() + samples.size());
  for (const float sample : samples) {
    const float signed_sample = sign * sample;
    samples_.push_back(signed_sample);
    sums_.push_back(total_);
    total_ += static_cast<double>(signed_sample);
  }
}

void SignalHistory::discard_before(std::int64_t sample) {
  const std::int64_t surplus = std::min(sample, end()) - first_;
  if (surplus <= 0) return;
  samples_.erase(samples_.begin(), samples_.begin() + surplus);
  sums_.erase(sums_.begin(), sums_.begin() + surplus);
  first_ += surplus;
}

std::span<const float> SignalHistory::from(std::int64_t sample) const {
  assert(sample >= first_ && sample <= end());
  return std::span(samples_).subspan(static_cast<std::size_t>(sample - first_));
}

double SignalHistory::sum_to(double position) const {
  const double shifted = position + 0.5 - static_cast<double>(first_);
  const double whole = std::floor(shifted);
  const auto index = static_cast<std::size_t>(whole);
  if (index >= samples_.size()) return total_;
  const double part = shifted - whole;
  const double slope = 0.5 * (static_cast<double>(samples_[std::min(index + 1, samples_.size() - 1)]) -
                              static_cast<double>(samples_[index - std::min<std::size_t>(index, 1)]));
  return sums_[index] + part * (static_cast<double>(samples_[index]) + 0.5 * slope * (part - 1.0));
}

double SignalHistory::area(double begin, double end_position) const {
  if (samples_.empty()) return 0.0;
  const double lowest = static_cast<double>(first_) - 0.5;
  const double highest = static_cast<double>(end()) - 0.5;
  return sum_to(std::clamp(end_position, lowest, highest)) - sum_to(std::clamp(begin, lowest, highest));
}

double SignalHistory::mean(double centre, double half_width) const {
  const double room = std::min(centre - static_cast<double>(first_), static_cast<double>(end() - 1) - centre);
  const double half = std::min(half_width, room + 0.5);
  return half > 0.0 ? area(centre - half, centre + half) / (2.0 * half) : 0.0;
}

SignalHistory::Smoothed SignalHistory::smoothed(double centre, const Window& window) const {
  const auto begin = std::max(first_, static_cast<std::int64_t>(std::ceil(centre - window.half_width)));
  const auto last = std::min(end() - 1, static_cast<std::int64_t>(std::floor(centre + window.half_width)));
  if (last < begin) return {};
  const double first_angle = window.step * (static_cast<double>(begin) - centre);
  double cosine = std::cos(first_angle), sine = std::sin(first_angle);
  double weights = 0.0, sum = 0.0, slope_weights = 0.0, slope_sum = 0.0, aside = 0.0;
  double from_centre = static_cast<double>(begin) - centre;
  for (const float sample : from(begin).first(static_cast<std::size_t>(last - begin + 1))) {
    const double x = static_cast<double>(sample);
    const double weight = 1.0 + cosine;
    weights += weight;
    sum += weight * x;
    aside += weight * from_centre;
    from_centre += 1.0;
    slope_weights += sine;
    slope_sum += sine * x;
    const double next = cosine * window.step_cosine - sine * window.step_sine;
    sine = sine * window.step_cosine + cosine * window.step_sine;
    cosine = next;
  }
  const double value = sum / weights;
  const double slope = window.step * (slope_sum - value * slope_weights) / weights;
  return {value - slope * aside / weights, slope};
}

}  // namespace trimwright
