#pragma once

#include <limits>
#include <vector>

namespace trimwright {

/// One part of the scatter of readings: one standard deviation per real component.
struct NoisePart {
  enum class Source {
    stated,     ///< by the rotor file or the reading
    estimated,  ///< from repeats and redundant runs
    unknown     ///< neither; counts as zero
  };
  double sd = 0.0;  ///< peak, in the sensor's unit symbol
  Source source = Source::unknown;
};

/// How the readings of one sensor scatter. A reading of row i in run k is
///     x = X0_i + sum_p C_ip U_kp + r_k + e,
/// r_k common to all readings of this sensor in run k (thermal state, seating of blades, wind), e of its own,
/// with variance within^2 + (proportional |x|)^2 per real component.
struct SensorNoise {
  NoisePart within;
  NoisePart run_to_run;
  double proportional = 0.0;  ///< stated only: no repeats at hand tell it from the other two
};

/// The scatter of all sensors and how well it is known.
struct NoiseModel {
  std::vector<SensorNoise> sensors;  ///< one per sensor of the rotor
  bool known = true;  ///< false: nothing tells the repeatability of some sensor, so that no ± can be given
  /// Of the variance of one reading, where it is estimated or widened: intervals then use Student's t.
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  /// Factor on every standard deviation because the residuals reject what was stated (probability below 1 %).
  double widened = 1.0;
};

}  // namespace trimwright
