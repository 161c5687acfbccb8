#include "read_readings.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <optional>
#include <sstream>

#include "base/name.hpp"
#include "base/text.hpp"
#include "csv_rows.hpp"
#include "decimal_mark.hpp"
#include "trimwright/files.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

char delimiter_of(const std::string& text) {
  const auto header = text.substr(0, text.find_first_of("\r\n"));
  char best = ',';
  for (const char candidate : {';', '\t'})
    if (std::count(header.begin(), header.end(), candidate) > std::count(header.begin(), header.end(), best))
      best = candidate;
  return best;
}

/// The rows that are not empty.
std::vector<CsvRow> filled_rows(const std::string& path, const std::string& text, char delimiter) {
  std::istringstream in(text);
  CsvRows all(in, path, delimiter);
  std::vector<CsvRow> rows;
  for (;;) {
    auto row = all.next();
    if (!row) throw InputError{row.error()};
    if (!*row) return rows;
    const auto& cells = (*row)->cells;
    if (std::any_of(cells.begin(), cells.end(), [](const auto& cell) { return !cell.empty(); }))
      rows.push_back(*std::move(*row));
  }
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

Header read_header(const std::string& path, const CsvRow& row) {
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

/// A table as it stands, and what is known of its columns.
struct Table {
  std::string path;
  char delimiter = ',';
  Header header;
  std::vector<CsvRow> rows;  ///< without the heading
  std::array<ColumnMarks, columns> marks;

  [[nodiscard]] std::string raw(const CsvRow& row, Column column) const {
    const auto at = header.at[column];
    return at && *at < row.cells.size() ? row.cells[*at] : std::string{};
  }
  [[nodiscard]] Location where(const CsvRow& row, Column column) const {
    return {path, row.line, column_names[column]};
  }
};

constexpr std::array measured_columns{speed, amplitude, phase, sd};

/// The cell's text, with the heading's unit behind a bare number.
std::string cell_text(const Table& table, const CsvRow& row, Column column) {
  std::string text = table.raw(row, column);
  if (column == note)
    for (char& c : text)
      if (c == '\n' || c == '\r' || c == '\t') c = ' ';
  if (const auto seen = check_seen(text); !seen)
    throw InputError{{seen.error().what, seen.error().expected, table.where(row, column)}};
  const bool measured =
      std::find(measured_columns.begin(), measured_columns.end(), column) != measured_columns.end();
  if (!measured || text.empty()) return text;
  if (table.delimiter != ',') {
    auto number = with_decimal_point(text, table.marks[column]);
    if (!number) throw InputError{{number.error().what, number.error().expected, table.where(row, column)}};
    text = *std::move(number);
  }
  const auto last = static_cast<unsigned char>(text.back());
  if (!table.header.unit[column].empty() && (std::isdigit(last) != 0 || last == '.'))
    text += " " + table.header.unit[column];
  return text;
}

TableReading to_table_reading(const Table& table, const CsvRow& row) {
  const auto cell = [&](Column column) { return cell_text(table, row, column); };
  TableReading reading{cell(run),
                       {cell(speed),
                        cell(sensor),
                        cell(amplitude),
                        cell(phase),
                        cell(component),
                        cell(phase_of),
                        cell(sd),
                        false,
                        cell(note),
                        {table.path, row.line, {}}}};
  auto& written = reading.reading;
  written.missing = written.amplitude.empty() || lower_case(written.amplitude) == "missing";
  if (written.amplitude.empty() && !written.phase.empty())
    throw InputError{{"the amplitude is empty but a phase is given", "both, or \"missing\" for the amplitude",
                      table.where(row, amplitude)}};
  return reading;
}

void check_cells(const Table& table, const CsvRow& row, std::size_t headings) {
  const std::string start = "the row \"" + shortened(row.cells.front()) + "\" has ";
  const Location where{table.path, row.line, {}};
  if (row.cells.size() > headings)
    throw InputError{{start + "more cells than the heading",
                      table.delimiter == ','
                          ? "one cell per column; a decimal point, since a comma ends a cell"
                          : "one cell per column",
                      where}};
  if (row.cells.size() < table.header.needed_cells())
    throw InputError{{start + "too few cells", "a cell in every column but phase_of, sd and note", where}};
}

std::vector<TableReading> read_rows(const std::string& path, const std::string& text) {
  Table table{path, delimiter_of(text), {}, {}, {}};
  table.rows = filled_rows(path, text, table.delimiter);
  if (!table.rows.empty() && table.rows.front().cells.front() == "sep=")  // a spreadsheet's own line: "sep=;"
    table.rows.erase(table.rows.begin());
  if (table.rows.empty())
    throw InputError{
        {"the table has no heading", "run, speed, sensor, amplitude, phase, component", {path, 1, {}}}};
  const CsvRow heading = std::move(table.rows.front());
  table.rows.erase(table.rows.begin());
  table.header = read_header(path, heading);
  for (const auto& row : table.rows) check_cells(table, row, heading.cells.size());
  for (const Column column : measured_columns)
    for (const auto& row : table.rows) table.marks[column].add(table.raw(row, column));
  const bool commas =
      std::any_of(table.marks.begin(), table.marks.end(), [](const auto& one) { return one.comma; });
  for (auto& one : table.marks) one.comma_in_table = commas;
  std::vector<TableReading> readings;
  for (const auto& row : table.rows) readings.push_back(to_table_reading(table, row));
  return readings;
}

}  // namespace

Result<std::vector<TableReading>> read_table(const std::string& path) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    return read_rows(path, *text);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
