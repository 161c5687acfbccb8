#pragma once

#include <complex>
#include <limits>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {

/// Clockwise or counterclockwise; means nothing without the end it is seen from.
enum class Sense { clockwise, counterclockwise };

/// Where a person stands: `front`, ahead of the fan looking aft; `aft`, behind it looking forward.
enum class ViewingEnd { front, aft };

[[nodiscard]] constexpr Sense opposite(Sense s) {
  return s == Sense::clockwise ? Sense::counterclockwise : Sense::clockwise;
}

/// A turning or numbering sense together with the end it is seen from.
struct SeenSense {
  Sense sense = Sense::clockwise;
  ViewingEnd seen_from = ViewingEnd::front;

  /// The same turning seen from `end`: clockwise from one end is counterclockwise from the other.
  [[nodiscard]] Sense seen(ViewingEnd end) const { return end == seen_from ? sense : opposite(sense); }
  /// Whether this sense goes with or against `rotation`, whatever ends the two were seen from.
  [[nodiscard]] Direction relative_to(const SeenSense& rotation) const {
    return sense == rotation.seen(seen_from) ? Direction::with_rotation : Direction::against_rotation;
  }
  /// "clockwise seen from front".
  [[nodiscard]] std::string text() const;
};

[[nodiscard]] std::string_view name(Sense sense);
[[nodiscard]] std::string_view name(ViewingEnd end);
/// "with rotation" or "against rotation".
[[nodiscard]] std::string_view name(Direction direction);

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
  /// "4.2 g at 197.5 mm" as written; else its moment, "830 g mm".
  [[nodiscard]] std::string size_words() const;
  [[nodiscard]] bool may_be_in(int slot) const;
};

/// The stack that `stack`, one weight or several, is with one more `piece` on it.
[[nodiscard]] Weight stacked(const Weight& stack, const Weight& piece);

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

  [[nodiscard]] bool none() const { return moment_g_mm == 0.0; }
};

/// Equally spaced numbered positions of a plane.
struct SlotRing {
  int count = 0;
  RotorAngle slot_1;
  SeenSense numbered;                                      ///< the way the numbers grow
  Direction numbered_relative = Direction::with_rotation;  ///< the same, against the rotor's rotation
  std::vector<int> unusable;     ///< sorted; they hold what they hold at all times, so X0 contains it
  std::string slot_1_written{};  ///< its angle as a person wrote it; may be empty

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

  /// The largest moment of a weight of the catalogue; 0 without any.
  [[nodiscard]] double heaviest_g_mm() const;
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
  std::string blade_1_written{};  ///< its angle as a person wrote it; may be empty

  [[nodiscard]] RotorAngle angle(int blade) const;
  /// "at blade 7" (within a tenth of a degree) or "between blades 7 and 8".
  [[nodiscard]] std::string position(RotorAngle angle) const;
};

/// Limit and target up to a speed. Both are peak amplitudes in the sensor's unit symbol.
struct LimitBand {
  double up_to_rpm = std::numeric_limits<double>::infinity();  ///< infinite: at any speed
  double limit = 0.0;                                          ///< must not be exceeded
  std::optional<double> target;                                ///< what a trim aims at
};

/// Error: a target that is not above zero, or above the limit.
[[nodiscard]] Result<void> check_target(const LimitBand& band);

/// A vibration sensor and how its readings are written.
///
/// Every amplitude the library keeps for it is a *peak* value in `unit.symbol`, whatever the detector.
struct Sensor {
  std::string name;
  VibrationUnit unit;
  /// The quantity the written phase belongs to; differs from `unit.quantity` where an instrument integrates
  /// the amplitude only. Empty for a display unit.
  std::optional<MotionQuantity> phase_of;
  bool positive_inward = false;         ///< a positive signal is motion toward the shaft: phase turned by 180
  std::string mounting;                 ///< where it sits, as a person would find it
  std::vector<LimitBand> bands;         ///< by rising speed
  std::optional<double> repeatability;  ///< one standard deviation per real component, peak
  std::optional<double> run_to_run;     ///< of what one run's readings share, per real component, peak
  double proportional = 0.0;            ///< share of the amplitude, one standard deviation per real component

  /// The band that holds at `rpm`; null above the last one.
  [[nodiscard]] const LimitBand* band_at(double rpm) const;

  /// Turns a phasor of the written phase into the library's: the phase of `unit.quantity`, positive outward.
  [[nodiscard]] Phasor phase_factor() const;
};

/// A reading as a person writes or sees it: amplitude with the sensor's detector, phase in [0, 360) degrees.
struct ShownReading {
  double amplitude = 0.0;
  double phase_deg = 0.0;
};

/// `x` as the sensor's own readings are written, in `convention` (lag or lead).
[[nodiscard]] ShownReading shown(const Sensor& sensor, Phasor x, PhaseConvention convention);

