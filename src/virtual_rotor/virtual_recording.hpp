#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstdint>
#include <string>
#include <vector>

#include "response.hpp"
#include "tooth_ring.hpp"

namespace trimwright::virtual_rotor {

/// A vibration bound to the shaft's angle: amplitude cos(order angle + lead), growing as (speed / full
/// speed)^power.
///
/// Order 2 or 3: a harmonic; the blade count: blade passing; 2.37: the other shaft at that speed ratio.
struct OrderTone {
  double order = 1.0;
  double amplitude = 0.0;  ///< peak, in the sensor's unit, at full speed
  double lead_deg = 0.0;
  double power = 0.0;
};

/// A vibration or disturbance of fixed frequency, such as mains hum.
struct FixedTone {
  double hz = 50.0;
  double amplitude = 0.0;  ///< peak, in the sensor's unit
  double lead_deg = 0.0;   ///< at the first sample
};

/// What is recorded of one sensor beside the once-per-revolution vibration.
struct VibrationChannel {
  int sensor = 0;  ///< index into VirtualRotor::sensors
  double noise_rms = 0.0;
  double offset = 0.0;
  double delay_s = 0.0;  ///< of sensor and filter: the channel shows what was there this long ago
  std::vector<OrderTone> orders;
  std::vector<FixedTone> fixed;
};

/// Everything that decides a recording.
struct RecordingSetup {
  std::vector<std::complex<double>> unbalance;  ///< total moment per plane [g mm]
  SpeedProfile speed;
  double sample_rate = 25600.0;  ///< [Hz]
  ToothRing ring;
  std::vector<SensingElement> elements;
  std::vector<VibrationChannel> vibration;
  std::uint64_t seed = 0;
};

/// A recording that is worked out where it is asked for: any block, in any order, in memory of that block's
/// size.
///
/// Channels: the sensing elements [V], then the vibration channels. Sample i is taken at i / sample_rate. The
/// once-per-revolution vibration is quasi-steady, Re(X(speed) e^{j angle}): the answer of a dwell long enough
/// for transients to die out. In a ramp a real rotor lags behind that: for the demonstration rotor run
/// through its critical speed by 0.7 % of the largest vibration for each percent of full speed a second
/// (integrated in tests/oracle). X between speeds is interpolated, cubic Hermite with exact slopes every 0.1
/// % of full speed, to a millionth.
class VirtualRecording {
 public:
  /// Fails for a bad profile, ring or element, a sensor or plane count that does not match the rotor, or a
  /// tone that would pass half the sample rate (a recorder's filter would have removed it).
  [[nodiscard]] static Result<VirtualRecording> of(const AssembledRotor& assembled,
                                                   const RecordingSetup& setup);

  [[nodiscard]] std::int64_t samples() const { return samples_; }
  [[nodiscard]] const std::vector<std::string>& channels() const { return names_; }
  [[nodiscard]] const ShaftMotion& motion() const { return motion_; }
  [[nodiscard]] const ToothSignal& element(std::size_t i) const { return teeth_[i]; }

  /// Samples first .. first + count - 1, one row each, one column per channel.
  [[nodiscard]] Eigen::MatrixXd block(std::int64_t first, std::int64_t count) const;

  /// The true X of vibration channel `channel` at a speed the profile covers (before `delay_s`).
  [[nodiscard]] Phasor truth(std::size_t channel, double speed_rpm) const;

 private:
  /// X of all channels against speed.
  struct SpeedTable {
    double first = 0.0, step = 1.0;  ///< [rad/s]
    Eigen::MatrixXcd value, slope;   ///< speeds x channels
    [[nodiscard]] Phasor at(double speed, Eigen::Index channel) const;
  };

  VirtualRecording(RecordingSetup setup, ShaftMotion motion, std::vector<ToothSignal> teeth,
                   double full_speed);

  [[nodiscard]] static SpeedTable table(const AssembledRotor& assembled, const RecordingSetup& setup,
                                        const ShaftMotion& motion);
  [[nodiscard]] double pickup_sample(std::size_t element, double time) const;
  [[nodiscard]] double vibration_sample(std::size_t channel, double time) const;

  RecordingSetup setup_;
  ShaftMotion motion_;
  std::vector<ToothSignal> teeth_;
  std::vector<std::string> names_;
  SpeedTable table_;
  double full_speed_;
  std::int64_t samples_;
};

}  // namespace trimwright::virtual_rotor
