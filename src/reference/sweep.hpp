#pragma once

#include <map>
#include <tuple>
#include <vector>
#include "dwell.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

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
