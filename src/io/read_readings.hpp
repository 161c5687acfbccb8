#pragma once

#include <string>
#include <vector>

#include "reading_columns.hpp"
#include "written_reading.hpp"

namespace trimwright {

/// A reading of a table, and the run (or date) it names; empty: the table has no column of runs.
struct TableReading {
  std::string run;
  WrittenReading reading;
};

struct ReadingTable {
  std::vector<TableReading> readings;
  std::vector<std::string> blank_speeds;  ///< speeds of rows in which nothing is filled in yet, as written
  std::vector<std::string> notes;         ///< what was left out
};

/// A table as it stands.
struct TableText {
  char delimiter = ',';
  CsvRow heading;
  std::vector<CsvRow> rows;  ///< those below the heading that are not empty
};
[[nodiscard]] Result<TableText> read_table_text(const std::string& path, RowName name);

/// Reads a table of readings of `rotor` (CSV: comma, semicolon or tab, the last two with decimal commas
/// allowed), with one reading in a row or one speed in a row. Readings whose amplitude is "missing", or empty
/// in a row of one reading, are marked so: a sensor that failed. `name`: what tells the run of a row.
[[nodiscard]] Result<ReadingTable> read_table(const std::string& path, const Rotor& rotor, RowName name);

}  // namespace trimwright
