#include "reading_columns.hpp"

#include <algorithm>

#include "base/name.hpp"
#include "base/text.hpp"
#include "fitted_fields.hpp"
#include "trade_values.hpp"
#include "trimwright/phasor.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

/// A heading without brackets and what stands in them, "speed [%]" or "speed (%)".
std::pair<std::string, std::string> name_and_unit(const std::string& heading) {
  for (const auto& [open, close] : {std::pair('[', ']'), std::pair('(', ')')})
    if (const auto at = heading.find(open); at != heading.npos && heading.back() == close)
      return {without_blanks_around(heading.substr(0, at)),
              without_blanks_around(heading.substr(at + 1, heading.size() - at - 2))};
  return {heading, {}};
}

bool is_phase_unit(const std::string& unit) {
  const std::string lower = lower_case(unit);
  return lower.starts_with("deg") || lower.starts_with("°");
}

/// "front overall" as "front" and "overall"; the second is empty where the last word is no part of a reading.
std::pair<std::string, std::string> name_and_part(const std::string& heading) {
  const auto blank = heading.find_last_of(' ');
  if (blank == heading.npos) return {heading, {}};
  const std::string last = lower_case(heading.substr(blank + 1));
  for (const auto* const part : {"phase", "overall", "amplitude", "amp"})
    if (last == part) return {without_blanks_around(heading.substr(0, blank)), last};
  return {heading, {}};
}

/// The sensor called so; capitals count only where two names differ by nothing else.
std::optional<std::size_t> sensor_called(const Rotor& rotor, const std::string& name) {
  if (const auto exact = rotor.sensor_named(name)) return exact;
  std::optional<std::size_t> found;
  for (std::size_t s = 0; s < rotor.sensors.size(); ++s) {
    if (lower_case(rotor.sensors[s].name) != lower_case(name)) continue;
    if (found) return std::nullopt;
    found = s;
  }
  return found;
}

std::vector<std::string> sensor_names(const Rotor& rotor) {
  std::vector<std::string> names;
  for (const auto& one : rotor.sensors) names.push_back(one.name);
  return names;
}

/// "front [deg]", "front phase", "front amplitude [ips pk]", "front overall [in/s peak]".
std::optional<ReadingColumn> sensor_column(const Rotor& rotor, const std::string& name,
                                           const std::string& unit) {
  ReadingColumn column{is_phase_unit(unit) ? CellKind::phase : CellKind::amplitude, 0, unit, {}, false};
  column.sensor = sensor_called(rotor, name);
  if (column.sensor) return column;
  const auto [sensor, part] = name_and_part(name);
  if (part.empty() && column.kind != CellKind::phase) return std::nullopt;
  column.overall = part == "overall";
  if (!part.empty()) column.kind = part == "phase" ? CellKind::phase : CellKind::amplitude;
  column.sensor = sensor_called(rotor, sensor);
  if (!column.sensor && column.kind == CellKind::phase)
    column.sensor = begun_with(sensor_names(rotor), sensor);
  return column.sensor ? std::optional(column) : std::nullopt;
}

std::optional<ReadingColumn> named_column(const std::string& name, const std::string& unit, RowName row) {
  const std::string lower = lower_case(name);
  if (row == RowName::date && lower == "date") return ReadingColumn{CellKind::run, 0, unit, {}, false};
  if (lower == "rpm") return ReadingColumn{CellKind::speed, 0, unit.empty() ? "rpm" : unit, {}, false};
  for (std::size_t i = 0; i < cell_names.size(); ++i)
    if (lower == cell_names[i]) return ReadingColumn{static_cast<CellKind>(i), 0, unit, {}, false};
  return std::nullopt;
}

bool same_use(const ReadingColumn& one, const ReadingColumn& other) {
  return one.kind == other.kind && one.sensor == other.sensor && one.overall == other.overall;
}

bool empty_below(const std::vector<CsvRow>& rows, std::size_t at) {
  return std::all_of(rows.begin(), rows.end(),
                     [&](const CsvRow& row) { return at >= row.cells.size() || row.cells[at].empty(); });
}

/// What the column is called that tells the run of a row.
std::string row_name(RowName row) { return row == RowName::date ? "date" : "run"; }

/// "front [in/s peak], front [deg], ...": what a wide table of this rotor has.
std::string wide_heading(const Rotor& rotor, RowName row) {
  std::string words = row_name(row) + ", speed";
  for (std::size_t s = 0; s < std::min<std::size_t>(rotor.sensors.size(), 2); ++s) {
    const Sensor& sensor = rotor.sensors[s];
    words += ", " + sensor.name + " [" + sensor.unit.text() + "], " + sensor.name + " [deg]";
  }
  return words;
}

std::string both_headings(const Rotor& rotor, RowName row) {
  return row_name(row) + ", speed, sensor, amplitude, phase (one reading in a row), or " +
         wide_heading(rotor, row) + " (one speed in a row)";
}

