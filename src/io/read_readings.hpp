#pragma once

#include <string>
#include <vector>

#include "written_reading.hpp"

namespace trimwright {

/// A row of a table of readings: the run it names, and the reading.
struct TableReading {
  std::string run;
  WrittenReading reading;
};

/// Reads a table of readings (CSV: comma, semicolon or tab, the last two with decimal commas allowed).
/// Rows whose amplitude is empty or "missing" are marked so: a sensor that failed.
[[nodiscard]] Result<std::vector<TableReading>> read_table(const std::string& path);

}  // namespace trimwright
