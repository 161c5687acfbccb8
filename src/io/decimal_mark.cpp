#include "decimal_mark.hpp"

#include <algorithm>
#include <optional>

#include "base/text.hpp"

namespace trimwright {
namespace {

/// The one mark of the number a cell begins with.
struct Mark {
  std::size_t at = 0;  ///< in the cell
  char sign = '.';
  bool may_be_of_thousands = false;  ///< 4,800 or 12.345, but neither 0,800 nor 4,80 nor 4800,125
};

std::optional<Mark> mark_of(std::string_view cell) {
  const auto begin = std::min(cell.find_first_not_of(" +-"), cell.size());
  const auto number = cell.substr(begin, cell.find_first_not_of("0123456789.,", begin) - begin);
  const auto at = number.find_first_of(".,");
  if (at == number.npos || number.find_first_of(".,", at + 1) != number.npos) return std::nullopt;
  const bool groups = number.size() - at == 4 && at >= 1 && at <= 3 && number.front() != '0';
  return Mark{begin + at, number[at], groups};
}

}  // namespace

void ColumnMarks::add(std::string_view cell) {
  if (const auto mark = mark_of(cell); mark && !mark->may_be_of_thousands)
    (mark->sign == ',' ? comma : point) = true;
}

Result<std::string> with_decimal_point(std::string_view cell, const ColumnMarks& marks) {
  std::string text(cell);
  const auto mark = mark_of(cell);
  if (!mark) return text;
  const bool only_points = marks.point && !marks.comma;
  const bool only_commas = marks.comma && !marks.point;
  if (mark->may_be_of_thousands && mark->sign == ',' && only_points) return text.erase(mark->at, 1);
  const bool settled =
      !mark->may_be_of_thousands ||
      (mark->sign == ',' ? only_commas : only_points || !(marks.comma || marks.comma_in_table));
  if (!settled)
    return fail("\"" + shortened(cell) + "\" may be read in two ways, its \"" + mark->sign +
                    "\" as a decimal mark or as a mark of thousands",
                "a number without a mark of thousands");
  text[mark->at] = '.';
  return text;
}

}  // namespace trimwright