/// "0.312", with three significant digits but not more than four decimals.
[[nodiscard]] std::string amplitude_words(double shown);
/// "0.312 ∠ 145°"; the amplitude alone where the phase is not known (NaN).
[[nodiscard]] std::string reading_words(const ShownReading& reading);
/// `x` in the same words, as the sensor's readings are written.
[[nodiscard]] std::string phasor_words(const Sensor& sensor, Phasor x, PhaseConvention convention);

/// The inverse of `shown`.
[[nodiscard]] Phasor from_shown(const Sensor& sensor, ShownReading reading, PhaseConvention convention);

/// The ring that gives the phase reference.
struct ReferenceRing {
  int teeth = 1;
  int larger_tooth = 1;
  std::optional<double> larger_size;   ///< pulse size of the larger tooth over that of the others
  std::optional<double> larger_width;  ///< its pulse width over that of the others
  bool falling = true;                 ///< slope of the pickup's zero crossing as the tooth's centre passes
  bool polarity_stated = true;         ///< false: `falling` is not known, and no recording can be read
  std::string mark;  ///< the mark on the rotor that angles start from; empty: the larger tooth
};

/// What is being balanced, and every convention its numbers are written in.
struct Rotor {
  std::string name;
  SeenSense rotation;
  PhaseConvention phase = PhaseConvention::unknown;
  std::optional<double> speed_100_rpm;  ///< what 100 % of speed is
  double speed_tolerance_rpm = 0.0;     ///< readings this close belong to one speed point
  std::optional<double> mass_kg;
  ReferenceRing reference;
  std::optional<BladeRow> blades;
  std::vector<Plane> planes;
  std::vector<Sensor> sensors;
  std::vector<std::string> to_confirm{};  ///< what is only assumed so far; no weight is advised before

  [[nodiscard]] std::optional<std::size_t> plane_named(const std::string& name) const;
  [[nodiscard]] std::optional<std::size_t> sensor_named(const std::string& name) const;
};

/// Whether a sensor's limits are not given, or `to_confirm` lists them as only assumed: "limits" are those of
/// every sensor, "limits of front" those of this one. Nobody may stop a run by them.
[[nodiscard]] bool limits_open(const Rotor& rotor, const Sensor& sensor);

/// Whether two speeds are within the rotor's tolerance, so that readings at both belong to one speed point.
[[nodiscard]] bool same_speed(const Rotor& rotor, double one_rpm, double other_rpm);

/// "3174 rpm (62 %)", or "3174 rpm" where no 100 % is declared.
[[nodiscard]] std::string speed_words(const Rotor& rotor, double rpm);
/// "62 %", or "3174" where no 100 % is declared: for drawings.
[[nodiscard]] std::string short_speed_words(const Rotor& rotor, double rpm);

/// "reference tooth", or the mark that angles start from.
[[nodiscard]] std::string zero_words(const Rotor& rotor);
/// "seen from the front (ahead of the engine, looking aft)".
[[nodiscard]] std::string seen_words(ViewingEnd end);
/// The end a plane is looked at from: that of its slot numbering; without slots, that of the rotation.
[[nodiscard]] ViewingEnd viewing_end(const Rotor& rotor, const Plane& plane);

/// A position the three ways people ask for it.
struct Position {
  std::optional<int> slot;
  RotorAngle angle;
  std::string blade;  ///< empty when the rotor has no blades declared

  /// "slot 7, 63.0° with rotation, between blades 4 and 5".
  [[nodiscard]] std::string text() const;
};

[[nodiscard]] Position slot_position(const Rotor& rotor, const Plane& plane, int slot);
[[nodiscard]] Position angle_position(const Rotor& rotor, RotorAngle angle);

/// A reckoned moment to four digits: "830 g mm".
[[nodiscard]] std::string moment_words(double g_mm);
/// "830 g mm at 63.0°".
[[nodiscard]] std::string moment_words(std::complex<double> moment, int angle_decimals = 1);

/// Permissible residual specific unbalance e_per = G / Omega [g mm/kg] of ISO 21940-11:2016 for a rotor with
/// rigid behaviour in a balancing machine: `grade` is e_per Omega in mm/s, `rpm` the service speed.
/// A reference for the shop, never an acceptance limit on wing.
[[nodiscard]] double permissible_specific_unbalance(double grade, double rpm);

/// The balance quality grades of ISO 21940-11 [mm/s], from the coarsest to the finest.
[[nodiscard]] const std::vector<double>& balance_quality_grades();

/// What a slot holds beside its filler: a catalogue weight, or another piece of known moment.
struct Piece {
  std::string weight_id;     ///< empty: not from the catalogue
  double moment_g_mm = 0.0;  ///< taken from the catalogue when `weight_id` is set

  friend bool operator==(const Piece&, const Piece&) = default;
};

/// A moment that sits at an angle and in no slot (clamped, taped, or in a plane without slots).
struct FreePiece {
  double moment_g_mm = 0.0;
  RotorAngle at;
  std::string at_written{};  ///< as a person wrote the angle; may be empty
};

/// Everything fitted in one plane. Slots not named hold their filler.
struct FittedWeights {
  std::map<int, Piece> slots;
  std::vector<FreePiece> free;
};

