#pragma once

#include <string>

#include "trimwright/records.hpp"

namespace trimwright {

/// One row per reading of the record, RFC 4180; with `decimal` ',' semicolons between the cells.
[[nodiscard]] std::string export_csv_heading(char decimal);
[[nodiscard]] Result<std::string> export_csv(const StoredRecord& record, char decimal);
/// The record as a member of the `export 1` document.
[[nodiscard]] Result<std::string> export_json(const StoredRecord& record);
/// All that its digest covers, in one line.
[[nodiscard]] std::string export_line(const StoredRecord& record);

}  // namespace trimwright
