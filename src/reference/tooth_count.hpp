#pragma once

#include <cstdint>
#include <optional>
#include <vector>
#include "running_median.hpp"
#include "tooth_ring.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

/// A pulse with its place in the count of teeth since the beginning.
struct CountedTooth {
  ToothPulse pulse;
  std::int64_t count = 0;          ///< rises by one per tooth pitch, dropped pulses included
  int dropped_before = 0;          ///< pulses missing just before this one
  bool count_lost_before = false;  ///< the count before this pulse says nothing about the count after it
};

/// Counts teeth through dropped and extra pulses, by their spacing.
///
/// A spacing near 2, 3, 4 or 5 pitches is that many teeth with pulses missing between. A pulse much too soon
/// is extra: of it and the one before, the one is left out that fits worse between its neighbours. A spacing
/// that is nothing of the kind loses the count rather than guess it; counting then starts afresh. So it does
/// when pulses go on missing or being extra, or several times larger than before: the pitch was then learned
/// from something else, such as the noise while the signal was lost.
class ToothCount {
 public:
  explicit ToothCount(int teeth);

  void push(const ToothPulse& pulse, std::vector<CountedTooth>& counted);
  void finish(std::vector<CountedTooth>& counted);
  [[nodiscard]] const CountTally& tally() const { return tally_; }

 private:
  void start_when_enough(std::vector<CountedTooth>& counted);
  void consider(const ToothPulse& pulse, std::vector<CountedTooth>& counted);
  void settle_conflict(const ToothPulse& next, std::vector<CountedTooth>& counted);
  void accept(const ToothPulse& pulse, std::vector<CountedTooth>& counted);
  void start_afresh(const ToothPulse& pulse, std::vector<CountedTooth>& counted);
  [[nodiscard]] bool another_signal(const ToothPulse& pulse);
  void remember_odd(bool odd);
  [[nodiscard]] double pitch() const;
  [[nodiscard]] double pitches_between(const ToothPulse& a, const ToothPulse& b) const;

  int teeth_;
  CountTally tally_;
  std::vector<ToothPulse> starting_;  ///< pulses from which the first pitch is taken
  std::optional<CountedTooth> last_;  ///< accepted, not yet handed out: the next pulse may prove it extra
  std::optional<CountedTooth> before_last_;
  std::optional<ToothPulse> held_;  ///< too soon after last_: one of the two is extra
  RunningMedian<5> spacings_;
  double last_spacing_ = 0.0, previous_spacing_ = 0.0;
  RunningMedian<9> swings_;
  int of_other_size_ = 0;  ///< pulses in a row
  double odd_part_ = 0.0;  ///< running part of pulses before which some were missing, or that were extra
  bool ever_started_ = false;
};

}  // namespace trimwright
