#include "balance_sheet.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>

#include "base/text.hpp"
#include "plan/steps.hpp"
#include "text_table.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

using Kind = SheetColumn::Kind;
using Cells = std::vector<std::string>;

SheetPart sheet_particulars(const BalanceSheet& sheet) {
  SheetPart part{"particular", SheetPart::Kind::entries, ""};
  part.rows = {
      {"Rotor", sheet.rotor}, {"Serial", sheet.serial}, {"Job", sheet.job}, {"Station", sheet.station}};
  if (!sheet.run.empty()) part.rows.push_back({"Check run", sheet.run});
  part.rows.push_back({"Date", sheet.date});
  if (!sheet.made_by.empty()) part.rows.push_back({"Run made by", sheet.made_by});
  if (!sheet.conditions.empty()) part.rows.push_back({"Conditions", conditions_words(sheet.conditions)});
  part.rows.push_back({"Record number", sheet.record});
  part.rows.push_back({"Digest", sheet.digest});
  for (const auto& [term, words] : sheet.filing) part.rows.push_back({term, words});
  return part;
}

SheetPart sheet_levels(const BalanceSheet& sheet) {
  SheetPart part{"level", SheetPart::Kind::table, "Levels (amplitude ∠ phase " + sheet.phase + ")"};
  part.columns = {{"speed"},
                  {"sensor"},
                  {"unit", Kind::unit},
                  {"as found", Kind::number, true},
                  {"now (fit)", Kind::number, true},
                  {"expected", Kind::number, true},
                  {"differs by", Kind::number},
                  {"measured after", Kind::write, true},
                  {"limit", Kind::number},
                  {"target", Kind::number},
                  {"result", Kind::write}};
  const auto level = [](const std::optional<double>& value) { return value ? amplitude_words(*value) : "–"; };
  const auto reading = [](const std::optional<ShownReading>& value, const char* otherwise) {
    return value ? SheetCell(*value) : SheetCell(otherwise);
  };
  for (const auto& one : sheet.levels) {
    const std::string differs = one.differs_by ? amplitude_words(*one.differs_by) : one.overall ? "" : "?";
    part.rows.push_back({one.speed, one.sensor + (one.overall ? ", overall level" : ""), one.unit,
                         reading(one.as_found, ""), reading(one.now, ""),
                         reading(one.expected, one.overall ? "" : "not known"), differs, one.measured,
                         level(one.limit), level(one.target), one.result});
  }
  if (sheet.made) {  // what was fitted before is no matter any more
    part.columns.erase(part.columns.begin() + 4);
    for (auto& row : part.rows) row.erase(row.begin() + 4);
    part.note =
        "Differs by: no difference that was measured, but how far from tip to tip the expected and the "
        "measured "
        "reading, drawn as arrows from one point, may be apart and still be as predicted.";
  } else {
    part.note =
        "Differs by: draw the expected and the measured reading as arrows from one point, as long as the "
        "amplitude and turned by the phase. When it is further from tip to tip than this, the reading "
        "differs: "
        "change nothing before the cause is found. A reading made off its set speed may be further away; "
        "once "
        "it is made, this sheet shows that.";
  }
  return part;
}

SheetPart sheet_changes(const BalanceSheet& sheet) {
  SheetPart part{"weight", SheetPart::Kind::table,
                 std::string("Weights: what changes against what is fitted ") +
                     (sheet.made ? "as found" : "now") + " (angles with rotation, from the " +
                     sheet.angles_from + ")"};
  part.columns = {
      {"plane"},  {"slot", Kind::number}, {"angle", Kind::number}, {"blades"},        {"take out"},
      {"put in"}, {"part number"},        {"out", Kind::box},      {"in", Kind::box}, {"checked", Kind::box}};
  for (const auto& one : sheet.changes)
    part.rows.push_back({one.plane, std::to_string(one.slot), angle_words(one.angle_deg), one.blades,
                         one.take_out, one.put_in, one.part_number, one.take_out == "open" ? "" : "☐ out",
                         one.put_in == "open" ? "" : "☐ in", "☐"});
  constexpr std::ptrdiff_t numbers = 6, boxes = 7;
  if (sheet.made) {  // nobody ticks what is done
    part.columns.erase(part.columns.begin() + boxes, part.columns.end());
    for (auto& row : part.rows) row.erase(row.begin() + boxes, row.end());
  }
  if (std::all_of(sheet.changes.begin(), sheet.changes.end(),
                  [](const SheetChange& one) { return one.part_number.empty(); })) {
    part.columns.erase(part.columns.begin() + numbers);
    for (auto& row : part.rows) row.erase(row.begin() + numbers);
  }
  return part;
}

