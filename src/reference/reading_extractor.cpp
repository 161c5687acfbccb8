#include "trimwright/reference.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "channel_check.hpp"
#include "dwell.hpp"
#include "kinematics.hpp"
#include "reference_health.hpp"
#include "revolution_block.hpp"
#include "sweep.hpp"
#include "synchronous_fit.hpp"
#include "tooth_tracker.hpp"

namespace trimwright {
namespace {

constexpr std::size_t most_speeds = 1000;  ///< kept for a plot
constexpr double pulses_under_way = 14.0;  ///< longest pitches between a sample and its tooth's being counted

Result<void> check(const ToothRing& ring, double sample_rate_hz, const ExtractionRules& rules) {
  if (rules.harmonics < 1 || rules.harmonics > most_harmonics)
    return fail(fmt::format("{} harmonics to be fitted", rules.harmonics), "1 to 8");
  if (rules.block.revolutions < 4 || rules.block.revolutions > 1000)
    return fail(fmt::format("{} revolutions per block", rules.block.revolutions), "4 to 1000");
  if (!(rules.sweep.step_rpm > 0.0)) return fail("speed step of the run-up table is not above zero");
  const double highest_hz = rules.harmonics * ring.highest_rpm / 60.0;
  if (sample_rate_hz < 2.5 * highest_hz)
    return fail(fmt::format("sample rate {:.6g} Hz is too low for harmonic {} at {:.6g} rpm", sample_rate_hz,
                            rules.harmonics, ring.highest_rpm),
                fmt::format("at least {:.6g} Hz", 2.5 * highest_hz));
  for (const TimeSpan& span : rules.given_dwells)
    if (!(span.end_s > span.begin_s))
      return fail(fmt::format("dwell from {} s to {} s", span.begin_s, span.end_s),
                  "an end after the beginning");
  return {};
}

bool countable(ReferenceVerdict verdict) {
  return verdict != ReferenceVerdict::not_regular && verdict != ReferenceVerdict::too_many_dropped &&
         verdict != ReferenceVerdict::speed_out_of_range;
}

/// Straight on, and angles counted from the same place.
bool goes_on(const BlockReading& before, const BlockReading& now) {
  const bool trusted = now.verdict == ReferenceVerdict::trusted;
  return std::abs(now.span.begin_s - before.span.end_s) < 1e-9 &&
         trusted == (before.verdict == ReferenceVerdict::trusted) && (!trusted || now.ring == before.ring);
}

/// The picture with the most revolutions behind it.
std::size_t main_picture(const std::vector<RingPicture>& pictures) {
  const auto longest = std::max_element(pictures.begin(), pictures.end(), [](const auto& a, const auto& b) {
    return a.revolutions < b.revolutions;
  });
  return static_cast<std::size_t>(longest - pictures.begin());
}

double passes_at_rad(const RingPicture& ring, int place) {
  const double spacing = ring.spacing[place];
  return 2.0 * std::numbers::pi / ring.teeth() * (place + (std::isfinite(spacing) ? spacing : 0.0));
}

/// How phases counted from place 0 of each picture become phases from the reference tooth: the main picture
/// was judged; the others are the same ring, whose places its teeth tell, or give no phase.
std::vector<PhaseTurn> phase_turns(const std::vector<RingPicture>& pictures, std::size_t main,
                                   const ReferenceJudgement& reference, double at_rad) {
  std::vector<PhaseTurn> turns(std::max<std::size_t>(1, pictures.size()), {reference.verdict, 0.0});
  if (reference.verdict != ReferenceVerdict::trusted || pictures.empty()) return turns;
  for (std::size_t i = 0; i < pictures.size(); ++i) {
    const int n = pictures[i].teeth();
    int place = reference.place;
    if (i != main && n > 1) {
      const RingMatch match = matched(pictures[main], pictures[i], {});
      if (match.lead < clear_lead) turns[i].verdict = ReferenceVerdict::place_disputed;
      place = (place - match.shift + n) % n;
    }
    turns[i].turn_rad = passes_at_rad(pictures[i], place) - at_rad;
  }
  return turns;
}

}  // namespace

class ReadingExtractor::Following {
 public:
  Following(ToothTracker tracker, const ToothRing& ring, double sample_rate_hz,
            std::vector<VibrationChannel> channels, const ExtractionRules& rules);

