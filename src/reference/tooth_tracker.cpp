#include "tooth_tracker.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace trimwright {
namespace {

constexpr double smoothing_part_of_width = 0.4;    ///< half width of smoothing, of the top-to-bottom time
constexpr double narrowest_smoothing = 2.0;        ///< samples
constexpr double first_level_part_of_range = 0.7;  ///< the range may hold the larger tooth and noise
constexpr double last_step = 1e-3;  ///< samples; what Newton's method leaves is of the order of its square
constexpr int centre_steps = 30;
constexpr double at_rest = 0.1;  ///< of the flank's own slope and height
constexpr double half_in_widths =
    1.6;  ///< a half of the pulse, of the top-to-bottom time: a wider tooth's too
constexpr double widths_remembered = 400.0;  ///< pulses
constexpr double odd_width = 1.5;            ///< ratio to the average above which a pulse teaches no more
constexpr int baseline_pitches = 3;          ///< odd: the window then ends in the middle of gaps

Result<void> check(const ToothRing& ring, double sample_rate_hz) {
  if (ring.teeth < 1 || ring.teeth > most_teeth)
    return fail(fmt::format("{} teeth on the reference ring", ring.teeth),
                fmt::format("1 to {}", most_teeth));
  if (!(ring.lowest_rpm > 0.0) || !(ring.highest_rpm > ring.lowest_rpm) || !std::isfinite(ring.highest_rpm))
    return fail(fmt::format("speed range {} to {} rpm", ring.lowest_rpm, ring.highest_rpm),
                "a lowest speed above zero and a highest speed above it");
  if (!std::isfinite(ring.delay_s)) return fail("delay of the tooth channel is not a number");
  if (!(sample_rate_hz > 0.0) || !std::isfinite(sample_rate_hz))
    return fail(fmt::format("sample rate {} Hz", sample_rate_hz), "a rate above zero");
  const double teeth_per_s = ring.teeth * ring.highest_rpm / 60.0;
  if (sample_rate_hz < fewest_samples_per_tooth * teeth_per_s)
    return fail(
        fmt::format("sample rate {:.6g} Hz gives {:.2g} samples per tooth at {:.6g} rpm with {} teeth",
                    sample_rate_hz, sample_rate_hz / teeth_per_s, ring.highest_rpm, ring.teeth),
        fmt::format("at least {:.6g} Hz ({:g} samples per tooth), or a highest speed of at most {:.0f} rpm "
                    "(to, in the speeds of the job's recording)",
                    fewest_samples_per_tooth * teeth_per_s, fewest_samples_per_tooth,
                    std::floor(sample_rate_hz / fewest_samples_per_tooth * 60.0 / ring.teeth)));
  return {};
}

}  // namespace

Result<ToothTracker> ToothTracker::create(const ToothRing& ring, double sample_rate_hz) {
  if (auto ok = check(ring, sample_rate_hz); !ok) return tl::unexpected(ok.error());
  return ToothTracker(ring, sample_rate_hz);
}

ToothTracker::ToothTracker(const ToothRing& ring, double sample_rate_hz)
    : ring_(ring),
      sample_rate_hz_(sample_rate_hz),
      longest_pitch_(sample_rate_hz * 60.0 / (ring.lowest_rpm * ring.teeth)) {}

std::vector<ToothPulse> ToothTracker::push(std::span<const float> samples) {
  history_.append(samples, ring_.polarity == CentreSlope::falling ? 1.0F : -1.0F);
  if (!finder_ && static_cast<double>(history_.end()) >= 1.25 * longest_pitch_) start();
  std::vector<ToothPulse> pulses;
  if (!finder_) return pulses;
  scan_new();
  refine(false, pulses);
  const double kept = 3.0 * longest_pitch_;
  const double oldest_waiting =
      waiting_.empty() ? static_cast<double>(history_.end()) : static_cast<double>(waiting_.front().top);
  const double oldest_kept =
      std::max(oldest_waiting - longest_pitch_, static_cast<double>(history_.end()) - 2.0 * kept);
  if (oldest_kept - static_cast<double>(history_.first()) > kept)
    history_.discard_before(static_cast<std::int64_t>(oldest_kept));
  return pulses;
}

std::vector<ToothPulse> ToothTracker::finish() {
  std::vector<ToothPulse> pulses;
  if (!finder_) {
    if (history_.end() == 0) return pulses;
    start();
    scan_new();
  }
  refine(true, pulses);
  return pulses;
}

void ToothTracker::start() {
  const auto [lowest, highest] = std::ranges::minmax(history_.from(0));
  const double range = static_cast<double>(highest) - static_cast<double>(lowest);
  finder_.emplace(first_level_part_of_range * range, 4.0 * longest_pitch_);
}

void ToothTracker::scan_new() {
  found_.clear();
  finder_->scan(history_.from(scanned_), scanned_, found_);
  scanned_ = history_.end();
  waiting_.insert(waiting_.end(), found_.begin(), found_.end());
}

