#pragma once

#include "trimwright/reference.hpp"

namespace trimwright {

/// One tooth passing the pickup.
struct ToothPulse {
  double time_s = 0.0;        ///< the tooth's centre passes, corrected for the channel's delay
  double before = 0.0;        ///< area of the signal's half before the centre [unit s], positive
  double after = 0.0;         ///< area of the half after the centre [unit s], positive
  double peak_to_peak = 0.0;  ///< [unit of the channel]; grows with speed, unlike the areas
  double width_s = 0.0;       ///< from the signal's extreme before the centre to the one after

  /// Flux swing of the tooth [unit s]: the areas of both halves. Independent of speed, because the signal is
  /// the time derivative of the flux (Faraday); independent of any constant offset by construction.
  [[nodiscard]] double swing() const { return before + after; }
};

}  // namespace trimwright
