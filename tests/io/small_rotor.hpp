#pragma once

namespace trimwright::testing {

/// A rotor file: one plane without slots, a velocity sensor and one in a unit that is only shown.
inline constexpr const char* small_rotor = R"(trimwright: rotor 1
name: small
rotation: {sense: clockwise, seen_from: aft}
phase: lag
speed_100: 5000 rpm
speed_tolerance: 1 %
reference: {teeth: 34, larger_tooth: 1, polarity: falling}
planes:
  - name: fan
sensors:
  - {name: v, measures: velocity, unit: mm/s peak, phase_of: velocity, limits: [{up_to: 6000 rpm, limit: 10 mm/s}]}
  - {name: shown, measures: as shown, unit: units, limits: [{up_to: 110 %, limit: 5 units}]}
)";

}  // namespace trimwright::testing
