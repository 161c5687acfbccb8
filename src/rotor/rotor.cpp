#include "trimwright/rotor.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "base/name.hpp"
#include "base/significant.hpp"
#include "base/text.hpp"

namespace trimwright {
namespace {

template <class Named>
std::optional<std::size_t> index_named(const std::vector<Named>& all, const std::string& name) {
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const Named& one) { return alike(one.name, name); });
  if (found == all.end()) return std::nullopt;
  return static_cast<std::size_t>(found - all.begin());
}

}  // namespace

std::optional<std::size_t> Rotor::plane_named(const std::string& wanted) const {
  return index_named(planes, wanted);
}

std::optional<std::size_t> Rotor::sensor_named(const std::string& wanted) const {
  return index_named(sensors, wanted);
}

bool limits_open(const Rotor& rotor, const Sensor& sensor) {
  const auto of_another = [&](std::string_view whose) {
    const auto named = rotor.sensor_named(std::string(whose));
    return named && !alike(rotor.sensors[*named].name, sensor.name);
  };
  const bool listed =
      std::any_of(rotor.to_confirm.begin(), rotor.to_confirm.end(), [&](const std::string& one) {
        constexpr std::string_view all = "limits", of = "limits of ";
        const std::string words = lower_case(one);
        return words.starts_with(all) &&
               !(words.starts_with(of) && of_another(std::string_view(one).substr(of.size())));
      });
  return listed || (!sensor.bands.empty() && std::isinf(sensor.bands.back().limit));
}

bool same_speed(const Rotor& rotor, double one_rpm, double other_rpm) {
  // At the tolerance itself, whatever rounding made of the speeds.
  return std::abs(one_rpm - other_rpm) <= rotor.speed_tolerance_rpm * (1.0 + 1e-9);
}

std::string short_speed_words(const Rotor& rotor, double rpm) {
  if (!rotor.speed_100_rpm) return fmt::format("{:.0f}", rpm);
  return fmt::format("{:g} %", std::round(1000.0 * rpm / *rotor.speed_100_rpm) / 10.0);
}

std::string speed_words(const Rotor& rotor, double rpm) {
  const std::string words = fmt::format("{:.0f} rpm", rpm);
  return rotor.speed_100_rpm ? words + " (" + short_speed_words(rotor, rpm) + ")" : words;
}

std::string zero_words(const Rotor& rotor) {
  return rotor.reference.mark.empty() ? "reference tooth" : rotor.reference.mark;
}

std::string seen_words(ViewingEnd end) {
  return end == ViewingEnd::front ? "seen from the front (ahead of the engine, looking aft)"
                                  : "seen from aft (behind the engine, looking forward)";
}

ViewingEnd viewing_end(const Rotor& rotor, const Plane& plane) {
  return plane.slots ? plane.slots->numbered.seen_from : rotor.rotation.seen_from;
}

std::string moment_words(double g_mm) { return fmt::format("{:.9g} g mm", to_significant(g_mm, 4)); }

std::string moment_words(std::complex<double> moment, int angle_decimals) {
  return moment_words(std::abs(moment)) + " at " +
         angle_words(RotorAngle::of(moment).degrees(), angle_decimals);
}

std::string Position::text() const {
  std::string words = slot ? fmt::format("slot {}, ", *slot) : std::string{};
  words += angle_words(angle.degrees()) + " with rotation";
  return blade.empty() ? words : words + ", " + blade;
}

Position slot_position(const Rotor& rotor, const Plane& plane, int slot) {
  assert(plane.slots);
  auto position = angle_position(rotor, plane.slots->angle(slot));
  position.slot = slot;
  return position;
}

Position angle_position(const Rotor& rotor, RotorAngle angle) {
  return {std::nullopt, angle, rotor.blades ? rotor.blades->position(angle) : std::string{}};
}

double permissible_specific_unbalance(double grade, double rpm) {
  const double omega = 2.0 * std::numbers::pi * rpm / 60.0;
  return 1000.0 * grade / omega;  // mm/s over rad/s is mm; per kg of rotor that is 1000 g mm/kg
}

const std::vector<double>& balance_quality_grades() {
  static const std::vector<double> grades{4000, 1600, 630, 250, 100, 40, 16, 6.3, 2.5, 1, 0.4};
  return grades;
}

}  // namespace trimwright
