#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "csv_rows.hpp"
#include "json_parts.hpp"
#include "trimwright/base/text.hpp"
#include "trimwright/io/record_documents.hpp"
#include "trimwright/plan/balance_plan.hpp"

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

constexpr const char* level_keys[] = {"first", "amplitude", "limit", "target"};

/// Decimals that four significant digits of `value` need, zeros at the end left off; four at most.
int decimals_of(double value) {
  const int whole = value == 0.0 ? 1 : static_cast<int>(std::floor(std::log10(std::abs(value)))) + 1;
  std::string digits = fmt::format("{:.{}f}", value, std::clamp(4 - whole, 0, 4));
  if (digits.find('.') == std::string::npos) return 0;
  digits.erase(digits.find_last_not_of('0') + 1);
  return static_cast<int>(digits.size() - digits.find('.') - 1);
}

/// Decimals of all levels in a unit, so that they stand alike: 0.400 beside 0.046.
std::map<std::string, int> decimals_by_unit(const Json& readings) {
  std::map<std::string, int> decimals;
  for (const auto& one : readings)
    for (const char* key : level_keys)
      if (one.at(key).is_number()) {
        int& most = decimals[one.at("unit").get<std::string>()];
        most = std::max(most, decimals_of(one.at(key).get<double>()));
      }
  return decimals;
}

std::string cell(const Json& value, int decimals) {
  return value.is_number() ? fmt::format("{:.{}f}", value.get<double>(), decimals) : "-";
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
                             {"rotor", content.at("rotor")},
                             {"serial", content.at("serial")},
                             {"station", content.at("station")},
                             {"date", content.at("date")},
                             {"check run", content.at("run")},
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
  auto decimals = decimals_by_unit(readings);
  std::vector<SheetRow> rows;
  for (const auto& one : readings) {
    SheetRow row{cell(one.at("speed_rpm"), 0), one.at("sensor"), one.at("component")};
    for (const char* key : level_keys) row.push_back(cell(one.at(key), decimals[one.at("unit")]));
    row.push_back(one.at("unit"));
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
std::string table(const SheetRow& heading, const std::vector<SheetRow>& rows) {
  std::vector<std::size_t> widths;
  for (const auto& name : heading) widths.push_back(width(name));
  for (const auto& row : rows)
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], width(row[i]));
  const auto line = [&](const SheetRow& row) {
    std::string text = " ";
    for (std::size_t i = 0; i < row.size(); ++i)
      text += " " + one_line(row[i]) + std::string(widths[i] - width(row[i]) + 1, ' ');
    text.erase(text.find_last_not_of(' ') + 1);
    return text + "\n";
  };
  std::string text = line(heading);
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

const SheetRow level_heading{"rpm",   "sensor", "component", "before", "after",
                             "limit", "target", "unit",      "result"};
const SheetRow weight_heading{"plane", "slot", "piece", "part number", "angle", "blades"};

}  // namespace

std::string sheet_text(const StoredRecord& record) {
  const auto content = Json::parse(record.record.content);
  std::string text = "Trim balance: before and after\n==============================\n";
  for (const auto& row : heading_rows(record, content))
    text += fmt::format("{:13} {}\n", row[0] + ":", one_line(row[1]));
  text += "\nLEVELS\n" + table(level_heading, level_rows(content));
  text += "\nWEIGHTS REMOVED (against as found; fillers not listed; angles with rotation, from the " +
          one_line(content.at("angles_from").get<std::string>()) + ")\n" +
          table(weight_heading, weight_rows(content.at("weights").at("removed")));
  text += "\nWEIGHTS FITTED\n" + table(weight_heading, weight_rows(content.at("weights").at("fitted")));
  text += "\nALL THAT IS FITTED NOW\n" + table(weight_heading, weight_rows(content.at("weights").at("now")));
  text += "\nENTRIES\n";
  for (const auto& row : entry_rows(content))
    text += fmt::format("  {:21} {}\n", one_line(row[0]) + ":",
                        row[1].empty() ? std::string(blank) : one_line(row[1]));
  text += "\nSIGNATURES\n";
  for (const auto& role : signature_roles())
    text += fmt::format("  {:33} {}  date {}\n", role + ":", blank, "__________");
  text += "\nDIGEST of this record, which covers all records before it (trimwright record prove --expect)\n" +
          digest_lines(record.digest);
  text += "\nCAUTION\n";
  for (const auto& caution : content.at("cautions")) text += "  ! " + caution.get<std::string>() + "\n";
  return text;
}

std::string sheet_csv(const StoredRecord& record) {
  const auto content = Json::parse(record.record.content);
  std::string text;
  const auto add = [&](const std::string& kind, const std::vector<SheetRow>& rows) {
    for (const auto& row : rows) {
      SheetRow line{kind};
      line.insert(line.end(), row.begin(), row.end());
      line.resize(10);
      text += csv_line(line);
    }
  };
  add("heading", heading_rows(record, content));
  add("level heading", {level_heading});
  add("level", level_rows(content));
  add("weight heading", {weight_heading});
  add("removed", weight_rows(content.at("weights").at("removed")));
  add("fitted", weight_rows(content.at("weights").at("fitted")));
  add("fitted now", weight_rows(content.at("weights").at("now")));
  add("entry", entry_rows(content));
  for (const auto& role : signature_roles()) add("signature", {{role}});
  add("digest", {{hex(record.digest)}});
  for (const auto& caution : content.at("cautions")) add("caution", {{caution.get<std::string>()}});
  return text;
}

}  // namespace trimwright