/// What every row must have. `unknown`: a heading that is none, quoted; empty: all are known.
void check_complete(const std::string& path, const CsvRow& heading, const ReadingColumns& found,
                    const Rotor& rotor, RowName row, const std::string& unknown) {
  const Location where{path, heading.line, {}};
  std::vector<CellKind> needed{CellKind::speed, CellKind::amplitude};
  if (row != RowName::elsewhere) needed.insert(needed.begin(), CellKind::run);
  if (!found.wide) needed.insert(needed.end(), {CellKind::sensor, CellKind::phase});
  for (const auto kind : needed)
    if (found.of(kind) == nullptr)
      throw InputError{
          {"column \"" +
               (kind == CellKind::run ? row_name(row) : cell_names[static_cast<std::size_t>(kind)]) +
               "\" is missing" + (unknown.empty() ? unknown : ", and " + unknown + " is not known"),
           both_headings(rotor, row), where}};
  for (const auto& column : found.columns) {
    if (!column.sensor) continue;
    const std::string& name = rotor.sensors[*column.sensor].name;
    if (column.kind == CellKind::phase && found.of(CellKind::amplitude, *column.sensor, false) == nullptr)
      throw InputError{{"there is a column of phases of \"" + name + "\" and none of its amplitudes",
                        "\"" + name + " [" + rotor.sensors[*column.sensor].unit.text() + "]\"", where}};
    if (column.kind == CellKind::amplitude && !column.overall &&
        found.of(CellKind::phase, *column.sensor, false) == nullptr &&
        found.of(CellKind::component) == nullptr)
      throw InputError{{"there is a column of amplitudes of \"" + name + "\" and none of its phases",
                        "\"" + name + " [deg]\", or \"" + name + " overall [...]\" for unfiltered levels",
                        where}};
  }
}

}  // namespace

std::optional<std::size_t> begun_with(const std::vector<std::string>& sensors, const std::string& words) {
  const auto begins = [&](const std::string& name) {
    return !words.empty() && lower_case(name).starts_with(lower_case(words) + " ");
  };
  const auto found = std::find_if(sensors.begin(), sensors.end(), begins);
  if (found == sensors.end() || std::any_of(found + 1, sensors.end(), begins)) return std::nullopt;
  return static_cast<std::size_t>(found - sensors.begin());
}

HeadingRead read_heading(const std::string& cell) {
  const auto [name, unit] = name_and_unit(cell);
  if (const auto known = named_column(name, unit, RowName::run)) return {known->kind, {}, known->unit, false};
  if (name.empty()) return {CellKind::note, {}, {}, false};
  const auto [sensor, part] = name_and_part(name);
  const bool phase = is_phase_unit(unit) || part == "phase";
  return {phase ? CellKind::phase : CellKind::amplitude, sensor, unit, part == "overall"};
}

const ReadingColumn* ReadingColumns::of(CellKind kind) const {
  const auto found =
      std::find_if(columns.begin(), columns.end(), [&](const auto& one) { return one.kind == kind; });
  return found == columns.end() ? nullptr : &*found;
}

const ReadingColumn* ReadingColumns::of(CellKind kind, std::size_t sensor, bool overall) const {
  for (const auto& one : columns)
    if (one.kind == kind && one.sensor == sensor && one.overall == overall) return &one;
  return nullptr;
}

ReadingColumns reading_columns(const std::string& path, const CsvRow& heading,
                               const std::vector<CsvRow>& rows, const Rotor& rotor, RowName row) {
  std::string unknown;
  ReadingColumns found;
  const auto is_sensor_heading = [](const std::string& cell) {
    return lower_case(name_and_unit(cell).first) == "sensor";
  };
  found.wide = std::none_of(heading.cells.begin(), heading.cells.end(), is_sensor_heading);
  for (std::size_t i = 0; i < heading.cells.size(); ++i) {
    const auto [name, unit] = name_and_unit(heading.cells[i]);
    auto column = named_column(name, unit, row);
    const bool state = column && (column->kind == CellKind::approach || column->kind == CellKind::state);
    const bool of_long_table =
        column && (column->kind == CellKind::amplitude || column->kind == CellKind::phase ||
                   column->kind == CellKind::sd || column->kind == CellKind::phase_of ||
                   (state && sensor_called(rotor, name)));
    if (found.wide && (!column || of_long_table)) column = sensor_column(rotor, name, unit);
    if (!column) {
      if (!name.empty() && unknown.empty()) unknown = "\"" + shortened(heading.cells[i]) + "\"";
      if (!name.empty() || !empty_below(rows, i))
        found.notes.push_back(path + ":" + std::to_string(heading.line) + ": column \"" +
                              shortened(one_line(heading.cells[i])) + "\" is not known and is left out");
      continue;
    }
    column->at = i;
    if (std::any_of(found.columns.begin(), found.columns.end(),
                    [&](const auto& other) { return same_use(*column, other); }))
      throw InputError{{"column \"" + shortened(name) + "\" stands here twice",
                        "each column once",
                        {path, heading.line, shortened(name)}}};
    found.columns.push_back(*column);
  }
  check_complete(path, heading, found, rotor, row, unknown);
  return found;
}

}  // namespace trimwright
