#pragma once

#include <map>
#include <tuple>
#include <vector>

#include "trimwright/reference/dwell.hpp"

namespace trimwright {

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

/// Gathers blocks with trusted phase by speed and trend; memory is bounded by the number of speed steps.
class SweepTable {
 public:
  explicit SweepTable(const SweepRules& rules) : rules_(rules) {}

  void add(const BlockReading& block);
  /// Run-ups in order of speed, then run-downs.
  /// `turns`: by ring, as for dwells.
  [[nodiscard]] std::vector<SweepPoint> points(const std::vector<PhaseTurn>& turns) const;

 private:
  SweepRules rules_;
  std::map<std::tuple<SpeedTrend, long, int>, SweepPoint> sums_;  ///< by trend, speed step and ring
};

}  // namespace trimwright
