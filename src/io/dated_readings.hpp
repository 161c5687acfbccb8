#pragma once

#include <string>
#include <vector>

#include "trimwright/job.hpp"

namespace trimwright {

/// Readings without a trim: a run for each date, in order, named by it.
struct DatedReadings {
  std::vector<Run> dates;
  std::vector<std::string> notes;  ///< what was left out of the table
};

/// "2031-05-04" or "2031-05-04 14:20" as it is kept and compared; error: no such date.
[[nodiscard]] Result<std::string> parse_when(const std::string& text);

/// Reads a table of readings with a column "date" beside those that `read_table` takes. Readings of one date
/// (and time, where it is given) are one run; the notes of its rows are its note.
/// Errors: those of `read_table`; a date that is none; no reading in it; a rotor that does not say whether
/// phase is lag or lead.
[[nodiscard]] Result<DatedReadings> read_dated_table(const std::string& path, const Rotor& rotor);

}  // namespace trimwright
