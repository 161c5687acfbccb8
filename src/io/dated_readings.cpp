#include "dated_readings.hpp"

#include <algorithm>
#include <cctype>
#include <map>

#include "base/date.hpp"
#include "base/text.hpp"
#include "read_readings.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

bool is_time(const std::string& text) {
  const auto digit = [&](std::size_t i) { return std::isdigit(static_cast<unsigned char>(text[i])) != 0; };
  return text.size() == 5 && digit(0) && digit(1) && text[2] == ':' && digit(3) && digit(4) &&
         text.substr(0, 2) < "24" && text[3] < '6';
}

void add_note(Run& run, const std::string& note) {
  if (note.empty()) return;
  auto& other = run.conditions.other;
  if (other.empty()) other.emplace_back("note", note);
  std::string& text = other.front().second;
  if (text.find(note) == text.npos) text += "; " + note;
}

DatedReadings dated(const ReadingTable& table, const std::string& path, const Rotor& rotor) {
  std::map<std::string, Run> dates;
  for (const auto& row : table.readings) {
    const auto when = parse_when(row.run);
    if (!when)
      throw InputError{{when.error().what, when.error().expected, {path, row.reading.where.line, "date"}}};
    Run& run = dates[*when];
    run.name = run.conditions.when = *when;
    add_note(run, shortened(row.reading.note, 300));
    const Reading reading = to_reading(row.reading, rotor);
    if (row.reading.missing)
      run.missing.push_back(
          {reading.rpm, reading.sensor, shortened(row.reading.note), reading.where, reading.state});
    else
      run.readings.push_back(reading);
  }
  DatedReadings all{{}, table.notes};
  for (auto& [when, run] : dates)
    if (!run.readings.empty()) all.dates.push_back(std::move(run));
  if (all.dates.empty())
    throw InputError{{"the table has no reading", "a date and a reading in each row", {path, 0, {}}}};
  return all;
}

}  // namespace

Result<std::string> parse_when(const std::string& text) {
  const bool date = parse_date(std::string_view(text).substr(0, 10)).has_value();
  const bool time = text.size() > 11 && (text[10] == ' ' || text[10] == 'T') && is_time(text.substr(11));
  if (date && (text.size() == 10 || time))
    return text.size() == 10 ? text : text.substr(0, 10) + " " + text.substr(11);
  return fail(text.empty() ? "the date is empty" : "\"" + shortened(text) + "\" is no date",
              "year, month and day, as 2031-05-12 or 2031-05-12 14:20");
}

Result<DatedReadings> read_dated_table(const std::string& path, const Rotor& rotor) {
  if (rotor.phase == PhaseConvention::unknown)
    return fail("the rotor file does not say whether phase is lag or lead, and no runs can tell it here",
                "\"phase: lag\" or \"phase: lead\" in the rotor file", {path, 0, {}});
  const auto table = read_table(path, rotor, RowName::date);
  if (!table) return tl::unexpected(table.error());
  try {
    return dated(*table, path, rotor);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
