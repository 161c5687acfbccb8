#include "start_table.hpp"

#include <algorithm>
#include <map>
#include <set>

#include "base/name.hpp"
#include "base/text.hpp"
#include "read_readings.hpp"
#include "start_lists.hpp"
#include "trade_values.hpp"
#include "trimwright/files.hpp"
#include "trimwright/phasor.hpp"
#include "written_reading.hpp"

namespace trimwright {
namespace {

constexpr const char* sensor_headings =
    "two columns for each sensor, such as \"front [in/s peak]\" and \"front [deg]\", or a column \"sensor\"";

/// A sensor as headings or cells name it.
struct NamedSensor {
  std::string name, unit;  ///< the unit as written; empty: not yet
  bool has_phase = false;
};

NamedSensor& named_sensor(std::vector<NamedSensor>& sensors, const std::string& name) {
  const auto found = std::find_if(sensors.begin(), sensors.end(),
                                  [&](const auto& one) { return lower_case(one.name) == lower_case(name); });
  return found != sensors.end() ? *found : sensors.emplace_back(NamedSensor{name, {}, false});
}

bool is_heading_of(const std::string& cell, CellKind kind) {
  const auto heading = read_heading(cell);
  return heading.sensor.empty() && heading.kind == kind;
}

/// The cell of a row below the first heading of a kind; empty where there is none.
std::string cell_below(const TableText& table, const CsvRow& row, CellKind kind) {
  for (std::size_t i = 0; i < table.heading.cells.size() && i < row.cells.size(); ++i)
    if (is_heading_of(table.heading.cells[i], kind)) return row.cells[i];
  return {};
}

/// "0,5 in/s peak" without its number.
std::string unit_behind(const std::string& cell) {
  const auto at = cell.find_first_not_of("+-0123456789.,eE ");
  return at == cell.npos ? std::string{} : cell.substr(at);
}

/// Phases headed "inlet phase" go to the only sensor whose name begins so, "inlet bearing", where it has
/// none.
void give_phases(std::vector<NamedSensor>& sensors) {
  for (std::size_t i = sensors.size(); i-- > 0;) {
    if (!sensors[i].has_phase || !sensors[i].unit.empty()) continue;
    const auto found = begun_with(names_of(sensors), sensors[i].name);
    if (!found || sensors[*found].has_phase) continue;
    sensors[*found].has_phase = true;
    sensors.erase(sensors.begin() + static_cast<std::ptrdiff_t>(i));
  }
}

std::vector<NamedSensor> sensors_in(const TableText& table) {
  std::vector<NamedSensor> sensors;
  std::string amplitude_unit;
  for (const auto& cell : table.heading.cells) {
    const auto heading = read_heading(cell);
    if (heading.sensor.empty()) {
      if (heading.kind == CellKind::amplitude) amplitude_unit = heading.unit;
      continue;
    }
    NamedSensor& sensor = named_sensor(sensors, heading.sensor);
    if (heading.kind == CellKind::phase)
      sensor.has_phase = true;
    else if (sensor.unit.empty() || !heading.overall)
      sensor.unit = heading.unit;
  }
  const bool is_long = std::any_of(table.heading.cells.begin(), table.heading.cells.end(),
                                   [](const auto& cell) { return is_heading_of(cell, CellKind::sensor); });
  if (!is_long) {  // other columns ("wind") have neither a phase nor a unit of vibration
    give_phases(sensors);
    std::erase_if(sensors, [](const auto& one) { return !one.has_phase && !parse_vibration_unit(one.unit); });
    return sensors;
  }
  sensors.clear();
  for (const auto& row : table.rows) {
    NamedSensor& sensor = named_sensor(sensors, cell_below(table, row, CellKind::sensor));
    if (sensor.unit.empty()) sensor.unit = unit_behind(cell_below(table, row, CellKind::amplitude));
    if (sensor.unit.empty()) sensor.unit = amplitude_unit;
  }
  return sensors;
}

/// The phase convention that the headings name; empty: none.
std::string phase_of_headings(const TableText& table) {
  for (const auto& cell : table.heading.cells) {
    const auto heading = read_heading(cell);
    for (const auto* const way : {"lag", "lead"})
      if (heading.kind == CellKind::phase && lower_case(heading.unit).ends_with(way)) return way;
  }
  return {};
}

/// Whether every run was read at the same speeds: then they are speeds that people set.
bool same_speeds_in_all(const ReadingTable& table) {
  std::map<std::string, std::set<std::string>> speeds;
  for (const auto& one : table.readings) speeds[one.run].insert(one.reading.speed);
  return std::all_of(speeds.begin(), speeds.end(),
                     [&](const auto& run) { return run.second == speeds.begin()->second; });
}

void add_once(std::vector<std::string>& all, const std::string& one) {
  if (!one.empty() && std::none_of(all.begin(), all.end(), [&](const auto& had) { return alike(had, one); }))
    all.push_back(one);
}

}  // namespace

Result<void> take_table(const std::string& path, StartJob& job) {
  const auto table = read_table_text(path, RowName::elsewhere);
  if (!table) return tl::unexpected(table.error());
  const Location heading{path, table->heading.line, {}};
  Rotor rotor;
  for (const auto& one : sensors_in(*table)) {
    const auto unit = parse_vibration_unit(one.unit);
    if (!unit)
      return fail(
          "sensor \"" + shortened(one.name) +
              "\": " + (one.unit.empty() ? "its amplitudes have no unit" : unit.error().what),
          "the unit with peak, pp or rms in the heading, such as \"" + shortened(one.name) + " [in/s peak]\"",
          heading);
    const auto name = parse_name(one.name);
    if (!name) return fail(name.error().what, sensor_headings, heading);
    job.sensors.push_back({*name, *unit});
    rotor.sensors.push_back({});
    rotor.sensors.back().name = *name;
    rotor.sensors.back().unit = *unit;
  }
  if (job.sensors.empty()) return fail("no column is of a sensor", sensor_headings, heading);
  const auto read = read_table(path, rotor, RowName::elsewhere);
  if (!read) return tl::unexpected(read.error());

  std::vector<std::string> runs;
  for (const auto& one : read->readings) {
    add_once(runs, one.run);
    add_once(job.speeds, one.reading.speed);
    job.has_readings = job.has_readings || !one.reading.missing;
  }
  for (const auto& row : table->rows)
    if (runs.empty()) add_once(runs, cell_below(*table, row, CellKind::run));
  for (const auto& speed : read->blank_speeds)
    if (!job.has_readings) add_once(job.speeds, speed);
  if (!runs.empty()) {
    job.runs.clear();
    for (const auto& run : runs) job.runs.push_back({run});
  }
  job.table_names_runs = std::any_of(table->heading.cells.begin(), table->heading.cells.end(),
                                     [](const auto& cell) { return is_heading_of(cell, CellKind::run); });
  job.speeds_were_set = same_speeds_in_all(*read);
  job.told.insert({"readings", "sensors", "speeds"});
  if (const auto phase = phase_of_headings(*table); !phase.empty()) {
    job.phase = phase;
    job.told.insert("phase");
  }
  return {};
}

Result<void> check_table(const std::string& path, const std::string& rotor_text) {
  const auto rotor = parse_rotor("rotor.yaml", rotor_text);
  if (!rotor) return tl::unexpected(rotor.error());
  const auto read = read_table(path, *rotor, RowName::elsewhere);
  if (!read) return tl::unexpected(read.error());
  try {
    for (const auto& one : read->readings) (void)to_reading(one.reading, *rotor);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
  return {};
}

}  // namespace trimwright
