#pragma once

#include <string>

#include "trimwright/records.hpp"

namespace trimwright {

/// The record as a member of the `export 1` document.
[[nodiscard]] Result<std::string> export_json(const StoredRecord& record);
/// All that its digest covers, in one line.
[[nodiscard]] std::string export_line(const StoredRecord& record);

}  // namespace trimwright
