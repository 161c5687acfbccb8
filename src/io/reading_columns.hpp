#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "csv_rows.hpp"
#include "decimal_mark.hpp"
#include "trimwright/rotor.hpp"

namespace trimwright {

/// What the cells of a column of a table of readings are.
enum class CellKind : std::size_t {
  run,
  speed,
  sensor,
  amplitude,
  phase,
  component,
  phase_of,
  sd,
  note,
  approach,
  state
};
inline constexpr std::array cell_names{"run",      "speed", "sensor", "amplitude", "phase", "component",
                                       "phase_of", "sd",    "note",   "approach",  "state"};

/// What tells the run of a row.
enum class RowName {
  elsewhere,  ///< a column "run" may; the table may also be of one run
  run,        ///< a column "run"
  date        ///< a column "date"
};

/// A column that is known: what it holds, where, and the unit that its heading gives ("speed [%]").
struct ReadingColumn {
  CellKind kind = CellKind::run;
  std::size_t at = 0;
  std::string unit;
  std::optional<std::size_t> sensor;  ///< of a wide table: whose amplitude or phase this is
  bool overall = false;               ///< of a wide table: amplitudes of the overall level
  ColumnMarks marks{};

  [[nodiscard]] bool measured() const {
    return kind == CellKind::speed || kind == CellKind::amplitude || kind == CellKind::phase ||
           kind == CellKind::sd;
  }
};

/// The columns of a table. A long one has one reading in a row and a column "sensor"; a wide one has one
/// speed in a row and columns for each sensor: "front [in/s peak]", "front [deg]", "front overall [in/s
/// peak]".
struct ReadingColumns {
  std::vector<ReadingColumn> columns;
  bool wide = false;
  std::vector<std::string> notes;  ///< columns left out

  [[nodiscard]] const ReadingColumn* of(CellKind kind) const;
  [[nodiscard]] const ReadingColumn* of(CellKind kind, std::size_t sensor, bool overall) const;
};

/// What a heading tells where the sensors are not known yet.
struct HeadingRead {
  CellKind kind = CellKind::run;
  std::string sensor;  ///< of a wide table, that of an amplitude or phase, if it is one; else empty
  std::string unit;
  bool overall = false;
};
[[nodiscard]] HeadingRead read_heading(const std::string& cell);

/// The only one of these sensors whose name begins with the words of a heading: phases may be called "inlet
/// phase" beside "inlet bearing [in/s peak]".
[[nodiscard]] std::optional<std::size_t> begun_with(const std::vector<std::string>& sensors,
                                                    const std::string& words);

/// Makes sense of a heading. `rows`: those below it, in which an unknown column without heading must be empty
/// to go unmentioned. Throws InputError: a column that is missing or
/// stands there twice.
[[nodiscard]] ReadingColumns reading_columns(const std::string& path, const CsvRow& heading,
                                             const std::vector<CsvRow>& rows, const Rotor& rotor,
                                             RowName name);

}  // namespace trimwright
