#include "csv_rows.hpp"

#include <algorithm>
#include <new>

namespace trimwright {
namespace {

/// Whether a spreadsheet would run a cell that holds this, because it begins like a formula and is no number.
bool would_run(std::string_view cell) {
  return cell.size() > 1 && std::string_view("=+-@\t\r").find(cell[0]) != std::string_view::npos &&
         cell.find_first_not_of("+-.0123456789eE") != std::string_view::npos;
}

}  // namespace

CsvRows::CsvRows(std::istream& in, std::string file, char delimiter) : in_(in), file_(std::move(file)) {
  if (csv_init(&parser_, CSV_STRICT | CSV_STRICT_FINI | CSV_REPALL_NL) != 0) throw std::bad_alloc();
  csv_set_delim(&parser_, static_cast<unsigned char>(delimiter));
}

Result<std::optional<CsvRow>> CsvRows::next() {
  while (next_ == rows_.size()) {
    if (broken_)
      return fail("the table cannot be read: a quotation mark stands where none belongs, or is never closed",
                  "cells as in RFC 4180: quotes around the whole cell, doubled inside", {file_, line_, {}});
    if (ended_) return std::nullopt;
    rows_.clear();
    next_ = 0;
    broken_ = !fill();
  }
  return std::move(rows_[next_++]);
}

bool CsvRows::fill() {
  in_.read(bytes_.data(), static_cast<std::streamsize>(bytes_.size()));
  const auto got = static_cast<std::size_t>(in_.gcount());
  bytes_read_ += static_cast<double>(got);
  ended_ = got < bytes_.size();
  return csv_parse(&parser_, bytes_.data(), got, &CsvRows::on_cell, &CsvRows::on_row, this) == got &&
         (!ended_ || csv_fini(&parser_, &CsvRows::on_cell, &CsvRows::on_row, this) == 0);
}

void CsvRows::on_cell(void* text, std::size_t length, void* self) {
  auto& rows = *static_cast<CsvRows*>(self);
  std::string cell(static_cast<const char*>(text), length);
  if (cell.starts_with('\'') && would_run(std::string_view(cell).substr(1))) cell.erase(0, 1);
  rows.line_ += static_cast<int>(std::count(cell.begin(), cell.end(), '\n'));
  rows.current_.cells.push_back(std::move(cell));
}

void CsvRows::on_row(int terminator, void* self) {
  auto& rows = *static_cast<CsvRows*>(self);
  const bool second_half_of_crlf = terminator == '\n' && rows.after_return_ && rows.current_.cells.empty();
  rows.after_return_ = terminator == '\r';
  if (second_half_of_crlf) return;
  if (!rows.current_.cells.empty()) rows.rows_.push_back(std::move(rows.current_));
  rows.current_ = {++rows.line_, {}};
}

std::string csv_line(const std::vector<std::string>& cells, char delimiter) {
  std::string line;
  for (const auto& given : cells) {
    const std::string cell = would_run(given) ? "'" + given : given;
    if (&given != &cells.front()) line += delimiter;
    const bool plain = cell.find_first_of(",;\t\"\r\n") == std::string::npos && !cell.starts_with(' ') &&
                       !cell.ends_with(' ');
    if (plain) {
      line += cell;
      continue;
    }
    const auto begin = line.size();
    line.resize(begin + 2 * cell.size() + 2);
    line.resize(begin + csv_write(line.data() + begin, line.size() - begin, cell.data(), cell.size()));
  }
  return line + "\r\n";
}

}  // namespace trimwright
