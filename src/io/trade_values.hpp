#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "trimwright/rotor.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// "4800 rpm", above zero.
[[nodiscard]] Result<double> parse_rpm(std::string_view text);
/// "62 %" of the rotor's 100 % speed, or "3174 rpm"; above zero, in rpm.
[[nodiscard]] Result<double> parse_speed(std::string_view text, const Rotor& rotor);
/// "30 deg against rotation", "30 deg clockwise from front", or "0 deg", the one angle that needs no sense.
[[nodiscard]] Result<RotorAngle> parse_rotor_angle(std::string_view text, const SeenSense& rotation);
/// A peak amplitude in `unit.symbol`. Written with a unit and detector of the same quantity, or with the
/// sensor's own symbol alone, which then means its detector too.
[[nodiscard]] Result<double> parse_peak_amplitude(std::string_view text, const VibrationUnit& unit);
/// The same for a reading, which must state its detector.
[[nodiscard]] Result<double> parse_reading_amplitude(std::string_view text, const VibrationUnit& unit);

[[nodiscard]] double read_speed(const YamlValue& value, const Rotor& rotor);
[[nodiscard]] RotorAngle read_rotor_angle(const YamlValue& value, const SeenSense& rotation);
[[nodiscard]] double read_peak_amplitude(const YamlValue& value, const VibrationUnit& unit);

/// A cell or a part of a line as people write it: blanks around it mean nothing.
[[nodiscard]] std::string without_blanks_around(const std::string& text);

/// A mass at a radius, or the moment itself.
struct WrittenMoment {
  double moment_g_mm = 0.0;
  std::optional<double> mass_g;
  std::optional<double> radius_mm;
  std::string text;  ///< as it stands in the file: "4.2 g at 8.35 in" or "1.2 oz.in"
};

/// Keys `mass` and `radius`, or `moment`, of a map; none negative.
[[nodiscard]] WrittenMoment read_moment(YamlFields& fields);

}  // namespace trimwright