SheetPart sheet_planes(const BalanceSheet& sheet) {
  SheetPart part{"fitted", SheetPart::Kind::points,
                 sheet.made ? "What the planes hold" : "What the planes hold then"};
  for (const auto& plane : sheet.planes)
    part.rows.push_back({plane.name + ": " + all_held_words(plane) + "."});
  return part;
}

SheetPart sheet_entries(const BalanceSheet& sheet) {
  SheetPart part{"entry", SheetPart::Kind::entries, "Entries"};
  const auto asked = asked_entries();
  for (const char* key : asked) {
    const auto given = std::find_if(sheet.entries.begin(), sheet.entries.end(),
                                    [&](const auto& entry) { return entry.first == key; });
    part.rows.push_back({key, given == sheet.entries.end() ? "" : given->second});
  }
  for (const auto& [key, words] : sheet.entries)
    if (std::find(asked.begin(), asked.end(), key) == asked.end()) part.rows.push_back({key, words});
  return part;
}

SheetPart sheet_signatures() {
  SheetPart part{"signature", SheetPart::Kind::table, "Signatures"};
  part.columns = {{"role"}, {"name", Kind::line}, {"signature", Kind::line}, {"date and time", Kind::line}};
  for (const auto& role : signature_roles()) part.rows.push_back({role, "", "", ""});
  return part;
}

SheetPart sheet_runs(const BalanceSheet& sheet) {
  SheetPart part{"run",
                 SheetPart::Kind::table,
                 "Runs",
                 {{"run"}, {"when"}, {"made by"}, {"weights, against as found"}, {"conditions"}, {"remark"}}};
  for (const auto& run : sheet.runs) part.rows.emplace_back(run.begin(), run.end());
  return part;
}

SheetPart sheet_readings(const BalanceSheet& sheet) {
  SheetPart part{
      "reading",
      SheetPart::Kind::table,
      "Readings of the runs (amplitude ∠ phase " + sheet.phase + ")",
      {{"run"}, {"speed"}, {"sensor"}, {"component"}, {"reading", Kind::number, true}, {"unit", Kind::unit}}};
  for (const auto& one : sheet.readings)
    part.rows.push_back({one.run, one.speed, one.sensor, one.component, one.reading, one.unit});
  return part;
}

SheetPart listed(std::string key, SheetPart::Kind kind, std::string heading, const Cells& lines) {
  SheetPart part{std::move(key), kind, std::move(heading)};
  for (const auto& line : lines) part.rows.push_back({line});
  return part;
}

/// What is left to do in a run that is made is nothing.
Cells without_advice(Cells warnings) {
  for (auto& words : warnings)
    if (words.ends_with(watch_it)) words.erase(words.size() - watch_it.size());
  return warnings;
}

SheetPart sheet_verdict(const BalanceSheet& sheet) {
  SheetPart part = listed("verdict", SheetPart::Kind::sentences, "Verdict", sheet.verdict);
  if (sheet.made) part.rows.front().front() = "Run “" + sheet.run + "”: " + sheet.verdict.front();
  part.rows.push_back({"Released: ☐ yes ☐ no, by a licensed person."});
  return part;
}

}  // namespace

void SheetCell::add(const ShownReading& reading) {
  words += (words.empty() ? "" : "; ") + reading_words(reading);
  readings.push_back(reading);
}

