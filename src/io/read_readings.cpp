#include "read_readings.hpp"

#include <csv.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <memory>
#include <optional>

#include "trimwright/base/text.hpp"
#include "trimwright/io/files.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

struct Row {
  int line = 0;
  std::vector<std::string> cells;
};

/// Collects the cells that libcsv hands out; counts lines, newlines inside quoted cells included.
struct Collector {
  std::vector<Row> rows;
  Row current{1, {}};
  int line = 1;

  static void on_cell(void* cell, std::size_t length, void* self) {
    auto& collector = *static_cast<Collector*>(self);
    std::string text(static_cast<const char*>(cell), length);
    collector.line += static_cast<int>(std::count(text.begin(), text.end(), '\n'));
    collector.current.cells.push_back(std::move(text));
  }

  static void on_row(int, void* self) {
    auto& collector = *static_cast<Collector*>(self);
    const auto& cells = collector.current.cells;
    if (std::any_of(cells.begin(), cells.end(), [](const auto& cell) { return !cell.empty(); }))
      collector.rows.push_back(collector.current);
    collector.current = {++collector.line, {}};
  }
};

char delimiter_of(const std::string& text) {
  const auto header = text.substr(0, text.find('\n'));
  char best = ',';
  for (const char candidate : {';', '\t'})
    if (std::count(header.begin(), header.end(), candidate) > std::count(header.begin(), header.end(), best))
      best = candidate;
  return best;
}

std::string with_plain_newlines(const std::string& text) {
  std::string plain;
  plain.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\r') {
      if (i + 1 < text.size() && text[i + 1] == '\n') continue;
      plain += '\n';
    } else {
      plain += text[i];
    }
  }
  return plain;
}

std::vector<Row> parse_rows(const std::string& path, const std::string& text, char delimiter) {
  csv_parser parser{};
  if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI | CSV_REPALL_NL) != 0) throw std::bad_alloc();
  const std::unique_ptr<csv_parser, decltype(&csv_free)> owner(&parser, csv_free);
  csv_set_delim(&parser, static_cast<unsigned char>(delimiter));
  Collector collector;
  const bool whole = csv_parse(&parser, text.data(), text.size(), Collector::on_cell, Collector::on_row,
                               &collector) == text.size() &&
                     csv_fini(&parser, Collector::on_cell, Collector::on_row, &collector) == 0;
  if (!whole)
    throw InputError{
        {"the table cannot be read: a quotation mark stands where none belongs, or is never closed",
         "cells as in RFC 4180: quotes around the whole cell, doubled inside",
         {path, collector.line, {}}}};
  return std::move(collector.rows);
}

enum Column : std::size_t { run, speed, sensor, amplitude, phase, component, phase_of, sd, note, columns };
constexpr std::array<const char*, columns> column_names{
    "run", "speed", "sensor", "amplitude", "phase", "component", "phase_of", "sd", "note"};

/// Where each known column stands, and the unit its heading gives ("speed [%]").
struct Header {
  std::array<std::optional<std::size_t>, columns> at;
  std::array<std::string, columns> unit;

  /// Cells up to the last column that every row must fill.
  [[nodiscard]] std::size_t needed_cells() const {
    std::size_t needed = 0;
    for (const auto column : {run, speed, sensor, amplitude, phase, component})
      needed = std::max(needed, *at[column] + 1);
    return needed;
  }
};

Header read_header(const std::string& path, const Row& row) {
  Header header;
  for (std::size_t i = 0; i < row.cells.size(); ++i) {
    std::string heading = row.cells[i];
    std::string unit;
    if (const auto open = heading.find('['); open != std::string::npos && heading.back() == ']') {
      unit = heading.substr(open + 1, heading.size() - open - 2);
      heading = heading.substr(0, heading.find_last_not_of(' ', open - 1) + 1);
    }
    heading = lower_case(heading);
    const auto found =
        std::find_if(column_names.begin(), column_names.end(), [&](const char* n) { return heading == n; });
    const Location where{path, row.line, shortened(heading)};
    if (found == column_names.end())
      throw InputError{
          {"column \"" + shortened(heading) + "\" is not known",
           "run, speed, sensor, amplitude, phase, component, and if need be phase_of, sd or note", where}};
    const auto column = static_cast<std::size_t>(found - column_names.begin());
    if (header.at[column])
      throw InputError{
          {"column \"" + shortened(heading) + "\" stands here twice", "each column once", where}};
    header.at[column] = i;
    header.unit[column] = unit;
  }
  for (const auto column : {run, speed, sensor, amplitude, phase, component})
    if (!header.at[column])
      throw InputError{{std::string("column \"") + column_names[column] + "\" is missing",
                        "run, speed, sensor, amplitude, phase and component",
                        {path, row.line, {}}}};
  return header;
}

/// The cell's text, with the heading's unit behind a bare number.
std::string cell_text(const Header& header, const Row& row, Column column, char delimiter) {
  const auto at = header.at[column];
  if (!at || *at >= row.cells.size()) return {};
  std::string text = row.cells[*at];
  const bool measured = column == speed || column == amplitude || column == phase || column == sd;
  if (!measured || text.empty()) return text;
  if (const auto comma = text.find(','); delimiter != ',' && comma != std::string::npos) text[comma] = '.';
  const auto last = static_cast<unsigned char>(text.back());
  if (!header.unit[column].empty() && (std::isdigit(last) != 0 || last == '.'))
    text += " " + header.unit[column];
  return text;
}

}  // namespace

namespace {

TableReading to_table_reading(const Header& header, const Row& row, char delimiter, const std::string& path) {
  const auto cell = [&](Column column) { return cell_text(header, row, column, delimiter); };
  const Location where{path, row.line, {}};
  TableReading reading{cell(run),
                       {cell(speed), cell(sensor), cell(amplitude), cell(phase), cell(component),
                        cell(phase_of), cell(sd), false, cell(note), where}};
  auto& written = reading.reading;
  written.missing = written.amplitude.empty() || lower_case(written.amplitude) == "missing";
  if (written.amplitude.empty() && !written.phase.empty())
    throw InputError{{"the amplitude is empty but a phase is given",
                      "both, or \"missing\" for the amplitude",
                      {path, row.line, "amplitude"}}};
  return reading;
}

std::vector<TableReading> read_table(const std::string& path, const std::string& text) {
  const std::string plain = with_plain_newlines(text);
  const char delimiter = delimiter_of(plain);
  const auto rows = parse_rows(path, plain, delimiter);
  if (rows.empty())
    throw InputError{
        {"the table has no heading", "run, speed, sensor, amplitude, phase, component", {path, 1, {}}}};
  const auto header = read_header(path, rows.front());
  std::vector<TableReading> readings;
  for (std::size_t r = 1; r < rows.size(); ++r) {
    const Row& row = rows[r];
    const std::string start = "the row \"" + shortened(row.cells.front()) + "\" has ";
    if (row.cells.size() > rows.front().cells.size())
      throw InputError{{start + "more cells than the heading", "one cell per column", {path, row.line, {}}}};
    if (row.cells.size() < header.needed_cells())
      throw InputError{{start + "too few cells",
                        "a cell in every column but phase_of, sd and note",
                        {path, row.line, {}}}};
    readings.push_back(to_table_reading(header, row, delimiter, path));
  }
  return readings;
}

}  // namespace

Result<std::vector<TableReading>> read_table(const std::string& path) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    return read_table(path, *text);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
