#include "tooth_count.hpp"

#include <algorithm>
#include <cmath>

namespace trimwright {
namespace {

constexpr double too_soon = 0.6;         ///< pitches
constexpr double most_pitches = 5.0;     ///< between two pulses, with the count carried on
constexpr int few_teeth = 5;             ///< below this the speed may change much from pulse to pulse
constexpr double largest_growth = 1.34;  ///< of the pitch from one tooth to the next, with few teeth

constexpr double single_step = 0.42;  ///< pitches off one pitch: a bent tooth is still the next
constexpr double other_size = 4.0;    ///< times the usual swing, or a fourth of it
constexpr int others_in_a_row = 2;
constexpr double odd_memory = 40.0;    ///< pulses
constexpr double too_many_odd = 0.35;  ///< of them

double misfit(double pitches) { return std::abs(pitches - std::max(1.0, std::round(pitches))); }

}  // namespace

ToothCount::ToothCount(int teeth) : teeth_(teeth) {}

void ToothCount::push(const ToothPulse& pulse, std::vector<CountedTooth>& counted) {
  if (last_) {
    consider(pulse, counted);
    return;
  }
  starting_.push_back(pulse);
  start_when_enough(counted);
}

void ToothCount::finish(std::vector<CountedTooth>& counted) {
  if (last_) counted.push_back(*last_);
  last_.reset();
  held_.reset();
  starting_.clear();
}

void ToothCount::start_when_enough(std::vector<CountedTooth>& counted) {
  const std::size_t enough = teeth_ < few_teeth ? 3 : 7;
  if (starting_.size() < enough) return;
  std::vector<ToothPulse> pulses;
  pulses.swap(starting_);
  spacings_.clear();
  std::vector<double> spacings;
  for (std::size_t i = 1; i < pulses.size(); ++i) spacings.push_back(pulses[i].time_s - pulses[i - 1].time_s);
  double first_pitch = spacings.front();  // with few teeth the next may differ by a third
  if (teeth_ >= few_teeth) {
    std::sort(spacings.begin(), spacings.end());
    first_pitch = spacings[(spacings.size() - 1) / 2];
  }
  spacings_.push(first_pitch);
  last_spacing_ = previous_spacing_ = first_pitch;
  const std::int64_t next_count = before_last_ ? before_last_->count + 1 : 0;
  last_ = CountedTooth{pulses.front(), next_count, 0, ever_started_};
  before_last_.reset();
  ever_started_ = true;
  swings_.clear();
  for (const ToothPulse& pulse : pulses) swings_.push(pulse.swing());
  of_other_size_ = 0;
  odd_part_ = 0.0;
  ++tally_.pulses;
  for (std::size_t i = 1; i < pulses.size(); ++i) push(pulses[i], counted);
}

double ToothCount::pitch() const {
  if (teeth_ >= few_teeth) return spacings_.median();
  const double growth = std::clamp(last_spacing_ / previous_spacing_, 1.0 / largest_growth, largest_growth);
  return last_spacing_ * growth;
}

double ToothCount::pitches_between(const ToothPulse& a, const ToothPulse& b) const {
  return (b.time_s - a.time_s) / pitch();
}

void ToothCount::consider(const ToothPulse& pulse, std::vector<CountedTooth>& counted) {
  if (held_) {
    settle_conflict(pulse, counted);
    return;
  }
  if (pitches_between(last_->pulse, pulse) < too_soon)
    held_ = pulse;
  else
    accept(pulse, counted);
}

void ToothCount::settle_conflict(const ToothPulse& next, std::vector<CountedTooth>& counted) {
  const ToothPulse held = *held_;
  held_.reset();
  ++tally_.extra;
  remember_odd(true);
  const double without_held = misfit(pitches_between(last_->pulse, next));
  if (before_last_ && !last_->count_lost_before) {
    const double to_held = pitches_between(before_last_->pulse, held);
    const double without_last = std::max(misfit(to_held), misfit(pitches_between(held, next)));
    if (without_last + 0.1 < without_held) {
      const int steps = static_cast<int>(std::max(1.0, std::round(to_held)));
      tally_.dropped += steps - 1 - last_->dropped_before;
      last_ = CountedTooth{held, before_last_->count + steps, steps - 1, false};
    }
  }
  consider(next, counted);
}

void ToothCount::accept(const ToothPulse& pulse, std::vector<CountedTooth>& counted) {
  const double pitches = pitches_between(last_->pulse, pulse);
  const double steps = std::max(1.0, std::round(pitches));
  const double tolerance = teeth_ == 1 ? 0.5 : teeth_ < few_teeth ? 0.4 : steps == 1.0 ? single_step : 0.3;
  if (steps > most_pitches || std::abs(pitches - steps) > tolerance || odd_part_ > too_many_odd ||
      another_signal(pulse)) {
    start_afresh(pulse, counted);
    return;
  }
  const int dropped = static_cast<int>(steps) - 1;
  remember_odd(dropped > 0);
  counted.push_back(*last_);
  before_last_ = last_;
  previous_spacing_ = last_spacing_;
  last_spacing_ = (pulse.time_s - last_->pulse.time_s) / steps;
  spacings_.push(last_spacing_);
  last_ = CountedTooth{pulse, before_last_->count + dropped + 1, dropped, false};
  ++tally_.pulses;
  tally_.dropped += dropped;
}

bool ToothCount::another_signal(const ToothPulse& pulse) {
  const double usual = swings_.median(), swing = pulse.swing();
  if (usual > 0.0 && (swing > other_size * usual || swing < usual / other_size))
    return ++of_other_size_ >= others_in_a_row;
  of_other_size_ = 0;
  swings_.push(swing);
  return false;
}

void ToothCount::remember_odd(bool odd) { odd_part_ += ((odd ? 1.0 : 0.0) - odd_part_) / odd_memory; }

void ToothCount::start_afresh(const ToothPulse& pulse, std::vector<CountedTooth>& counted) {
  ++tally_.lost;
  counted.push_back(*last_);
  before_last_ = last_;
  last_.reset();
  starting_.assign(1, pulse);
}

}  // namespace trimwright
