#pragma once

#include <complex>
#include <cstdint>
#include <vector>

#include "response.hpp"
#include "trimwright/error.hpp"

namespace trimwright::virtual_rotor {

/// How a run differs from the truth. Each value is one standard deviation; per real component where complex.
struct RunScatter {
  double seating_moment = 0.0;   ///< [g mm] in every plane, common to the run: blades seat anew
  double gain_of_run = 0.0;      ///< relative, complex, one for all readings of the run: thermal state
  double gain_of_reading = 0.0;  ///< relative, complex, each reading its own
  double speed = 0.0;            ///< relative, of the speed held at each point
  bool repeatability = true;     ///< add each sensor's own `repeatability`
};

struct VirtualReading {
  double speed_rpm = 0.0;  ///< really held, and shown
  int point = 0;           ///< index into the speeds asked for
  int sensor = 0;          ///< index into VirtualRotor::sensors
  Phasor value;            ///< in the sensor's unit, peak, lead
};

/// One run without waveforms: a reading of every sensor at every speed, speed by speed, each taken `repeats`
/// times. The same seed gives the same run; runs of a job need seeds of their own.
///
/// Fails for an unbalance count other than the rotor's planes, a speed that is not positive, repeats < 1.
[[nodiscard]] Result<std::vector<VirtualReading>> virtual_run(
    const AssembledRotor& assembled, const std::vector<std::complex<double>>& unbalance,
    const std::vector<double>& speeds_rpm, const RunScatter& scatter, int repeats, std::uint64_t seed);

}  // namespace trimwright::virtual_rotor
