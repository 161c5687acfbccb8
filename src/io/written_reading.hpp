#pragma once

#include <optional>
#include <string>

#include "trimwright/error.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// One reading as a person wrote it, in a job or in a table.
struct WrittenReading {
  std::string speed;
  std::string sensor;
  std::string amplitude;
  std::string phase;      ///< empty: none was read
  std::string component;  ///< "once-per-rev" or "overall"; empty: once-per-rev where a phase is given
  std::string phase_of;   ///< empty: as the sensor says
  std::string sd;         ///< one standard deviation per real component; empty: the sensor's repeatability
  bool missing = false;   ///< the reading was not obtained; the rest must still make sense
  std::string note;
  Location where;
  std::string approach{};  ///< "up" or "down"; empty: nothing is said
  std::string state{};     ///< in the technician's words; empty: nothing is said
};

/// Whether an amplitude's words say that it was not obtained: nothing, or "missing".
[[nodiscard]] bool not_obtained(const std::string& amplitude);

/// Into the library's conventions, once and for all. `Reading::speed` is left for `settle_places`.
/// Throws InputError.
[[nodiscard]] Reading to_reading(const WrittenReading& written, const Rotor& rotor);

}  // namespace trimwright