/// Moment of a weight, filler or other piece in a slot, as the slot then acts [g mm, rotor angle].
[[nodiscard]] std::complex<double> slot_moment(const Plane& plane, int slot,
                                               const std::optional<Piece>& piece);

/// How many pieces of the single catalogue weight `id` are fitted in the plane, those in stacks included.
[[nodiscard]] int pieces_fitted(const Plane& plane, const FittedWeights& fitted, const std::string& id);

/// Total moment of everything the usable slots hold, fillers included, and of free pieces [g mm].
[[nodiscard]] std::complex<double> total_moment(const Plane& plane, const FittedWeights& fitted);

/// What a slot holds; nothing: its filler.
[[nodiscard]] std::optional<Piece> held(const FittedWeights& fitted, int slot);

/// A piece that a slot holds.
struct PlacedPiece {
  std::size_t plane = 0;  ///< index into Rotor::planes
  int slot = 0;
  Piece piece;
};

/// The pieces in slots of `now` that were not there `before`; one entry per plane of the rotor in both.
[[nodiscard]] std::vector<PlacedPiece> newly_fitted(const std::vector<FittedWeights>& before,
                                                    const std::vector<FittedWeights>& now);

/// "K3", or "piece of 780 g mm" where it is of no catalogue, behind the article that a sentence wants.
[[nodiscard]] std::string piece_words(const Piece& piece, const std::string& article = "");

/// What a slot holds, as a table names it: "K3", "piece of 780 g mm", "filler", "open".
[[nodiscard]] std::string content_words(const Plane& plane, const std::optional<Piece>& content);

/// Whether there is something to take out or put in: a weight or a filler.
[[nodiscard]] bool anything_held(const Plane& plane, const std::optional<Piece>& content);

/// Short marks for the weights of a plane's catalogue where there is little room: the ids themselves when
/// none has more than three characters, else A, B, ... Z, AA, AB, ...
[[nodiscard]] std::vector<std::string> weight_marks(const Plane& plane);

/// The catalogue's weight, or nothing for a filler and for a piece of no catalogue.
[[nodiscard]] const Weight* catalogue_weight(const Plane& plane, const std::optional<Piece>& content);

// The judge of what a plane may hold. All that reads, plans, tries out or rehearses weights asks it.

/// Sums may exceed their limits by this share: more than rounding, less than a person can weigh.
inline constexpr double fitting_allowance = 1e-9;

/// The catalogue weight `id` as a slot of the plane holds it. Error: there is none.
[[nodiscard]] Result<Piece> catalogue_piece(const Plane& plane, const std::string& id);

/// Error: the plane has no slots, or none of this number, or it is declared unusable.
[[nodiscard]] Result<void> check_slot(const Plane& plane, int slot);

/// Whether a plane can hold this at all, whatever is allowed. Errors: something in a slot that is none or
/// unusable; more pieces of a weight than the stock.
[[nodiscard]] Result<void> check_possible(const Plane& plane, const FittedWeights& fitted);

/// Whether the masses that limits on mass need are known. Error: a piece of no catalogue has none.
[[nodiscard]] Result<void> check_masses(const Plane& plane, const FittedWeights& fitted);

/// How often the weight can be fitted beside what is fitted; empty: as often as wanted.
[[nodiscard]] std::optional<int> left_in_stock(const Plane& plane, const FittedWeights& fitted,
                                               const Weight& weight);

/// Whether the plane's rules let a slot hold this, whatever the others hold.
[[nodiscard]] bool allowed_in(const Plane& plane, int slot, const std::optional<Piece>& content);

/// Mass of what a slot holds [g]; 0 where it is not known.
[[nodiscard]] double mass_of(const Plane& plane, const std::optional<Piece>& content);

/// Pieces that a slot holds, those of a stack one by one; a filler is none.
[[nodiscard]] double piece_count(const Plane& plane, const std::optional<Piece>& content);

/// Whether a plane that holds `now` may be made to hold `then` by every rule of its own: usable slots, stock,
/// weights for some slots only, the most that a slot and the plane may hold, pairs of slots, moments.
/// Errors: the first rule broken, with what it allows.
[[nodiscard]] Result<void> check_fitting(const Plane& plane, const FittedWeights& now,
                                         const FittedWeights& then);

/// What a job asks of the weights beside the rules of the planes.
struct FittingLimits {
  bool fitted_stay = false;         ///< weights fitted now stay where they are
  std::optional<int> most_pieces;   ///< in the usable slots of `planes`, those that stay included
  std::vector<std::size_t> planes;  ///< indices into Rotor::planes
};

/// `check_fitting` of every plane whose weights change, then the job's limits. One entry per plane of the
/// rotor.
[[nodiscard]] Result<void> check_fitting(const Rotor& rotor, const FittingLimits& limits,
                                         const std::vector<FittedWeights>& now,
                                         const std::vector<FittedWeights>& then);

}  // namespace trimwright
