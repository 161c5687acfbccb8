#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "csv_rows.hpp"
#include "json_parts.hpp"
#include "trimwright/base/text.hpp"
#include "trimwright/io/record_documents.hpp"
#include "trimwright/plan/balance_plan.hpp"

namespace trimwright {
namespace {

std::string number_cell(const Json& value) {
  return value.is_number() ? fmt::format("{:.6g}", value.get<double>()) : "";
}

/// One reading of one record.
struct FiledReading {
  const StoredRecord* record = nullptr;
  double rpm = 0.0;
  std::string sensor, unit, component;
  Json entry;
};

std::vector<FiledReading> readings_of(const StoredRecord& record) {
  std::vector<FiledReading> readings;
  const auto content = Json::parse(record.record.content);
  for (const auto& one : content.at("check").at("readings"))
    readings.push_back(
        {&record, one.at("speed_rpm"), one.at("sensor"), one.at("unit"), one.at("component"), one});
  return readings;
}

/// A speed and sensor of a rotor's history, with its readings in the order of the records.
struct HistoryRow {
  double rpm = 0.0;
  std::string sensor, unit;
  std::vector<FiledReading> readings;
};

double tolerance_of(const StoredRecord& record) {
  return Json::parse(record.record.content).value("speed_tolerance_rpm", 0.0);
}

std::vector<HistoryRow> history_of(const std::vector<StoredRecord>& records) {
  std::vector<HistoryRow> rows;
  for (const auto& record : records) {
    const double tolerance = tolerance_of(record);
    for (auto& one : readings_of(record)) {
      if (one.component != "once-per-rev") continue;
      auto row = std::find_if(rows.begin(), rows.end(), [&](const HistoryRow& r) {
        return r.sensor == one.sensor && r.unit == one.unit && std::abs(r.rpm - one.rpm) <= tolerance;
      });
      if (row == rows.end()) row = rows.insert(row, {one.rpm, one.sensor, one.unit, {}});
      row->readings.push_back(std::move(one));
    }
  }
  std::stable_sort(rows.begin(), rows.end(), [](const HistoryRow& a, const HistoryRow& b) {
    return std::tie(a.rpm, a.sensor) < std::tie(b.rpm, b.sensor);
  });
  return rows;
}

std::string short_number(const Json& value) {
  return value.is_number() ? fmt::format("{:.3g}", value.get<double>()) : "-";
}

}  // namespace

std::string export_csv(const std::vector<StoredRecord>& records) {
  std::string text = csv_line(
      {"record",      "date",     "rotor",        "serial",          "station",  "person",
       "verdict",     "corrects", "corrected_by", "speed_rpm",       "sensor",   "unit",
       "component",   "before",   "after",        "after_phase_deg", "expected", "expected_phase_deg",
       "expected_sd", "limit",    "target",       "filed_at",        "filed_by", "digest"});
  for (const auto& record : records)
    for (const auto& one : readings_of(record))
      text += csv_line({std::to_string(record.number),
                        record.record.date,
                        record.record.rotor,
                        record.record.serial,
                        record.record.station,
                        record.record.person,
                        record.record.verdict,
                        record.record.corrects ? std::to_string(*record.record.corrects) : "",
                        record.corrected_by ? std::to_string(*record.corrected_by) : "",
                        fmt::format("{:.6g}", one.rpm),
                        one.sensor,
                        one.unit,
                        one.component,
                        number_cell(one.entry.at("first")),
                        number_cell(one.entry.at("amplitude")),
                        number_cell(one.entry.at("phase_deg")),
                        number_cell(one.entry.at("expected")),
                        number_cell(one.entry.at("expected_phase_deg")),
                        number_cell(one.entry.at("expected_sd")),
                        number_cell(one.entry.at("limit")),
                        number_cell(one.entry.at("target")),
                        record.record.filed_at,
                        record.record.filed_by,
                        hex(record.digest)});
  return text;
}

std::string history_text(const std::vector<StoredRecord>& records) {
  if (records.empty()) return "No record.\n";
  std::string text = "History of " + one_line(records.front().record.rotor) + ", serial " +
                     one_line(records.front().record.serial) + "\n";
  for (const auto& one : records)
    text += fmt::format("  record {:4}  {}  {}{}\n", one.number, one_line(one.record.date),
                        one_line(one.record.verdict),
                        one.corrected_by ? fmt::format("  (corrected by record {})", *one.corrected_by) : "");
  for (const auto& row : history_of(records)) {
    text += fmt::format("\n{:.0f} rpm, {} ({})\n  record  date        before   after   limit\n", row.rpm,
                        one_line(row.sensor), one_line(row.unit));
    for (const auto& one : row.readings)
      text += fmt::format("  {:6}  {:10}  {:>6}  {:>6}  {:>6}\n", one.record->number,
                          one_line(one.record->record.date), short_number(one.entry.at("first")),
                          short_number(one.entry.at("amplitude")), short_number(one.entry.at("limit")));
  }
  text += "\nCAUTION\n";
  for (const auto& caution : cautions()) text += "  ! " + caution + "\n";
  return text;
}

std::string history_json(const std::vector<StoredRecord>& records) {
  Json rows = Json::array();
  for (const auto& row : history_of(records)) {
    Json readings = Json::array();
    for (const auto& one : row.readings)
      readings.push_back(
          {{"record", one.record->number},
           {"date", one.record->record.date},
           {"corrected_by", one.record->corrected_by ? Json(*one.record->corrected_by) : Json(nullptr)},
           {"before", one.entry.at("first")},
           {"after", one.entry.at("amplitude")},
           {"after_phase_deg", one.entry.at("phase_deg")},
           {"limit", one.entry.at("limit")}});
    rows.push_back(
        {{"speed_rpm", row.rpm}, {"sensor", row.sensor}, {"unit", row.unit}, {"readings", readings}});
  }
  const Json json = {{"trimwright", "history 1"},
                     {"rotor", records.empty() ? "" : records.front().record.rotor},
                     {"serial", records.empty() ? "" : records.front().record.serial},
                     {"levels", rows},
                     {"cautions", cautions()}};
  return json.dump(2) + "\n";
}

}  // namespace trimwright
