#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.hpp"
#include "csv_rows.hpp"
#include "record_content.hpp"
#include "record_documents.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

/// What a person completes by hand when it was not given at filing.
constexpr const char* asked_entries[] = {
    "manual and revision", "torque", "locking", "part numbers", "tools accounted for",
    "pieces accounted for"};

std::string piece_words(const Json& piece) {
  return piece.is_string() ? piece.get<std::string>()
                           : fmt::format("piece of {:.6g} g mm", piece.at("moment_g_mm").get<double>());
}

constexpr const char* amplitude_key[] = {"amplitude"};
constexpr const char* decimal_keys[] = {"first", "amplitude", "limit", "target"};
constexpr const char* level_keys[] = {"first", "expected", "amplitude", "limit", "target"};

std::string cell(const Json& value, int decimals) {
  return value.is_number() ? fmt::format("{:.{}f}", value.get<double>(), decimals) : "-";
}

std::string phase_cell(const Json& value) { return cell(value, 0) + (value.is_number() ? "°" : ""); }

/// "warm_up 5 min at idle; dwell 60 s".
std::string conditions_words(const Json& conditions) {
  std::string words;
  for (const auto& [key, text] : conditions.items())
    words += (words.empty() ? "" : "; ") + key + " " + text.get<std::string>();
  return words;
}

std::string verdict_words(const std::string& verdict) {
  std::string words = verdict;
  for (char& c : words)
    if (c == '_') c = ' ';
  return words;
}

/// Rows of the sheet: kind, and the cells after it. The text and the CSV say the same.
using SheetRow = std::vector<std::string>;

std::vector<SheetRow> heading_rows(const StoredRecord& record, const Json& content) {
  std::vector<SheetRow> rows{{"record", std::to_string(record.number)},
                             {"job", content.at("title")},
                             {"rotor", content.at("rotor")},
                             {"serial", content.at("serial")},
                             {"station", content.at("station")},
                             {"date", content.at("date")},
                             {"check run", content.at("run")},
                             {"made at", content.at("when")},
                             {"conditions", conditions_words(content.at("conditions"))},
                             {"made by", content.at("person")},
                             {"verdict", verdict_words(content.at("verdict"))},
                             {"filed", content.at("filed_at").get<std::string>() + " by " +
                                           content.at("filed_by").get<std::string>()},
                             {"software", content.at("software")}};
  if (record.record.corrects)
    rows.push_back({"corrects", fmt::format("record {}: {}", *record.record.corrects, record.record.reason)});
  if (record.corrected_by) rows.push_back({"corrected by", fmt::format("record {}", *record.corrected_by)});
  return rows;
}

std::vector<SheetRow> level_rows(const Json& content) {
  const Json& readings = content.at("check").at("readings");
  auto decimals = decimals_by_unit(readings, decimal_keys);
  std::vector<SheetRow> rows;
  for (const auto& one : readings) {
    SheetRow row{cell(one.at("speed_rpm"), 0), one.at("sensor"), one.at("component")};
    for (const char* key : level_keys) row.push_back(cell(one.at(key), decimals[one.at("unit")]));
    row.push_back(one.at("unit"));
    for (const char* key : {"expected_phase_deg", "phase_deg"}) row.push_back(phase_cell(one.at(key)));
    row.push_back(one.at("above_limit") ? "ABOVE LIMIT" : one.at("above_target") ? "above target" : "ok");
    rows.push_back(row);
  }
  return rows;
}

std::vector<SheetRow> weight_rows(const Json& list) {
  std::vector<SheetRow> rows;
  for (const auto& one : list)
    rows.push_back({one.at("plane"),
                    one.at("slot").is_null() ? "-" : std::to_string(one.at("slot").get<int>()),
                    piece_words(one.at("piece")), one.at("part_number"),
                    fmt::format("{:.1f}", one.at("angle_deg").get<double>()), one.at("blade_position")});
  return rows;
}

/// Weights of a list of the document, and the fillers that go the same way.
std::vector<SheetRow> moved_rows(const Json& weights, const char* key) {
  auto rows = weight_rows(weights.at(key));
  for (const auto& one : weights.value(std::string("fillers_") + key, Json::array()))
    rows.push_back({one.at("plane"), std::to_string(one.at("slot").get<int>()), "filler", "", "", ""});
  return rows;
}

std::string places_words(const Json& run) {
  std::string words;
  for (const auto& [key, sign] : {std::pair{"fitted", "+ "}, std::pair{"removed", "- "}})
    for (const auto& row : weight_rows(run.at(key)))
      words += (words.empty() ? "" : "; ") + std::string(sign) + row[0] + " " + row[1] + " " + row[2];
  return words.empty() ? "as found" : words;
}

/// Older records do not list their runs.
std::vector<SheetRow> run_rows(const Json& content) {
  std::vector<SheetRow> rows;
  for (const auto& one : content.value("runs", Json::array()))
    rows.push_back(
        {one.at("run"), one.at("when"), one.at("person"), places_words(one),
         conditions_words(one.at("conditions")),
         one.at("set_aside").is_null() ? "" : "set aside: " + one.at("set_aside").get<std::string>()});
  return rows;
}

std::vector<SheetRow> reading_rows(const Json& content) {
  std::vector<SheetRow> rows;
  for (const auto& run : content.value("runs", Json::array())) {
    auto decimals = decimals_by_unit(run.at("readings"), amplitude_key);
    for (const auto& one : run.at("readings"))
      rows.push_back({run.at("run"), cell(one.at("speed_rpm"), 0), one.at("sensor"), one.at("component"),
                      cell(one.at("amplitude"), decimals[one.at("unit")]), phase_cell(one.at("phase_deg")),
                      one.at("unit")});
  }
  return rows;
}

