#include "trade_values.hpp"

#include <cmath>

#include "base/text.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

double not_negative(const YamlValue& value, double number) {
  if (number < 0.0) value.reject("\"" + value.text() + "\" is negative", "a value not below zero");
  return number;
}

std::string quoted(std::string_view text) { return "\"" + shortened(text) + "\""; }

/// The direction that "with rotation", "clockwise from front" ... name; empty when they name none.
std::optional<Direction> named_direction(std::string_view words, const SeenSense& rotation) {
  if (words == "with rotation") return Direction::with_rotation;
  if (words == "against rotation") return Direction::against_rotation;
  for (const auto sense : {Sense::clockwise, Sense::counterclockwise})
    for (const auto end : {ViewingEnd::front, ViewingEnd::aft})
      if (words == std::string(name(sense)) + " from " + std::string(name(end)))
        return SeenSense{sense, end}.relative_to(rotation);
  return std::nullopt;
}

}  // namespace

Result<double> parse_rpm(std::string_view text) {
  const auto quantity = parse_quantity(text);
  const std::string expected = "a speed above zero, such as \"4800 rpm\"";
  if (!quantity) return fail(quantity.error().what, expected);
  if (lower_case(quantity->unit) != "rpm" || !(quantity->value > 0.0))
    return fail(quoted(text) + " is no speed", expected);
  return quantity->value;
}

Result<double> parse_speed(std::string_view text, const Rotor& rotor) {
  const auto quantity = parse_quantity(text);
  const std::string expected = "a speed above zero in rpm or %, such as \"4800 rpm\" or \"62 %\"";
  if (!quantity) return fail(quantity.error().what, expected);
  if (!(quantity->value > 0.0)) return fail(quoted(text) + " is no speed", expected);
  if (lower_case(quantity->unit) == "rpm") return quantity->value;
  if (quantity->unit != "%") return fail(quoted(text) + " has no unit of speed", expected);
  if (!rotor.speed_100_rpm)
    return fail("a speed in % but the rotor has no speed_100", "rpm, or speed_100 in the rotor file");
  return quantity->value / 100.0 * *rotor.speed_100_rpm;
}

Result<RotorAngle> parse_rotor_angle(std::string_view text, const SeenSense& rotation) {
  const std::string expected =
      "an angle with its sense, such as \"30 deg with rotation\", \"30 deg against rotation\" or "
      "\"30 deg clockwise from front\"";
  const auto quantity = parse_quantity(text);
  if (!quantity) return fail(quantity.error().what, expected);
  std::string with_sign = quantity->unit;
  if (with_sign.starts_with("°")) with_sign.replace(0, std::string_view("°").size(), "deg");
  const std::string_view words = with_sign;
  if (std::abs(quantity->value) > 360.0) return fail(quoted(text) + " is more than one turn", expected);
  if (words != "deg" && !words.starts_with("deg ")) return fail(quoted(text) + " is not an angle", expected);
  if (words == "deg") {
    if (quantity->value == 0.0) return RotorAngle{};
    return fail(quoted(text) + " does not say its sense", expected);
  }
  const auto direction = named_direction(words.substr(4), rotation);
  if (!direction) return fail(quoted(text) + " does not say its sense", expected);
  return RotorAngle::from_degrees(quantity->value, *direction);
}

Result<double> parse_peak_amplitude(std::string_view text, const VibrationUnit& unit) {
  const auto quantity = parse_quantity(text);
  const std::string expected = "an amplitude not below zero, such as \"0.8 " + unit.text() + "\"";
  if (!quantity) return fail(quantity.error().what, expected);
  if (quantity->unit.empty()) return fail(quoted(text) + " has no unit", expected);
  if (quantity->value < 0.0) return fail(quoted(text) + " is negative", expected);
  if (quantity->value > 0.0 && quantity->value < 1e-9)
    return fail(quoted(text) + " is too small to mean anything", expected);
  if (quantity->unit == unit.symbol) return unit.peak_from_shown(quantity->value);
  if (unit.quantity == MotionQuantity::as_shown) return fail(quoted(text) + " is in another unit", expected);
  if (const auto bare = parse_vibration_unit(quantity->unit + " rms"); bare && bare->symbol == unit.symbol)
    return unit.peak_from_shown(quantity->value);  // "um" for "µm"
  const auto written = parse_vibration_unit(quantity->unit);
  if (!written) return fail(written.error().what, expected);
  if (written->quantity != unit.quantity)
    return fail(quoted(text) + " is a " + std::string(name(written->quantity)), expected);
  return written->peak_from_shown(quantity->value) * written->si_per_unit / unit.si_per_unit;
}

Result<double> parse_reading_amplitude(std::string_view text, const VibrationUnit& unit) {
  const auto quantity = parse_quantity(text);
  const bool bare = quantity && parse_vibration_unit(quantity->unit + " rms").has_value();
  if (bare && unit.quantity != MotionQuantity::as_shown)
    return fail(quoted(text) + " does not say peak, pp or rms",
                "an amplitude such as \"0.8 " + unit.text() + "\"");
  return parse_peak_amplitude(text, unit);
}

double read_speed(const YamlValue& value, const Rotor& rotor) {
  return value.parsed([&](std::string_view text) { return parse_speed(text, rotor); });
}

RotorAngle read_rotor_angle(const YamlValue& value, const SeenSense& rotation) {
  return value.parsed([&](std::string_view text) { return parse_rotor_angle(text, rotation); });
}

double read_peak_amplitude(const YamlValue& value, const VibrationUnit& unit) {
  return value.parsed([&](std::string_view text) { return parse_peak_amplitude(text, unit); });
}

WrittenMoment read_moment(YamlFields& fields) {
  const auto moment = fields.optional("moment");
  const auto mass = fields.optional("mass");
  const auto radius = fields.optional("radius");
  const std::string expected = "either moment, or mass and radius";
  if (moment && (mass || radius))
    fields.map().reject("both a moment and a mass or radius stand here", expected);
  WrittenMoment written;
  if (moment) {
    written.moment_g_mm = not_negative(*moment, moment->parsed(parse_moment_g_mm));
    written.text = moment->text();
    return written;
  }
  if (!mass || !radius) fields.map().reject("the moment cannot be told", expected);
  written.mass_g = not_negative(*mass, mass->parsed(parse_mass_g));
  written.radius_mm = not_negative(*radius, radius->parsed(parse_length_mm));
  written.moment_g_mm = *written.mass_g * *written.radius_mm;
  written.text = mass->text() + " at " + radius->text();
  if (written.moment_g_mm > 1e9)
    mass->reject("the moment is beyond all rotors", "a mass and radius that make at most 1e9 g.mm");
  return written;
}

std::string without_blanks_around(const std::string& text) {
  const auto first = text.find_first_not_of(' ');
  return first == text.npos ? std::string{} : text.substr(first, text.find_last_not_of(' ') - first + 1);
}

}  // namespace trimwright
