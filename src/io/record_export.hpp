#pragma once

#include <string>

#include "trimwright/records.hpp"

namespace trimwright {

/// One row per reading of the record, RFC 4180.
[[nodiscard]] std::string export_csv_heading();
[[nodiscard]] Result<std::string> export_csv(const StoredRecord& record);
/// The record as a member of the `export 1` document.
[[nodiscard]] Result<std::string> export_json(const StoredRecord& record);
/// All that its digest covers, in one line.
[[nodiscard]] std::string export_line(const StoredRecord& record);

}  // namespace trimwright