  [[nodiscard]] Result<void> push(std::span<const float> tooth,
                                  std::span<const std::span<const float>> vibration);
  [[nodiscard]] ReadingNow now() const;
  [[nodiscard]] Extraction finish();
  [[nodiscard]] std::span<const RevolutionBlock> latest_blocks() const { return latest_; }

 private:
  [[nodiscard]] Result<void> check_lengths(std::span<const float> tooth,
                                           std::span<const std::span<const float>> vibration) const;
  void follow(std::span<const ToothPulse> pulses, bool last);
  void read(const RevolutionBlock& block);
  void give_alone();
  void give(BlockReading reading, std::vector<FittedPhasor> fits);
  void note_speed(const RevolutionBlock& block);
  [[nodiscard]] Phasor corrected(const VibrationChannel& channel, Phasor measured, double speed_rpm) const;
  void forget_what_is_done();

  ToothRing ring_;
  double rate_hz_;
  std::vector<VibrationChannel> channels_;
  ExtractionRules rules_;
  ToothTracker tracker_;
  ToothCount count_;
  RevolutionBlocks blocks_;
  HealthWatch health_;
  DwellFinder dwells_;
  SweepTable sweep_;
  ChannelCheck tooth_check_;
  std::vector<ChannelCheck> checks_;
  std::vector<std::vector<float>> waiting_;  ///< vibration samples that a block may still need
  std::int64_t first_waiting_ = 0;           ///< sample number of the first of them
  std::int64_t received_ = 0;
  std::vector<CountedTooth> counted_;
  std::vector<RevolutionBlock> latest_;
  /// The last block: tapered together with the next one, or given alone where none follows straight on.
  struct Waiting {
    BlockReading alone;
    BlockSums sums;
    bool given = false;  ///< as part of a pair
  };
  std::optional<Waiting> before_;
  double read_to_s_ = 0.0, last_rpm_ = 0.0;
  std::vector<SpeedAt> speeds_;
  double next_speed_s_ = 0.0, speed_step_s_ = 0.1;
};

ReadingExtractor::Following::Following(ToothTracker tracker, const ToothRing& ring, double sample_rate_hz,
                                       std::vector<VibrationChannel> channels, const ExtractionRules& rules)
    : ring_(ring),
      rate_hz_(sample_rate_hz),
      channels_(std::move(channels)),
      rules_(rules),
      tracker_(std::move(tracker)),
      count_(ring.teeth),
      blocks_(ring, rules.block),
      health_(ring),
      dwells_(rules.dwell, rules.given_dwells),
      sweep_(rules.sweep),
      tooth_check_("tooth"),
      waiting_(channels_.size()) {
  for (const VibrationChannel& channel : channels_) checks_.emplace_back(channel.name);
}

Result<void> ReadingExtractor::Following::check_lengths(
    std::span<const float> tooth, std::span<const std::span<const float>> vibration) const {
  if (vibration.size() != channels_.size())
    return fail(fmt::format("{} vibration channels in a block", vibration.size()),
                fmt::format("{}", channels_.size()));
  for (const auto& samples : vibration)
    if (samples.size() != tooth.size()) return fail("channels of unequal length in a block");
  return {};
}

Result<void> ReadingExtractor::Following::push(std::span<const float> tooth,
                                               std::span<const std::span<const float>> vibration) {
  latest_.clear();
  if (auto ok = check_lengths(tooth, vibration); !ok) return ok;
  if (auto ok = tooth_check_.look_at(tooth, rate_hz_); !ok) return ok;
  for (std::size_t k = 0; k < vibration.size(); ++k) {
    if (auto ok = checks_[k].look_at(vibration[k], rate_hz_); !ok) return ok;
    waiting_[k].insert(waiting_[k].end(), vibration[k].begin(), vibration[k].end());
  }
  received_ += static_cast<std::int64_t>(tooth.size());
  follow(tracker_.push(tooth), false);
  forget_what_is_done();
  return {};
}

ReadingNow ReadingExtractor::Following::now() const {
  ReadingNow now;
  now.time_s = static_cast<double>(received_) / rate_hz_;
  now.speed_rpm = last_rpm_;
  now.without_teeth_s = now.time_s - read_to_s_;
  const auto& pictures = blocks_.pictures();
  if (pictures.empty()) return now;
  const std::size_t main = main_picture(pictures);
  const ReferenceJudgement reference = judged(pictures[main], rules_.known);
  now.reference = reference.verdict;
  now.dwell = dwells_.so_far();
  settle(now.dwell,
         phase_turns(pictures, main, reference, ring_.at_rad)[static_cast<std::size_t>(now.dwell.ring)]);
  return now;
}

Extraction ReadingExtractor::Following::finish() {
  latest_.clear();
  follow(tracker_.finish(), true);
  give_alone();
  Extraction extraction;
  extraction.duration_s = static_cast<double>(received_) / rate_hz_;
  const auto& pictures = blocks_.pictures();
  const std::size_t main = main_picture(pictures);
  const RingPicture ring = pictures.empty() ? RingPicture{} : pictures[main];
  const ReferenceJudgement reference = judged(ring, rules_.known);
  extraction.turns = phase_turns(pictures, main, reference, ring_.at_rad);
  extraction.dwells = dwells_.finish();
  for (DwellReading& dwell : extraction.dwells)
    settle(dwell, extraction.turns[static_cast<std::size_t>(dwell.ring)]);
  extraction.sweep = sweep_.points(extraction.turns);
  extraction.speeds = std::move(speeds_);
  extraction.health = health_.report(count_.tally(), reference, ring.turned(reference.place), rules_.known,
                                     extraction.duration_s);
  extraction.tooth_channel = tooth_check_.condition();
  for (const ChannelCheck& check : checks_) extraction.channels.push_back(check.condition());
  return extraction;
}

void ReadingExtractor::Following::follow(std::span<const ToothPulse> pulses, bool last) {
  counted_.clear();
  for (const ToothPulse& pulse : pulses) count_.push(pulse, counted_);
  if (last) count_.finish(counted_);
  for (const CountedTooth& tooth : counted_) {
    health_.see(tooth);
    const std::size_t before = latest_.size();
    blocks_.push(tooth, latest_);
    for (std::size_t i = before; i < latest_.size(); ++i) {
      health_.see(latest_[i]);
      read(latest_[i]);
    }
  }
}

void ReadingExtractor::Following::read(const RevolutionBlock& block) {
  if (!countable(block.verdict)) return;
  read_to_s_ = block.track.end_s();
  last_rpm_ = block.speed_rpm;
  note_speed(block);
  const double first_s = static_cast<double>(first_waiting_) / rate_hz_;
  if (block.track.begin_s() < first_s) return;  // its samples are gone: slower than the lowest declared speed
  std::vector<std::span<const float>> samples(waiting_.begin(), waiting_.end());
  auto sums = synchronous_sums(block.track, samples, first_s, rate_hz_, rules_.harmonics);
  if (!sums) return;
  BlockReading alone;
  alone.span = {block.track.begin_s(), block.track.end_s()};
  alone.speed_rpm = block.speed_rpm;
  alone.speed_change_rpm_per_s = block.speed_change_rpm_per_s;
  alone.verdict = block.verdict;
  alone.ring = block.ring;
  const bool pair = before_ && goes_on(before_->alone, alone);
  if (pair) {
    BlockReading both = alone;
    both.tapered = true;
    both.span.begin_s = before_->alone.span.begin_s;
    both.speed_rpm = 0.5 * (before_->alone.speed_rpm + alone.speed_rpm);
    both.speed_change_rpm_per_s =
        0.5 * (before_->alone.speed_change_rpm_per_s + alone.speed_change_rpm_per_s);
    give(std::move(both), fitted_pair(before_->sums, *sums));
  } else {
    give_alone();
  }
  before_ = Waiting{alone, *std::move(sums), pair};
}

void ReadingExtractor::Following::give_alone() {
  if (before_ && !before_->given) give(before_->alone, fitted(before_->sums.all));
  before_.reset();
}

void ReadingExtractor::Following::give(BlockReading reading, std::vector<FittedPhasor> fits) {
  reading.channels = std::move(fits);
  for (std::size_t k = 0; k < channels_.size(); ++k)
    for (Phasor* const x : {&reading.channels[k].value, &reading.channels[k].turning})
      *x = corrected(channels_[k], *x, reading.speed_rpm);
  dwells_.add(reading);
  sweep_.add(reading);
}

void ReadingExtractor::Following::note_speed(const RevolutionBlock& block) {
  if (block.track.begin_s() < next_speed_s_) return;
  speeds_.push_back({0.5 * (block.track.begin_s() + block.track.end_s()), block.speed_rpm});
  next_speed_s_ = block.track.begin_s() + speed_step_s_;
  if (speeds_.size() < most_speeds) return;
  for (std::size_t i = 0; 2 * i < speeds_.size(); ++i) speeds_[i] = speeds_[2 * i];
  speeds_.resize((speeds_.size() + 1) / 2);
  speed_step_s_ *= 2.0;
}

Phasor ReadingExtractor::Following::corrected(const VibrationChannel& channel, Phasor measured,
                                              double speed_rpm) const {
  const double omega = speed_rpm * std::numbers::pi / 30.0;
  const Phasor before = before_chain(measured, omega, channel.delay_s, channel.phase_shift_rad);
  return channel.turned_over ? -before : before;
}

void ReadingExtractor::Following::forget_what_is_done() {
  const double longest_pitch_s = 60.0 / (ring_.lowest_rpm * ring_.teeth);
  const double now_s = static_cast<double>(received_) / rate_hz_;
  const double longest_block_s = 1.1 * rules_.block.revolutions * 60.0 / ring_.lowest_rpm;
  const double under_way_s = now_s - pulses_under_way * longest_pitch_s + std::min(0.0, ring_.delay_s);
  const double needed_s = std::max(std::min(blocks_.open_since_s().value_or(under_way_s), under_way_s),
                                   under_way_s - longest_block_s) -
                          std::abs(ring_.delay_s);
  const auto needed = static_cast<std::int64_t>(std::floor(needed_s * rate_hz_));
  const std::int64_t done = needed - first_waiting_;
  if (done < static_cast<std::int64_t>(rate_hz_)) return;  // a second's worth at a time
  for (auto& samples : waiting_) samples.erase(samples.begin(), samples.begin() + done);
  first_waiting_ = needed;
}

Result<ReadingExtractor> ReadingExtractor::create(const ToothRing& ring, double sample_rate_hz,
                                                  std::vector<VibrationChannel> channels,
                                                  const ExtractionRules& rules) {
  auto tracker = ToothTracker::create(ring, sample_rate_hz);
  if (!tracker) return tl::unexpected(tracker.error());
  if (auto ok = check(ring, sample_rate_hz, rules); !ok) return tl::unexpected(ok.error());
  return ReadingExtractor(
      std::make_unique<Following>(*std::move(tracker), ring, sample_rate_hz, std::move(channels), rules));
}

ReadingExtractor::ReadingExtractor(std::unique_ptr<Following> following) : following_(std::move(following)) {}
ReadingExtractor::ReadingExtractor(ReadingExtractor&&) noexcept = default;
ReadingExtractor& ReadingExtractor::operator=(ReadingExtractor&&) noexcept = default;
ReadingExtractor::~ReadingExtractor() = default;

Result<void> ReadingExtractor::push(std::span<const float> tooth,
                                    std::span<const std::span<const float>> vibration) {
  return following_->push(tooth, vibration);
}
ReadingNow ReadingExtractor::now() const { return following_->now(); }
Extraction ReadingExtractor::finish() { return following_->finish(); }
std::span<const RevolutionBlock> ReadingExtractor::latest_blocks() const {
  return following_->latest_blocks();
}

}  // namespace trimwright
