#pragma once

#include <optional>
#include <string>
#include <utility>
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
  /// A stack in one slot: ids of the weights it is made of, which share their stock with it; empty: one
  /// piece.
  std::vector<std::string> stack_of;
  std::optional<std::vector<int>> only_in;  ///< the slots it may be fitted in, sorted; empty: any usable one

  [[nodiscard]] int pieces() const { return stack_of.empty() ? 1 : static_cast<int>(stack_of.size()); }
  [[nodiscard]] bool may_be_in(int slot) const;
};

/// What the maker allows in the slots of a plane beside stock and usable slots. Limits on mass need the mass
/// of every catalogue weight and of the filler.
struct PlaneRules {
  using Pairs = std::vector<std::pair<int, int>>;  ///< of slots; an unusable one counts as holding no weight

  std::optional<int> max_pieces;               ///< in the usable slots; a stack counts each of its pieces
  std::optional<double> max_mass_g;            ///< of all its usable slots hold, fillers included
  std::optional<double> max_slot_mass_g;       ///< of what one slot holds
  std::optional<double> max_slot_moment_g_mm;  ///< of what one slot holds
  Pairs apart;                                 ///< not both hold weights
  Pairs together;                              ///< both hold weights, or neither
  Pairs alike;                                 ///< both hold the same
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
  double weight_tolerance = 0.0;                ///< largest error of a fitted moment, as a share of it
  double slot_tolerance_deg = 0.0;              ///< largest error of a slot's angle
  PlaneRules rules;

  /// A stack is called by its pieces in any order, as "w2+w1".
  [[nodiscard]] const Weight* find_weight(const std::string& id) const;
  /// How many pieces of the single weight `id` a weight of this catalogue is made of: itself, or in a stack.
  [[nodiscard]] static int count_of(const Weight& weight, const std::string& id);
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
