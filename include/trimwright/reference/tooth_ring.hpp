#pragma once

namespace trimwright {

/// Slope of the pickup's signal as the centre of a tooth passes it.
///
/// An inductive pickup gives the rate of change of the flux through it. The flux is greatest with a tooth
/// centre under the pickup, so the signal crosses zero there; the sign of that crossing depends on winding
/// and wiring. The opposite slope belongs to the middle of the gap, half a tooth pitch away.
enum class CentreSlope { falling, rising };

/// The ring of teeth and its pickup, as declared for a rotor.
struct ToothRing {
  int teeth = 0;  ///< per revolution, 1 to 200; with 1 every pulse is the reference
  CentreSlope polarity = CentreSlope::falling;
  double lowest_rpm = 0.0;   ///< slowest speed at which readings are wanted, > 0
  double highest_rpm = 0.0;  ///< fastest speed expected, > lowest_rpm
  double delay_s = 0.0;      ///< the tooth channel's own delay: pulses appear this much later than they are
  double at_rad = 0.0;       ///< where this element sits, with rotation from where phase is counted
};

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
