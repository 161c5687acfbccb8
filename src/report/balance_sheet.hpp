#pragma once

#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/rotor.hpp"

namespace trimwright {

/// A cell of the sheet: its words, and the readings that they tell.
struct SheetCell {
  std::string words;
  std::vector<ShownReading> readings{};

  SheetCell() = default;
  SheetCell(std::string text) : words(std::move(text)) {}
  SheetCell(const char* text) : words(text) {}
  SheetCell(const ShownReading& reading) { add(reading); }
  /// "0.433 ∠ 68°; 0.441 ∠ 69°".
  void add(const ShownReading& reading);
};

/// A speed and sensor on the balance sheet; amplitudes as the sensor's readings are written.
struct SheetLevel {
  std::string speed, sensor, unit;
  bool overall = false;
  std::optional<ShownReading> as_found{}, now{}, expected{};
  std::optional<double> differs_by{};
  SheetCell measured{};  ///< each reading of the check run; empty: to be written down
  std::optional<double> limit{}, target{};
  std::string result{};
};

/// A slot that changes. What it holds is told in words: an id, "filler", "open", "piece of 780 g mm".
struct SheetChange {
  std::string plane;
  int slot = 0;
  double angle_deg = 0.0;  ///< with rotation
  std::string blades, take_out, put_in;
  std::string part_number;  ///< of what is put in
};

/// What a run read at a place.
struct SheetReading {
  std::string run, speed, sensor, component;
  ShownReading reading;
  std::string unit;
};

/// What a plane holds in the end; `slot` is empty for a piece that sits in none.
struct SheetPlane {
  struct Held {
    std::optional<int> slot;
    double angle_deg = 0.0;
    std::string piece;
  };
  std::string name;
  std::vector<Held> held;
  std::string others;  ///< "filler" or "open": every other slot; empty: not known, or no slots
};

/// How a sheet names what a slot holds: `content_words`, or with more.
using PieceWords = std::string (*)(const Plane&, const std::optional<Piece>&);
[[nodiscard]] SheetPlane sheet_plane(const Plane& plane, const FittedWeights& fitted, PieceWords words);
/// "slot 4 K3, slot 19 K2; every other slot filler": all that a plane holds.
[[nodiscard]] std::string all_held_words(const SheetPlane& plane);

/// What a balance sheet tells: of a plan to carry out, or of a trim that is made. The page's sheet and the
/// sheet of a record are both made from it.
struct BalanceSheet {
  std::string rotor, serial, job, station, run, date, made_by, record, digest;
  std::vector<std::pair<std::string, std::string>> conditions;
  std::vector<std::pair<std::string, std::string>> filing;  ///< particulars that only a record has
  std::string phase;                                        ///< "lag" or "lead"
  std::string angles_from;
  std::vector<std::string> warnings;
  std::vector<SheetLevel> levels;
  bool made = false;  ///< the check run is: changes are told against as found, no longer against fitted now
  std::vector<SheetChange> changes;
  std::vector<SheetPlane> planes;
  std::vector<std::string> verdict;
  std::vector<std::pair<std::string, std::string>> entries;  ///< given at filing; those asked for stay blank
  std::vector<std::vector<std::string>> runs;  ///< run, when, made by, weights, conditions, remark
  std::vector<SheetReading> readings;
  std::vector<std::string> cautions;
};

/// A column of the sheet: words, numbers, boxes to tick, or room to write.
struct SheetColumn {
  enum class Kind { words, number, unit, write, box, line };
  std::string words;
  Kind kind = Kind::words;
  bool readings = false;  ///< its cells tell readings
};

/// A part of the sheet as it is set in text, CSV or HTML. `rows`: a table's cells; of entries the term and
/// its words, empty for a line to fill in; one cell each of points and sentences.
struct SheetPart {
  enum class Kind { entries, table, points, sentences };
  std::string key;  ///< "level", "weight", ...: one word for each kind of row
  Kind kind = Kind::entries;
  std::string heading;
  std::vector<SheetColumn> columns{};
  std::vector<std::vector<SheetCell>> rows{};
  std::string note{};
};

/// Names of the entries that a sheet asks for: what was not given at filing is a line to fill in by hand.
[[nodiscard]] std::span<const char* const> asked_entries();

/// "warm_up 5 min at idle; dwell 60 s".
[[nodiscard]] std::string conditions_words(
    const std::vector<std::pair<std::string, std::string>>& conditions);

/// The parts that have something to tell, in order.
[[nodiscard]] std::vector<SheetPart> sheet_parts(const BalanceSheet& sheet);

/// As plain text: no table wider than `width` columns, no sentence than 80.
[[nodiscard]] std::string sheet_parts_text(const std::vector<SheetPart>& parts, std::size_t width);

}  // namespace trimwright
