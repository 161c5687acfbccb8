#pragma once

#include <Eigen/Core>

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {

/// Slope of the pickup's signal as the centre of a tooth passes it.
///
/// An inductive pickup gives the rate of change of the flux through it. The flux is greatest with a tooth
/// centre under the pickup, so the signal crosses zero there; the sign of that crossing depends on winding
/// and wiring. The opposite slope belongs to the middle of the gap, half a tooth pitch away.
enum class CentreSlope { falling, rising };

/// Teeth of a ring at most. Whether a recording shows each of them its sample rate decides.
inline constexpr int most_teeth = 400;

/// The ring of teeth and its pickup, as declared for a rotor.
struct ToothRing {
  int teeth = 0;  ///< per revolution, 1 to `most_teeth`; with 1 every pulse is the reference
  CentreSlope polarity = CentreSlope::falling;
  double lowest_rpm = 0.0;   ///< slowest speed at which readings are wanted, > 0
  double highest_rpm = 0.0;  ///< fastest speed expected, > lowest_rpm
  double delay_s = 0.0;      ///< the tooth channel's own delay: pulses appear this much later than they are
  double at_rad = 0.0;       ///< where this element sits, with rotation from where phase is counted
};

/// A stretch of a recording [s].
struct TimeSpan {
  double begin_s = 0.0, end_s = 0.0;
};

/// What the teeth of a ring look like to its pickup: one entry per place, in order of passing.
///
/// Sizes and widths are natural logarithms relative to the mean of the ring around them, so that speed and
/// gap cancel. NaN where no pulse ever came. Which place is the reference tooth is not said here.
struct RingPicture {
  Eigen::ArrayXd size;     ///< of the flux swing
  Eigen::ArrayXd before;   ///< of the part of it before the tooth's centre
  Eigen::ArrayXd after;    ///< of the part behind
  Eigen::ArrayXd width;    ///< of the pulse: swing over height
  Eigen::ArrayXd spacing;  ///< [pitches] out of the even place; positive: the shaft has turned further
  Eigen::ArrayXd pulses;   ///< seen at that place
  Eigen::ArrayXd uneven;   ///< variance of the size from pulse to pulse, the largest and smallest left out
  double size_scatter = 0.0, width_scatter = 0.0, spacing_scatter = 0.0;  ///< sd of a single pulse
  double revolutions = 0.0;

  [[nodiscard]] int teeth() const { return static_cast<int>(size.size()); }
  /// The same ring with `place` called 0.
  [[nodiscard]] RingPicture turned(int place) const;
  /// No pulse comes there though many revolutions were seen.
  [[nodiscard]] bool broken_off(int place) const;
  /// Takes in `newer`, whose places are the same; what is older than about 2000 revolutions fades.
  void take_in(const RingPicture& newer);
};

/// Which place of one picture is which of another.
struct RingMatch {
  int shift = 0;               ///< place i of the picture seen is place i + shift of the known one
  double lead = 0.0;           ///< by how much the next best shift fits worse, in chi-square
  double misfit = 0.0;         ///< of the best, chi-square per tooth; no tooth counts more than 25
  double expected_lead = 0.0;  ///< lead if the two were the same ring: how well it can be told at all
};

/// What the count had to repair.
struct CountTally {
  std::int64_t pulses = 0;   ///< counted, extra ones left out
  std::int64_t dropped = 0;  ///< missing pulses bridged
  std::int64_t extra = 0;    ///< pulses that fit nowhere between their neighbours
  std::int64_t lost = 0;     ///< times the count could not be carried on
};

/// Whether the phase of a few revolutions, or of a recording, may be used, and if not, why.
enum class ReferenceVerdict {
  trusted,
  not_regular,         ///< pulses come too unevenly to be a ring of teeth on a shaft
  too_many_dropped,    ///< more than a tenth of the pulses missing, at no fixed place
  speed_out_of_range,  ///< outside the declared range
  no_larger_tooth,     ///< no place stands out
  larger_not_alone,    ///< a second place stands out too
  widest_not_largest,  ///< another tooth than the largest is the widest
  tooth_broken_off,    ///< one place gives no pulse in any revolution
  not_as_stated,       ///< the largest tooth has not the stated size or width
  perhaps_worn,        ///< it has, but another is odd too and may be the larger tooth, worn
  another_ring,        ///< the teeth are not those of the known ring
  place_disputed,      ///< the teeth do not pass in the order of the revolutions before
  polarity_reversed,   ///< the larger pulse lies across two crossings: the declared slope is the wrong one
  elements_disagree    ///< two sensing elements say different teeth and nothing decides
};

[[nodiscard]] std::string_view describe(ReferenceVerdict verdict);

/// What the choice of the reference tooth rests on.
enum class ReferenceBasis {
  at_its_word,  ///< the largest tooth, with nothing to compare it with (a ring of one tooth included)
  stated_size,  ///< its size agrees with what the rotor file or a known ring says
  stated_size_and_width,
  known_ring  ///< all teeth together, as spacing, size and width identify them
};

/// What is known of a ring before a recording is read.
struct RingKnowledge {
  std::optional<double> ratio;      ///< size of the larger tooth over that of the others
  std::optional<double> width;      ///< its pulse's width over that of the others
  std::optional<RingPicture> ring;  ///< from an earlier recording, place 0 the reference tooth
};

struct ReferenceJudgement {
  ReferenceVerdict verdict = ReferenceVerdict::no_larger_tooth;
  ReferenceBasis basis = ReferenceBasis::at_its_word;
  int place = 0;             ///< of the reference tooth
  double over_others = 1.0;  ///< size of that tooth over the others', run-out left out
  double over_next = 1.0;    ///< over the next largest
  double wider = 1.0;        ///< width over the others'
  std::optional<int> rival;  ///< the place that speaks against it, where one does
  std::optional<RingMatch> with_known;
};

struct BlockRules {
  int revolutions = 8;  ///< per block, at least 4
};

/// What one channel's samples look like, whatever they mean.
struct ChannelCondition {
  double lowest = 0.0, highest = 0.0;
  double mean = 0.0;
  double rms = 0.0;  ///< about the mean
  std::int64_t samples = 0;
  std::int64_t flat_at_limit = 0;  ///< samples in runs of three or more at the highest or lowest value
  bool silent = false;             ///< never changes
  bool clipped = false;  ///< samples rest at the highest or lowest value more than they come near it
};

struct DwellRules {
  double speed_tolerance = 0.005;  ///< of the mean speed, either way
  double shortest_s = 2.0;
  int fewest_blocks = 6;            ///< for a reading with phase, at least 6
  double unsteady_chance = 1e-3;    ///< a change this unlikely by chance is one
  double negligible_change = 0.02;  ///< of the amplitude: not worth a remark however certain
};

/// One channel at one dwell.
struct ChannelReading {
  Phasor value;            ///< mean of the blocks with trusted phase: peak, lead, unit of the recording
  double amplitude = 0.0;  ///< peak; mean of all blocks, whatever becomes of the phase
  double sd = 0.0;         ///< standard deviation of `value` per real component
  double block_sd = 0.0;   ///< of one block, per real component
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();  ///< of (real, imaginary) of `value`
  double repeat_correlation = 0.0;  ///< between neighbouring blocks; counted in `sd` when it is no chance
  std::optional<double>
      other_hz;  ///< a steady vibration beside the shaft's, from once per revolution; told apart
  double other_amplitude = 0.0;  ///< its amplitude in the blocks
  bool resonance = false;        ///< noise with memory (a narrow resonance near shaft speed); counted in `sd`
  double left_over = 0.0;        ///< rms of what the once-per-revolution and harmonic fit leaves
  Phasor change;                 ///< straight-line change of the phasor from beginning to end
  double change_chance = 1.0;    ///< probability of so large a change when there is none
  bool steady = true;
};

/// What a dwell at one speed says.
struct DwellReading {
  TimeSpan span;
  double speed_rpm = 0.0;
  double speed_sd_rpm = 0.0;     ///< block to block
  double speed_drift_rpm = 0.0;  ///< straight-line change from beginning to end
  int ring = 0;            ///< of `RevolutionBlocks::pictures`: phase is from its place 0 until `settle`
  int blocks = 0;          ///< with trusted phase
  int refused_blocks = 0;  ///< whose phase was not trusted
  ReferenceVerdict refusal = ReferenceVerdict::trusted;  ///< of the last of those
  bool phase_trusted = false;  ///< when false, `value` means nothing and only `amplitude` may be used
  bool steady = true;          ///< every channel
  std::vector<ChannelReading> channels;
};

/// What the end of a recording says of phases that were counted from place 0 of a ring's picture.
struct PhaseTurn {
  ReferenceVerdict verdict = ReferenceVerdict::trusted;
  double turn_rad = 0.0;  ///< shaft angle at which the reference tooth passes: phasors lead by that much more
};

enum class FindingKind {
  no_pulses,           ///< the tooth channel never showed a tooth
  stopped_in_between,  ///< no turning shaft for part of the recording
  signal_lost,         ///< none for a while, the speed being the same before and after
  pulses_irregular,
  speed_out_of_range,
  wrong_tooth_count,  ///< the larger tooth returns after another number of teeth than declared
  no_larger_tooth,
  larger_tooth_moved,  ///< found in another place within an unbroken count
  larger_tooth_weak,   ///< found, but little larger than the next
  larger_not_alone,    ///< a second tooth stands out too
  widest_not_largest,
  tooth_broken_off,   ///< one place never gives a pulse
  larger_tooth_worn,  ///< smaller than the known ring's
  not_as_stated,
  perhaps_worn,  ///< another tooth is odd and may be the larger one
  another_ring,
  taken_at_its_word,  ///< the larger tooth, for want of anything to compare it with
  polarity_reversed,
  dropped_pulses,
  extra_pulses,
  count_lost,
  tooth_out_of_place,        ///< one tooth's spacing error stands out
  tooth_of_odd_size,         ///< one tooth, not the reference, gives a smaller or larger pulse
  swing_changes_with_speed,  ///< flux swing, which speed does not change of itself
  swing_changes_with_time,
  elements_disagree,
  element_not_used,    ///< another element is read instead of the first
  channels_exchanged,  ///< another channel shows the teeth
  once_per_turn        ///< one pulse per revolution instead of a ring
};

enum class Gravity {
  note,     ///< worth knowing
  caution,  ///< look before relying on it
  refusal   ///< phase is withheld
};

/// One thing found out about the reference.
struct Finding {
  FindingKind kind = FindingKind::no_pulses;
  Gravity gravity = Gravity::note;
  double value = 0.0;        ///< see `what` for its meaning and unit
  std::optional<int> tooth;  ///< counted from the reference tooth (0) in order of passing
  std::string what;          ///< one sentence with the figure
  std::string likely_cause;
  std::string look_at;  ///< defers to the maker's manual
};

/// Everything one tooth channel said about itself.
struct ReferenceHealth {
  int blocks = 0;          ///< blocks of revolutions seen
  int trusted_blocks = 0;  ///< blocks whose phase may be used
  double trusted_part = 0.0;
  CountTally tally;
  ReferenceJudgement reference;
  RingPicture ring;                  ///< place 0 is the reference tooth (or the likeliest, when refused)
  std::vector<TimeSpan> without;     ///< no turning teeth; the first twelve of them
  double passage_scatter_rad = 0.0;  ///< standard deviation of one passage: noise and jitter
  double lowest_swing = 0.0, highest_swing = 0.0;  ///< of it between speeds
  double swing = 0.0;                              ///< mean flux swing per tooth [unit s]
  std::optional<int> count_shown;  ///< teeth between larger pulses, when searched for and found
  std::vector<Finding> findings;   ///< gravest first

  [[nodiscard]] bool has(FindingKind kind) const;
};

enum class SpeedTrend { run_up, run_down };

/// Amplitude and phase at one speed while the speed changes: one line of a Bode or polar table.
struct SweepPoint {
  SpeedTrend trend = SpeedTrend::run_up;
  double speed_rpm = 0.0;  ///< mean of the blocks
  int blocks = 0;
  std::vector<Phasor> channels;  ///< peak, lead; mean of the blocks
  std::vector<double> sd;        ///< per real component, from the fits alone
};

struct SweepRules {
  double step_rpm = 50.0;        ///< width of a line of the table
  double least_rpm_per_s = 5.0;  ///< slower change is no run-up or run-down
};

/// One vibration channel and what its chain does to a signal on the way to the recorder.
struct VibrationChannel {
  std::string name;
  double delay_s = 0.0;          ///< the chain is late by this
  double phase_shift_rad = 0.0;  ///< the chain adds this much phase lead, at any frequency
  bool turned_over = false;      ///< the sensor's positive direction is opposite to the declared one
};

struct ExtractionRules {
  BlockRules block;
  int harmonics = 3;  ///< fitted, the first included; 1 to 8
  DwellRules dwell;
  std::vector<TimeSpan> given_dwells;  ///< empty: found automatically
  SweepRules sweep;
  RingKnowledge known;  ///< of the ring, before this recording
};

/// The speed at one time, for a plot.
struct SpeedAt {
  double time_s = 0.0, rpm = 0.0;
};

struct RevolutionBlock;

/// Everything a recording said.
struct Extraction {
  double duration_s = 0.0;
  std::vector<DwellReading> dwells;
  std::vector<SweepPoint> sweep;
  std::vector<SpeedAt> speeds;  ///< at most about a thousand, however long the recording
  ReferenceHealth health;
  std::vector<PhaseTurn> turns;  ///< by `RevolutionBlock::ring`; `dwells` and `sweep` are turned already
  ChannelCondition tooth_channel;
  std::vector<ChannelCondition> channels;  ///< in the order of the vibration channels
};

/// What a recording that is still being made says just now.
struct ReadingNow {
  double time_s = 0.0;                                         ///< of signal received
  double speed_rpm = 0.0;                                      ///< of the last revolutions read
  double without_teeth_s = 0.0;                                ///< since the last revolutions read
  ReferenceVerdict reference = ReferenceVerdict::not_regular;  ///< judged on all so far
  DwellReading dwell;  ///< open, turned to the reference tooth; no channels: speed not steady

  /// No regular teeth for more than a second.
  [[nodiscard]] bool lost() const { return without_teeth_s > 1.0; }
};

/// From samples to readings: tooth pulses, their count, blocks of revolutions, a fit per block, dwells and
/// sweeps.
///
/// Memory is bounded by a few blocks of revolutions at the lowest speed, however long the recording.
class ReadingExtractor {
 public:
  /// Errors: a ring or sample rate that makes no sense, fewer than five samples a tooth, harmonics or block
  /// length out of range, too low a sample rate for the harmonics at the highest speed.
  [[nodiscard]] static Result<ReadingExtractor> create(const ToothRing& ring, double sample_rate_hz,
                                                       std::vector<VibrationChannel> channels,
                                                       const ExtractionRules& rules);

  /// The next samples of the tooth channel and of every vibration channel, all of one length. Errors: another
  /// number of channels, unequal lengths, samples that are not finite numbers.
  [[nodiscard]] Result<void> push(std::span<const float> tooth,
                                  std::span<const std::span<const float>> vibration);
  [[nodiscard]] ReadingNow now() const;
  /// Call once, after the last samples.
  [[nodiscard]] Extraction finish();

  /// The blocks completed by the last `push` or `finish`: for plots, or to compare sensing elements.
  [[nodiscard]] std::span<const RevolutionBlock> latest_blocks() const;

  ReadingExtractor(ReadingExtractor&&) noexcept;
  ReadingExtractor& operator=(ReadingExtractor&&) noexcept;
  ~ReadingExtractor();

 private:
  class Following;
  explicit ReadingExtractor(std::unique_ptr<Following> following);
  std::unique_ptr<Following> following_;
};

}  // namespace trimwright
