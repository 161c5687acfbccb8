#pragma once

#include <string>
#include <string_view>

#include "trimwright/error.hpp"

namespace trimwright {

/// What the numbers of one column of a table tell about their decimal mark.
struct ColumnMarks {
  bool comma = false;           ///< some number of the column has a comma that can only be a decimal mark
  bool point = false;           ///< some number of the column has a point that can only be one
  bool comma_in_table = false;  ///< some column has such a comma

  /// Looks at a cell that begins with a number.
  void add(std::string_view cell);
};

/// A cell whose number has a decimal point, if any mark at all. A comma before exactly three digits ("4,800")
/// may be a decimal mark or of thousands: what else the column holds settles it, or it is an error. So may a
/// point in a table with decimal commas. A number with several marks is left to be refused as none.
[[nodiscard]] Result<std::string> with_decimal_point(std::string_view cell, const ColumnMarks& marks);

}  // namespace trimwright