SheetPlane sheet_plane(const Plane& plane, const FittedWeights& fitted, PieceWords words) {
  SheetPlane sheet{plane.name, {}, plane.slots ? words(plane, std::nullopt) : ""};
  for (const auto& [slot, piece] : fitted.slots) sheet.held.push_back({slot, 0.0, words(plane, piece)});
  for (const auto& piece : fitted.free)
    sheet.held.push_back({std::nullopt, piece.at.degrees(), words(plane, Piece{{}, piece.moment_g_mm})});
  return sheet;
}

std::string all_held_words(const SheetPlane& plane) {
  std::vector<std::string> held;
  for (const auto& one : plane.held)
    held.push_back(one.slot ? fmt::format("slot {} {}", *one.slot, one.piece)
                            : one.piece + " at " + angle_words(one.angle_deg));
  const std::string words = fmt::format("{}", fmt::join(held, ", "));
  if (plane.others.empty()) return words.empty() ? "nothing" : words;
  return words + (words.empty() ? "every slot " : "; every other slot ") + plane.others;
}

std::span<const char* const> asked_entries() {
  static constexpr const char* names[] = {
      "manual and revision", "torque", "locking", "part numbers", "tools accounted for",
      "pieces accounted for"};
  return names;
}

std::string conditions_words(const std::vector<std::pair<std::string, std::string>>& conditions) {
  std::string words;
  for (const auto& [key, text] : conditions) words += (words.empty() ? "" : "; ") + key + " " + text;
  return words;
}

std::vector<SheetPart> sheet_parts(const BalanceSheet& sheet) {
  std::vector<SheetPart> parts{sheet_particulars(sheet),
                               listed("caution", SheetPart::Kind::points, "Cautions", sheet.cautions),
                               listed("warning", SheetPart::Kind::points, "Before you trust this",
                                      sheet.made ? without_advice(sheet.warnings) : sheet.warnings),
                               sheet_levels(sheet),
                               sheet_changes(sheet),
                               sheet_planes(sheet),
                               sheet_verdict(sheet),
                               sheet_entries(sheet),
                               sheet_runs(sheet),
                               sheet_readings(sheet),
                               sheet_signatures()};
  std::erase_if(parts, [](const SheetPart& part) { return part.rows.empty(); });
  return parts;
}

namespace {

constexpr const char* line_to_fill = "____________________";
constexpr const char* cell_to_fill = "_____________";  // three of them beside the longest role

bool right(const SheetColumn& column) { return column.kind == Kind::number; }

std::string cell_text(const SheetColumn& column, const std::string& cell) {
  return column.kind == Kind::line ? std::string(cell_to_fill) : one_line(cell);
}

std::string table_text(const SheetPart& part, std::size_t width) {
  std::vector<std::pair<std::string, TextTable::Align>> columns;
  for (const auto& column : part.columns)
    columns.emplace_back(column.words, right(column) ? TextTable::Align::right : TextTable::Align::left);
  TextTable table(std::move(columns));
  for (const auto& row : part.rows) {
    Cells cells;
    for (std::size_t c = 0; c < row.size(); ++c) cells.push_back(cell_text(part.columns[c], row[c].words));
    table.add(std::move(cells));
  }
  return table.text(width);
}

std::string part_text(const SheetPart& part, std::size_t width) {
  std::string text = part.heading.empty() ? "" : "\n" + wrapped("", part.heading);
  if (part.kind == SheetPart::Kind::table) return text + table_text(part, width);
  for (const auto& row : part.rows)
    if (part.kind == SheetPart::Kind::entries)
      text += wrapped(fmt::format("  {:21} ", one_line(row[0].words) + ":"),
                      row[1].words.empty() ? line_to_fill : one_line(row[1].words));
    else
      text += wrapped(part.kind == SheetPart::Kind::points ? "  * " : "  ", one_line(row[0].words));
  return text;
}

}  // namespace

std::string sheet_parts_text(const std::vector<SheetPart>& parts, std::size_t width) {
  std::string text;
  for (const auto& part : parts)
    text += part_text(part, width) + (part.note.empty() ? "" : wrapped("  ", part.note));
  return text;
}

}  // namespace trimwright