/// A flank is refined once the next is known, so that the first already has a spacing to go by, and once the
/// whole window of its baseline is there.
void ToothTracker::refine(bool all, std::vector<ToothPulse>& pulses) {
  while (waiting_.size() > (all ? 0U : 1U)) {
    const Flank flank = waiting_.front();
    const double ahead = static_cast<double>(history_.end() - flank.bottom);
    if (!all && ahead < 0.5 * (baseline_pitches + 1) * (waiting_[1].middle() - flank.middle()) &&
        ahead < baseline_pitches * longest_pitch_)
      return;
    waiting_.pop_front();
    if (!waiting_.empty()) spacings_.push(waiting_.front().middle() - flank.middle());
    if (spacings_.empty() || flank.top < history_.first()) continue;
    const double pitch = std::min(spacings_.median(), 2.0 * longest_pitch_);
    learn_width(width_of(flank) / pitch);
    if (const auto pulse = refined(flank, pitch)) pulses.push_back(*pulse);
  }
}

/// Half the width of the window that the baseline is the mean of: three pitches, or one where there is no
/// room or the ring has but one or two teeth.
double ToothTracker::baseline_half_width(double centre, double pitch) const {
  const double room = std::min(centre - static_cast<double>(history_.first()),
                               static_cast<double>(history_.end() - 1) - centre);
  const double wide = 0.5 * baseline_pitches * pitch;
  return ring_.teeth >= baseline_pitches && room >= wide ? wide : 0.5 * pitch;
}

/// The turning point of the signal around a sample, by the parabola through three of them: whole samples
/// would jump where a pulse is half a sample wider than one, and a peak between two samples would look lower.
/// Where a revolution takes a whole number of samples, each tooth would be off by the same amount every time.
ToothTracker::TurningPoint ToothTracker::turning_point(std::int64_t at) const {
  const auto place = static_cast<double>(at);
  if (at - 1 < history_.first() || at + 2 > history_.end())
    return {place, static_cast<double>(history_.from(at).front())};
  const auto three = history_.from(at - 1);
  const double before = static_cast<double>(three[0]), here = static_cast<double>(three[1]),
               after = static_cast<double>(three[2]);
  const double bend = before - 2.0 * here + after;
  const double aside = bend == 0.0 ? 0.0 : std::clamp(0.5 * (before - after) / bend, -0.5, 0.5);
  return {place + aside, here - 0.25 * (before - after) * aside};
}

/// From top to bottom [samples].
double ToothTracker::width_of(const Flank& flank) const {
  return turning_point(flank.bottom).place - turning_point(flank.top).place;
}

void ToothTracker::learn_width(double width_part) {
  const double part = widths_seen_ == 0.0
                          ? width_part
                          : std::clamp(width_part, width_part_ / odd_width, width_part_ * odd_width);
  widths_seen_ = std::min(widths_seen_ + 1.0, widths_remembered);
  width_part_ += (part - width_part_) / widths_seen_;
}

std::optional<ToothPulse> ToothTracker::refined(const Flank& flank, double pitch) const {
  const double width = std::min(width_part_, 0.5) * pitch;
  const double half_width = std::max(narrowest_smoothing, smoothing_part_of_width * width);
  const double centre = centre_between(flank, half_width, baseline_half_width(flank.middle(), pitch));
  const double room = std::min(centre - static_cast<double>(history_.first()),
                               static_cast<double>(history_.end() - 1) - centre);
  if (room < half_width) return std::nullopt;
  const double half =
      std::min({0.5 * pitch, std::max(half_in_widths * width_part_ * pitch, 2.0), room + 0.5});
  const double offset = half * history_.mean(centre, baseline_half_width(centre, pitch));
  ToothPulse pulse;
  pulse.time_s = centre / sample_rate_hz_ - ring_.delay_s;
  pulse.before = (history_.area(centre - half, centre) - offset) / sample_rate_hz_;
  pulse.after = (offset - history_.area(centre, centre + half)) / sample_rate_hz_;
  pulse.peak_to_peak = turning_point(flank.top).value - turning_point(flank.bottom).value;
  pulse.width_s = width_of(flank) / sample_rate_hz_;
  return pulse;
}

/// Newton's method kept inside the shrinking bracket between top and bottom. Where the signal rests between
/// them, as between narrow pulses of the other polarity, the middle stands for the crossing.
double ToothTracker::centre_between(const Flank& flank, double half_width, double baseline_half) const {
  double above = static_cast<double>(flank.top), below = static_cast<double>(flank.bottom);
  double centre = flank.middle();
  const SignalHistory::Window window(half_width);
  for (int step = 0; step < centre_steps; ++step) {
    const auto [value, slope] = history_.smoothed(centre, window);
    const double excess = value - history_.mean(centre, baseline_half);
    const double length = static_cast<double>(flank.bottom - flank.top);
    if (step == 0 && std::max(std::abs(excess), std::abs(slope) * length) < at_rest * flank.height) break;
    (excess > 0.0 ? above : below) = centre;
    const double newton = slope < 0.0 ? centre - excess / slope : above;
    const double next = newton > above && newton < below ? newton : 0.5 * (above + below);
    const double moved = std::abs(next - centre);
    centre = next;
    if (moved < last_step) break;
  }
  return centre;
}

}  // namespace trimwright