std::vector<SheetRow> entry_rows(const Json& content) {
  std::vector<SheetRow> rows;
  const auto& given = content.at("entries");
  for (const char* key : asked_entries) rows.push_back({key, given.value(key, "")});
  for (const auto& [key, text] : given.items())
    if (std::find(std::begin(asked_entries), std::end(asked_entries), key) == std::end(asked_entries))
      rows.push_back({key, text.get<std::string>()});
  return rows;
}

/// Code points, which is what the names here take in columns.
std::size_t width(const std::string& text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

/// Columns as wide as their widest cell.
std::string table(const SheetRow& names, const std::vector<SheetRow>& rows) {
  std::vector<std::size_t> widths;
  for (const auto& name : names) widths.push_back(width(name));
  for (const auto& row : rows)
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], width(row[i]));
  const auto line = [&](const SheetRow& row) {
    std::string text = " ";
    for (std::size_t i = 0; i < row.size(); ++i)
      text += " " + one_line(row[i]) + std::string(widths[i] - width(row[i]) + 1, ' ');
    text.erase(text.find_last_not_of(' ') + 1);
    return text + "\n";
  };
  std::string text = line(names);
  for (const auto& row : rows) text += line(row);
  if (rows.empty()) text += "  none\n";
  return text;
}

/// Four digits and a blank, sixteen times, in two lines.
std::string digest_lines(const Digest& digest) {
  const std::string digits = hex(digest);
  std::string text;
  for (std::size_t i = 0; i < digits.size(); i += 4)
    text += (i == 0 || i == 32 ? "    " : " ") + digits.substr(i, 4) + (i == 28 || i == 60 ? "\n" : "");
  return text;
}

constexpr const char* blank = "____________________";

const SheetRow level_heading{"rpm",   "sensor", "component", "before",         "expected", "after",
                             "limit", "target", "unit",      "expected phase", "phase",    "result"};
const SheetRow run_heading{"run", "when", "made by", "weights, against as found", "conditions", ""};
const SheetRow reading_heading{"run", "rpm", "sensor", "component", "amplitude", "phase", "unit"};
const SheetRow weight_heading{"plane", "slot", "piece", "part number", "angle", "blades"};

}  // namespace

Result<std::string> sheet_text(const StoredRecord& record) {
  return from_content(record, [&](const Json& content) {
    const Json& weights = content.at("weights");
    std::string text = "Trim balance: before and after\n==============================\n";
    for (const auto& row : heading_rows(record, content))
      text += fmt::format("{:13} {}\n", row[0] + ":", one_line(row[1]));
    text += "\nLEVELS\n" + table(level_heading, level_rows(content));
    text += "\nWEIGHTS REMOVED (against as found; angles with rotation, from the " +
            one_line(content.at("angles_from").get<std::string>()) + ")\n" +
            table(weight_heading, moved_rows(weights, "removed"));
    text += "\nWEIGHTS FITTED\n" + table(weight_heading, moved_rows(weights, "fitted"));
    text += "\nALL THAT IS FITTED NOW\n" + table(weight_heading, weight_rows(weights.at("now")));
    text += "\nRUNS\n" + table(run_heading, run_rows(content));
    text += "\nREADINGS OF THE RUNS\n" + table(reading_heading, reading_rows(content));
    text += "\nENTRIES\n";
    for (const auto& row : entry_rows(content))
      text += fmt::format("  {:21} {}\n", one_line(row[0]) + ":",
                          row[1].empty() ? std::string(blank) : one_line(row[1]));
    text += "\nSIGNATURES\n";
    for (const auto& role : signature_roles())
      text += fmt::format("  {:33} {}  date {}\n", role + ":", blank, "__________");
    text +=
        "\nDIGEST of this record, which covers all records before it (trimwright record prove --expect)\n" +
        digest_lines(record.digest);
    text += "\nCAUTION\n";
    for (const auto& caution : content.at("cautions")) text += "  ! " + caution.get<std::string>() + "\n";
    return text;
  });
}

Result<std::string> sheet_csv(const StoredRecord& record) {
  return from_content(record, [&](const Json& content) {
    std::string text;
    const auto add = [&](const std::string& kind, const std::vector<SheetRow>& rows) {
      for (const auto& row : rows) {
        SheetRow line{kind};
        line.insert(line.end(), row.begin(), row.end());
        line.resize(level_heading.size() + 1);
        text += csv_line(line);
      }
    };
    add("heading", heading_rows(record, content));
    add("level heading", {level_heading});
    add("level", level_rows(content));
    add("weight heading", {weight_heading});
    add("removed", moved_rows(content.at("weights"), "removed"));
    add("fitted", moved_rows(content.at("weights"), "fitted"));
    add("fitted now", weight_rows(content.at("weights").at("now")));
    add("run heading", {run_heading});
    add("run", run_rows(content));
    add("reading heading", {reading_heading});
    add("reading", reading_rows(content));
    add("entry", entry_rows(content));
    for (const auto& role : signature_roles()) add("signature", {{role}});
    add("digest", {{hex(record.digest)}});
    for (const auto& caution : content.at("cautions")) add("caution", {{caution.get<std::string>()}});
    return text;
  });
}

}  // namespace trimwright
