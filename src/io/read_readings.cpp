#include "read_readings.hpp"

#include <algorithm>
#include <cctype>
#include <sstream>

#include "base/name.hpp"
#include "base/text.hpp"
#include "csv_rows.hpp"
#include "reading_columns.hpp"
#include "spreadsheet_file.hpp"
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

/// A table as it stands, and what is known of its columns.
struct Table {
  std::string path;
  char delimiter = ',';
  ReadingColumns known;
  std::vector<CsvRow> rows;  ///< without the heading

  [[nodiscard]] static std::string raw(const CsvRow& row, const ReadingColumn& column) {
    return column.at < row.cells.size() ? row.cells[column.at] : std::string{};
  }
  [[nodiscard]] Location where(const CsvRow& row, CellKind kind) const {
    return {path, row.line, cell_names[static_cast<std::size_t>(kind)]};
  }
  /// The cell's text, with the heading's unit behind a bare number; empty where there is no such column.
  [[nodiscard]] std::string cell(const CsvRow& row, const ReadingColumn* column) const;
  [[nodiscard]] std::string cell(const CsvRow& row, CellKind kind) const { return cell(row, known.of(kind)); }
};

std::string Table::cell(const CsvRow& row, const ReadingColumn* column) const {
  if (column == nullptr) return {};
  std::string text = raw(row, *column);
  if (column->kind == CellKind::note)
    for (char& c : text)
      if (c == '\n' || c == '\r' || c == '\t') c = ' ';
  if (const auto seen = check_seen(text); !seen)
    throw InputError{{seen.error().what, seen.error().expected, where(row, column->kind)}};
  if (!column->measured() || text.empty()) return text;
  if (delimiter != ',') {
    auto number = with_decimal_point(text, column->marks);
    if (!number) throw InputError{{number.error().what, number.error().expected, where(row, column->kind)}};
    text = *std::move(number);
  }
  const auto last = static_cast<unsigned char>(text.back());
  if (!column->unit.empty() && (std::isdigit(last) != 0 || last == '.')) text += " " + column->unit;
  return text;
}

void check_amplitude(const Table& table, const CsvRow& row, WrittenReading& written) {
  written.missing = not_obtained(written.amplitude);
  if (written.amplitude.empty() && !written.phase.empty())
    throw InputError{
        {"the amplitude is empty but a phase is given",
         "both, or \"missing\" for the amplitude",
         {table.path, row.line, written.where.key.empty() ? "amplitude" : written.where.key + ".amplitude"}}};
}

/// A row of one reading.
TableReading long_reading(const Table& table, const CsvRow& row) {
  const auto cell = [&](CellKind kind) { return table.cell(row, kind); };
  TableReading reading{cell(CellKind::run),
                       {cell(CellKind::speed),
                        cell(CellKind::sensor),
                        cell(CellKind::amplitude),
                        cell(CellKind::phase),
                        cell(CellKind::component),
                        cell(CellKind::phase_of),
                        cell(CellKind::sd),
                        false,
                        cell(CellKind::note),
                        {table.path, row.line, {}},
                        cell(CellKind::approach),
                        cell(CellKind::state)}};
  check_amplitude(table, row, reading.reading);
  return reading;
}

/// A row of one speed: a reading for each sensor that has something in it.
void add_wide_row(const Table& table, const CsvRow& row, const Rotor& rotor, ReadingTable& read) {
  const std::string speed = table.cell(row, CellKind::speed);
  std::size_t filled = 0;
  for (const auto& column : table.known.columns) {
    if (!column.sensor || column.kind != CellKind::amplitude) continue;
    const Sensor& sensor = rotor.sensors[*column.sensor];
    const auto* phases = column.overall ? nullptr : table.known.of(CellKind::phase, *column.sensor, false);
    TableReading reading{table.cell(row, CellKind::run), {}};
    auto& written = reading.reading;
    written.speed = speed;
    written.sensor = sensor.name;
    written.amplitude = table.cell(row, &column);
    written.phase = table.cell(row, phases);
    written.component = column.overall ? "overall" : table.cell(row, CellKind::component);
    if (written.component.empty() && phases != nullptr) written.component = "once-per-rev";
    written.note = table.cell(row, CellKind::note);
    written.approach = table.cell(row, CellKind::approach);
    written.state = table.cell(row, CellKind::state);
    written.where = {table.path, row.line, sensor.name};
    check_amplitude(table, row, written);
    if (written.amplitude.empty()) continue;
    ++filled;
    read.readings.push_back(std::move(reading));
  }
  if (filled == 0) read.blank_speeds.push_back(speed);
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
  std::size_t needed = 0;
  for (const auto& column : table.known.columns)
    if (!column.sensor && column.kind <= CellKind::component) needed = std::max(needed, column.at + 1);
  if (row.cells.size() < needed)
    throw InputError{{start + "too few cells",
                      "a cell in every column but phase_of, sd, note, approach and state", where}};
}

TableText parted_table(const std::string& path, const std::string& text, RowName name) {
  TableText table{delimiter_of(text), {}, {}};
  table.rows = filled_rows(path, text, table.delimiter);
  if (!table.rows.empty() && table.rows.front().cells.front() == "sep=")  // a spreadsheet's own line: "sep=;"
    table.rows.erase(table.rows.begin());
  if (table.rows.empty())
    throw InputError{{"the table has no heading",
                      name == RowName::date ? "date, speed, sensor, amplitude, phase"
                                            : "run, speed, sensor, amplitude, phase",
                      {path, 1, {}}}};
  table.heading = std::move(table.rows.front());
  table.rows.erase(table.rows.begin());
  return table;
}

ReadingTable read_rows(const std::string& path, TableText text, const Rotor& rotor, RowName name) {
  Table table{path, text.delimiter, {}, std::move(text.rows)};
  const CsvRow& heading = text.heading;
  table.known = reading_columns(path, heading, table.rows, rotor, name);
  for (const auto& row : table.rows) check_cells(table, row, heading.cells.size());
  bool commas = false;
  for (auto& column : table.known.columns) {
    if (!column.measured()) continue;
    for (const auto& row : table.rows) column.marks.add(Table::raw(row, column));
    commas = commas || column.marks.comma;
  }
  for (auto& column : table.known.columns) column.marks.comma_in_table = commas;
  ReadingTable read{{}, {}, table.known.notes};
  for (const auto& row : table.rows) {
    if (table.known.wide)
      add_wide_row(table, row, rotor, read);
    else
      read.readings.push_back(long_reading(table, row));
  }
  return read;
}

}  // namespace

Result<TableText> read_table_text(const std::string& path, RowName name) {
  const auto text = read_spreadsheet_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    return parted_table(path, *text, name);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

Result<ReadingTable> read_table(const std::string& path, const Rotor& rotor, RowName name) {
  auto text = read_table_text(path, name);
  if (!text) return tl::unexpected(text.error());
  try {
    return read_rows(path, *std::move(text), rotor, name);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
