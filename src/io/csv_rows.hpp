#pragma once

#include <csv.h>

#include <array>
#include <istream>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"

namespace trimwright {

struct CsvRow {
  int line = 0;  ///< where it begins
  std::vector<std::string> cells;
};

/// The rows of a table (RFC 4180) that is parsed as it is read; blank lines are left out. Blanks around cells
/// without quotes do not count.
class CsvRows {
 public:
  CsvRows(std::istream& in, std::string file, char delimiter = ',');
  ~CsvRows() { csv_free(&parser_); }
  CsvRows(const CsvRows&) = delete;
  CsvRows& operator=(const CsvRows&) = delete;

  /// The next row; none at the end. Error: a quotation mark where none belongs, or never closed.
  [[nodiscard]] Result<std::optional<CsvRow>> next();
  [[nodiscard]] double bytes_read() const { return bytes_read_; }

 private:
  static void on_cell(void* text, std::size_t length, void* self);
  static void on_row(int terminator, void* self);
  [[nodiscard]] bool fill();  ///< false: the table is broken at `line_`

  std::istream& in_;
  std::string file_;
  csv_parser parser_{};
  std::array<char, 65536> bytes_{};
  std::vector<CsvRow> rows_;
  CsvRow current_{1, {}};
  std::size_t next_ = 0;
  int line_ = 1;
  bool after_return_ = false, ended_ = false, broken_ = false;
  double bytes_read_ = 0.0;
};

/// One line of a table; a cell that a spreadsheet would run as a formula gets a ' before it (OWASP, "CSV
/// Injection"), which `CsvRows` takes away again. Cells are quoted where RFC 4180, a spreadsheet that takes
/// semicolons or a reader that trims blanks needs it.
[[nodiscard]] std::string csv_line(const std::vector<std::string>& cells, char delimiter = ',');

}  // namespace trimwright
