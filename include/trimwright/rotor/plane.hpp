#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/angle.hpp"
#include "trimwright/rotor/rotation.hpp"

namespace trimwright {

/// One catalogue weight of a plane, as it acts when fitted there.
struct Weight {
  std::string id;
  double moment_g_mm = 0.0;  ///< mass times radius, or as the maker states it
  std::optional<double> mass_g;
  std::optional<double> radius_mm;
  std::optional<int> stock;  ///< pieces at hand, those fitted included; empty: as many as wanted
  std::string part_number;
  std::string written{};  ///< mass and radius, or moment, in the units of the rotor file
};

/// What a slot holds when no weight is in it: a plug or cover that has mass. Zero moment: an open slot.
struct Filler {
  double moment_g_mm = 0.0;
  std::optional<double> mass_g;
};

/// Equally spaced numbered positions of a plane.
struct SlotRing {
  int count = 0;
  RotorAngle slot_1;
  SeenSense numbered;                                      ///< the way the numbers grow
  Direction numbered_relative = Direction::with_rotation;  ///< the same, against the rotor's rotation
  std::vector<int> unusable;  ///< sorted; they hold what they hold at all times, so X0 contains it

  [[nodiscard]] bool has(int slot) const { return slot >= 1 && slot <= count; }
  [[nodiscard]] bool usable(int slot) const;
  /// Angle of slot 1..count.
  [[nodiscard]] RotorAngle angle(int slot) const;
  [[nodiscard]] double pitch_deg() const { return 360.0 / count; }
};

/// How hard a plane is to reach; the planner prefers easy ones when told to.
enum class Access { easy, hard };

/// A balancing plane: slots with a catalogue, or only moments at angles when it has no slots.
struct Plane {
  std::string name;
  Access access = Access::easy;
  std::optional<SlotRing> slots;
  Filler filler;
  std::vector<Weight> weights;
  std::optional<double> max_total_moment_g_mm;  ///< limit on |U|, fillers included
  std::optional<double> max_added_moment_g_mm;  ///< limit on |change of U| of one trim

  [[nodiscard]] const Weight* find_weight(const std::string& id) const;
};

/// Blades as a person counts them on the rotor.
struct BladeRow {
  int count = 0;
  RotorAngle blade_1;
  SeenSense numbered;
  Direction numbered_relative = Direction::with_rotation;

  [[nodiscard]] RotorAngle angle(int blade) const;
  /// "at blade 7" (within a tenth of a degree) or "between blades 7 and 8".
  [[nodiscard]] std::string position(RotorAngle angle) const;
};

}  // namespace trimwright
