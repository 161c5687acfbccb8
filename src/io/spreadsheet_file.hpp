#pragma once

#include <string>

#include "trimwright/error.hpp"

namespace trimwright {

/// The whole of a table that a spreadsheet saved, as `read_text_file`; what is not UTF-8 is taken for
/// Latin-1.
[[nodiscard]] Result<std::string> read_spreadsheet_file(const std::string& path);

}  // namespace trimwright
