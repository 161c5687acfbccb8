#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <span>
#include <tuple>

#include "base/text.hpp"
#include "record_content.hpp"
#include "report/plan_parts.hpp"
#include "report/text_table.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

/// Decimals that four significant digits of `value` need, zeros at the end left off; four at most.
int decimals_of(double value) {
  const int whole = value == 0.0 ? 1 : static_cast<int>(std::floor(std::log10(std::abs(value)))) + 1;
  std::string digits = fmt::format("{:.{}f}", value, std::clamp(4 - whole, 0, 4));
  if (digits.find('.') == std::string::npos) return 0;
  digits.erase(digits.find_last_not_of('0') + 1);
  return static_cast<int>(digits.size() - digits.find('.') - 1);
}

/// Decimals of all amplitudes (`keys` of each reading) in a unit, so that they stand alike: 0.400 beside
/// 0.046.
std::map<std::string, int> decimals_by_unit(const Json& readings, std::span<const char* const> keys) {
  std::map<std::string, int> decimals;
  for (const auto& one : readings)
    for (const char* key : keys)
      if (one.at(key).is_number()) {
        int& most = decimals[one.at("unit").get<std::string>()];
        most = std::max(most, decimals_of(one.at(key).get<double>()));
      }
  return decimals;
}

/// A speed and sensor of a rotor's history, with its readings in the order of the records.
struct HistoryRow {
  double rpm = 0.0;
  std::string sensor, unit;
  std::string state;  ///< as `state_in` tells it
  std::vector<std::pair<const StoredRecord*, Json>> readings;
};

void add_to_history(const StoredRecord& record, const Json& content, std::vector<HistoryRow>& rows) {
  Rotor rotor;
  rotor.speed_tolerance_rpm = content.value("speed_tolerance_rpm", 0.0);
  for (const auto& one : content.at("check").at("readings")) {
    if (one.at("component") != "once-per-rev") continue;
    const double rpm = one.at("speed_rpm");
    auto row = std::find_if(rows.begin(), rows.end(), [&](const HistoryRow& r) {
      return r.sensor == one.at("sensor") && r.unit == one.at("unit") && r.state == state_in(one) &&
             same_speed(rotor, r.rpm, rpm);
    });
    if (row == rows.end()) row = rows.insert(row, {rpm, one.at("sensor"), one.at("unit"), state_in(one), {}});
    row->readings.emplace_back(&record, one);
  }
}

Result<std::vector<HistoryRow>> history_of(const std::vector<StoredRecord>& records) {
  std::vector<HistoryRow> rows;
  for (const auto& record : records) {
    if (holds_readings(record.record)) continue;
    const auto added = from_content(record, [&](const Json& content) {
      add_to_history(record, content, rows);
      return true;
    });
    if (!added) return tl::unexpected(added.error());
  }
  std::stable_sort(rows.begin(), rows.end(), [](const HistoryRow& a, const HistoryRow& b) {
    return std::tie(a.rpm, a.sensor, a.state) < std::tie(b.rpm, b.sensor, b.state);
  });
  return rows;
}

/// Before, after, limit and target of each record at one place, with the same decimals all down.
std::string history_table(const HistoryRow& row) {
  constexpr const char* keys[] = {"first", "amplitude", "limit", "target"};
  Json readings = Json::array();
  for (const auto& [record, entry] : row.readings) readings.push_back(entry);
  const int decimals = decimals_by_unit(readings, keys)[row.unit];
  std::string text = fmt::format(
      "\n{:.0f} rpm{}, {} ({})\n  record  date        {:>8}  {:>8}  {:>8}  {:>8}\n", row.rpm,
      one_line(row.state), one_line(row.sensor), one_line(row.unit), "before", "after", "limit", "target");
  for (const auto& [record, entry] : row.readings) {
    text += fmt::format("  {:6}  {:10}", record->number, one_line(record->record.date));
    for (const char* key : keys)
      text += fmt::format("  {:>8}", entry.at(key).is_number()
                                         ? fmt::format("{:.{}f}", entry.at(key).get<double>(), decimals)
                                         : "-");
    text += record->corrected_by ? fmt::format("  corrected by record {}\n", *record->corrected_by) : "\n";
  }
  return text;
}

/// What must be known of a record before its levels are taken for its rotor's.
std::string history_remarks(const StoredRecord& record) {
  const auto words = from_content(record, [&](const Json& content) {
    std::string text;
    if (content.contains("wrong_serial"))
      text += wrapped("    ", fmt::format("corrects record {}, which was filed under serial {} by mistake",
                                          record.record.corrects.value_or(0),
                                          one_line(content.at("wrong_serial").get<std::string>())));
    if (const auto earlier = earlier_visit_words(content); !earlier.empty())
      text += wrapped("    ! ", one_line(earlier));
    return text;
  });
  return words.value_or(std::string{});
}

}  // namespace

Result<std::string> history_text(const std::vector<StoredRecord>& records) {
  if (records.empty()) return "No record.\n";
  const auto rows = history_of(records);
  if (!rows) return tl::unexpected(rows.error());
  std::string text = "History of " + one_line(records.front().record.rotor) + ", serial " +
                     one_line(records.front().record.serial) + "\n";
  for (const auto& one : records) {
    text += fmt::format(
        "  record {:4}  {}  {}{}\n", one.number, one_line(one.record.date), one_line(one.record.verdict),
        one.corrected_by
            ? fmt::format("  (corrected by record {}{})", *one.corrected_by, wrong_serial_words(one))
            : "");
    if (!holds_readings(one.record)) text += history_remarks(one);
  }
  for (const auto& row : *rows) text += history_table(row);
  return text + caution_lines();
}

Result<std::string> history_json(const std::vector<StoredRecord>& records) {
  const auto history = history_of(records);
  if (!history) return tl::unexpected(history.error());
  Json rows = Json::array();
  for (const auto& row : *history) {
    Json readings = Json::array();
    for (const auto& [record, entry] : row.readings)
      readings.push_back({{"record", record->number},
                          {"date", record->record.date},
                          {"corrected_by", or_null(record->corrected_by)},
                          {"before", entry.at("first")},
                          {"after", entry.at("amplitude")},
                          {"after_phase_deg", entry.at("phase_deg")},
                          {"limit", entry.at("limit")},
                          {"target", entry.at("target")}});
    rows.push_back(
        {{"speed_rpm", row.rpm}, {"sensor", row.sensor}, {"unit", row.unit}, {"readings", readings}});
    for (const char* key : {"approach", "state"})
      if (const Json& first = row.readings.front().second; first.contains(key))
        rows.back()[key] = first.at(key);
  }
  const Json json = {{"trimwright", "history 1"},
                     {"rotor", records.empty() ? "" : records.front().record.rotor},
                     {"serial", records.empty() ? "" : records.front().record.serial},
                     {"levels", rows},
                     {"cautions", cautions()}};
  return json.dump(2) + "\n";
}

}  // namespace trimwright
