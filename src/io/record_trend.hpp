#pragma once

#include "record_documents.hpp"
#include "trend/trend.hpp"

namespace trimwright {

/// A rotor's readings between its trims, from the records of its serial (`records_of`), those that were
/// corrected left out. `from`: readings of this date and later only; empty: all. A reading of the day of a
/// trim is after it where both say their time, and else belongs to neither.
/// Errors: no reading without a trim; a record whose files cannot be read again; those of `trend_spell`.
[[nodiscard]] Result<Trend> trend_of(const std::vector<StoredRecord>& records, const std::string& from);

/// The `trend 1` document, described in docs/records.md.
[[nodiscard]] std::string trend_json(const Trend& trend);

}  // namespace trimwright
