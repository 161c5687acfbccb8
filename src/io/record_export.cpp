#include "record_export.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "csv_rows.hpp"
#include "record_content.hpp"
#include "records/refusals.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

std::string number_cell(const Json& value, char decimal) {
  std::string cell = value.is_number() ? fmt::format("{:.6g}", value.get<double>()) : "";
  std::replace(cell.begin(), cell.end(), '.', decimal);
  return cell;
}

char between_cells(char decimal) { return decimal == ',' ? ';' : ','; }

std::string export_csv_heading(char decimal) {
  return csv_line(
      {"record",      "date",     "rotor",        "serial",          "station",         "person",
       "verdict",     "corrects", "corrected_by", "speed_rpm",       "sensor",          "unit",
       "component",   "before",   "after",        "after_phase_deg", "expected",        "expected_phase_deg",
       "expected_sd", "limit",    "target",       "filed_at",        "filed_by",        "digest",
       "reason",      "entries",  "taken_out",    "put_in",          "before_phase_deg"},
      between_cells(decimal));
}

/// "spinner slot 8 K2; drum slot 3 piece of 780 g mm".
std::string weights_cell(const Json& places) {
  std::string words;
  for (const auto& one : places) {
    words += fmt::format("{}{} slot {} {}", words.empty() ? "" : "; ", one.at("plane").get<std::string>(),
                         one.at("slot").get<int>(), piece_words(piece_in(one.at("piece"))));
  }
  return words;
}

std::string entries_cell(const Json& entries) {
  std::string words;
  for (const auto& [key, text] : entries.items())
    words += (words.empty() ? "" : "; ") + key + ": " + text.get<std::string>();
  return words;
}

/// What stands in every row of a trim: entries, weights taken out, weights put in.
std::vector<std::string> trim_cells(const Json& content) {
  const Json& weights = content.at("weights");
  return {entries_cell(content.at("entries")), weights_cell(weights.at("removed")),
          weights_cell(weights.at("fitted"))};
}

/// A row of what was read, with what it is held against where it is of a trim.
std::string export_row(const StoredRecord& one, const std::string& date, const Json& reading,
                       const std::vector<std::string>& of_trim, const Json* as_found, char decimal) {
  const Record& record = one.record;
  const auto number = [](const std::optional<std::int64_t>& n) { return n ? std::to_string(*n) : ""; };
  std::vector<std::string> cells{std::to_string(one.number),
                                 date,
                                 record.rotor,
                                 record.serial,
                                 record.station,
                                 record.person,
                                 record.verdict,
                                 number(record.corrects),
                                 number(one.corrected_by),
                                 number_cell(reading.at("speed_rpm"), decimal),
                                 reading.at("sensor"),
                                 reading.at("unit"),
                                 reading.at("component")};
  for (const char* key : {"first", "amplitude", "phase_deg", "expected", "expected_phase_deg", "expected_sd",
                          "limit", "target"})
    cells.push_back(number_cell(reading.value(key, Json()), decimal));
  cells.insert(cells.end(), {record.filed_at, record.filed_by, hex(one.digest), record.reason});
  cells.insert(cells.end(), of_trim.begin(), of_trim.end());
  cells.push_back(as_found == nullptr ? "" : number_cell(as_found->at("phase_deg"), decimal));
  return csv_line(cells, between_cells(decimal));
}

/// One row per reading of the record, RFC 4180; with `decimal` ',' semicolons between the cells.
Result<std::string> export_csv(const StoredRecord& one, char decimal) {
  return from_any_content(one, [&](const Json& content) {
    std::string text;
    if (holds_readings(one.record)) {
      for (const auto& run : content.at("runs"))
        for (const auto& reading : run.at("readings"))
          text += export_row(one, run.at("when").get<std::string>().substr(0, 10), reading, {"", "", ""},
                             nullptr, decimal);
      return text;
    }
    const auto of_trim = trim_cells(content);
    for (const auto& reading : content.at("check").at("readings"))
      text += export_row(one, one.record.date, reading, of_trim,
                         as_found_in(content, reading, reading.at("component") == "overall"), decimal);
    return text;
  });
}

struct Frame {
  std::string begin, between, end;
};

/// Of a table: the sign before the decimals.
std::optional<char> decimal_of(ExportForm form) {
  return form == ExportForm::csv             ? std::optional('.')
         : form == ExportForm::csv_of_commas ? std::optional(',')
                                             : std::nullopt;
}

Frame frame_of(ExportForm form) {
  if (form == ExportForm::lines) return {};
  if (const auto decimal = decimal_of(form)) return {export_csv_heading(*decimal), "", ""};
  return {"{\"trimwright\": \"export 1\",\n\"records\": [\n", ",\n",
          "\n],\n\"cautions\": " + Json(cautions()).dump() + "}\n"};
}

Result<std::string> exported(const StoredRecord& record, ExportForm form) {
  if (form == ExportForm::lines) return export_line(record);
  const auto decimal = decimal_of(form);
  return decimal ? export_csv(record, *decimal) : export_json(record);
}

}  // namespace

Result<void> export_records(const Archive& archive, const RecordQuery& query, ExportForm form,
                            const WritePart& write) {
  const Frame frame = frame_of(form);
  if (const auto begun = write(frame.begin); !begun) return begun;
  bool first = true;
  const auto all = archive.each(query, [&](StoredRecord& one) -> Result<void> {
    if (!one.holds) return tl::unexpected(not_as_filed(one.number));
    auto part = exported(one, form);
    if (!part) return tl::unexpected(part.error());
    return write(std::exchange(first, false) ? *part : frame.between + *part);
  });
  return all ? write(frame.end) : all;
}

}  // namespace trimwright
