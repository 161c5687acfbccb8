#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "base/text.hpp"
#include "record_content.hpp"
#include "record_documents.hpp"
#include "report/balance_sheet.hpp"
#include "report/text_table.hpp"
#include "trimwright/check.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

using Words = std::vector<std::pair<std::string, std::string>>;

std::optional<double> number_in(const Json& entry, const char* key) {
  return entry.contains(key) && entry.at(key).is_number() ? std::optional(entry.at(key).get<double>())
                                                          : std::nullopt;
}

std::optional<ShownReading> reading_in(const Json& entry, const char* amplitude, const char* phase) {
  const auto found = number_in(entry, amplitude);
  return found ? std::optional(ShownReading{*found, number_in(entry, phase).value_or(std::nan(""))})
               : std::nullopt;
}

/// The speed point in words; older records give its speed alone.
std::string speed_in(const Json& place) {
  return place.value("speed", fmt::format("{:.0f} rpm", place.at("speed_rpm").get<double>()));
}

bool is_overall(const Json& reading) { return reading.at("component") == "overall"; }

Words words_in(const Json& object) {
  Words words;
  for (const auto& [key, text] : object.items()) words.emplace_back(key, text.get<std::string>());
  return words;
}

bool at_place(const Json& one, const Json& place) {
  return speed_in(one) == speed_in(place) && one.at("sensor") == place.at("sensor");
}

/// In an older record, which does not list what was read as found: the mean reading of its first run that has
/// readings in use, at the place of `at`.
std::optional<ShownReading> as_found_in_older(const Json& content, const Json& at, bool overall) {
  if (overall) return reading_in(at, "first", "");
  for (const auto& run : content.value("runs", Json::array())) {
    if (!run.at("set_aside").is_null() || run.at("readings").empty()) continue;
    std::complex<double> sum = 0.0;
    int count = 0;
    for (const auto& one : run.at("readings")) {
      if (!one.contains("speed")) return reading_in(at, "first", "");
      if (is_overall(one) || one.at("phase_deg").is_null() || one.at("speed") != at.at("speed") ||
          one.at("sensor") != at.at("sensor"))
        continue;
      sum += std::polar(one.at("amplitude").get<double>(), radians(one.at("phase_deg").get<double>()));
      ++count;
    }
    if (count == 0) return std::nullopt;
    return ShownReading{std::abs(sum) / count, degrees(std::arg(sum))};
  }
  return reading_in(at, "first", "");
}

}  // namespace

const Json* as_found_in(const Json& content, const Json& place, bool overall) {
  const auto all = content.find("as_found");
  if (all == content.end()) return nullptr;
  for (const auto& one : *all)
    if (at_place(one, place) && is_overall(one) == overall) return &one;
  return nullptr;
}

std::string earlier_visit_words(const Json& content) {
  constexpr const char* baseline_became_another = "the rotor's baseline became another";
  if (content.contains("as_found")) return {};
  const Json runs = content.value("runs", Json::array());
  for (std::size_t r = 1; r + 1 < runs.size(); ++r)
    for (const auto& happened : runs[r].value("before", Json::array()))
      if (happened.get<std::string>().starts_with(baseline_became_another))
        return "An older trimwright filed this record. Its levels and weights \"as found\" are those of the "
               "job's first "
               "run, and not of run \"" +
               runs[r].at("run").get<std::string>() +
               "\", before which the rotor's baseline became another. File the job again as a correction.";
  return {};
}

namespace {

std::optional<ShownReading> as_found_at(const Json& content, const Json& place, bool overall) {
  const Json* read = as_found_in(content, place, overall);
  return read ? reading_in(*read, "amplitude", "phase_deg") : std::nullopt;
}

/// Each reading of the check run at a place, and how it is judged; `place` is a reading, or what is expected.
SheetLevel level_in(const Json& content, const Json& place, bool overall) {
  const Json& check = content.at("check");
  SheetLevel level{speed_in(place), place.at("sensor"), place.value("unit", ""), overall};
  const bool older = !content.contains("as_found");
  level.as_found = older ? as_found_in_older(content, place, overall) : as_found_at(content, place, overall);
  for (const auto& one : check.at("readings")) {
    if (!at_place(one, place) || is_overall(one) != overall) continue;
    level.measured.add(*reading_in(one, "amplitude", "phase_deg"));
    level.result += (level.result.empty() ? "" : "; ") +
                    (one.contains("result")
                         ? one.at("result").get<std::string>()
                         : level_words(one.at("amplitude"), one.at("limit"), number_in(one, "target")));
    if (overall && older) level.as_found = as_found_in_older(content, one, overall);
    if (!level.differs_by) level.differs_by = number_in(one, "differs_by");
    level.expected = reading_in(one, "expected", "expected_phase_deg");
    level.limit = number_in(one, "limit");
    level.target = number_in(one, "target");
  }
  return level;
}

/// Every place that there was to read, in its order.
std::vector<SheetLevel> levels_in(const Json& content) {
  std::vector<SheetLevel> levels;
  const Json& check = content.at("check");
  const Json missing = check.value("missing", Json::array());
  const auto mark_missing = [&](SheetLevel& level, const Json& place) {
    for (const auto& one : missing)
      if (at_place(one, place) && (one.value("component", "") == "overall") == level.overall) {
        level.measured = not_read;
        level.result = missing_result;
      }
  };
  for (const auto& place : content.at("expected")) {
    SheetLevel level = level_in(content, place, false);
    level.expected = reading_in(place, "amplitude", "phase_deg");
    if (!level.differs_by) level.differs_by = number_in(place, "differs_by");
    level.limit = number_in(place, "stop_above");
    level.target = number_in(place, "target");
    mark_missing(level, place);
    levels.push_back(std::move(level));
    SheetLevel whole = level_in(content, place, true);
    whole.limit = number_in(place, "stop_above");
    whole.target = number_in(place, "target");
    mark_missing(whole, place);
    if (!whole.measured.words.empty()) levels.push_back(std::move(whole));
  }
  return levels;
}

/// Of an older record, which holds no list of its places: what the check run read.
std::vector<SheetLevel> levels_of_older(const Json& content) {
  std::vector<SheetLevel> levels;
  for (const auto& one : content.at("check").at("readings"))
    if (levels.empty() || levels.back().speed != speed_in(one) || levels.back().sensor != one.at("sensor") ||
        levels.back().overall != is_overall(one))
      levels.push_back(level_in(content, one, is_overall(one)));
  return levels;
}

/// What planes hold and how it came about; the planes in the rotor's order, where the record tells it.
class PlanesIn {
 public:
  explicit PlanesIn(const Json& weights) : weights_(weights) {
    for (const auto& one : weights.value("others", Json::array()))
      plane(one.at("plane")).others = one.at("holds");
    for (const auto& one : weights.at("now"))
      plane(one.at("plane"))
          .held.push_back({one.at("slot").is_null() ? std::nullopt : std::optional(one.at("slot").get<int>()),
                           one.at("angle_deg"), piece_words(piece_in(one.at("piece")))});
    moved("removed", &SheetChange::take_out);
    moved("fitted", &SheetChange::put_in);
  }

  [[nodiscard]] std::vector<SheetChange> changes() const {
    std::vector<SheetChange> all;
    for (const auto& [place, change] : changes_) all.push_back(change);
    return all;
  }
  [[nodiscard]] const std::vector<SheetPlane>& planes() const { return planes_; }

 private:
  SheetPlane& plane(const std::string& name) { return planes_[order(name)]; }
  std::size_t order(const std::string& name) {
    const auto found =
        std::find_if(planes_.begin(), planes_.end(), [&](const auto& p) { return p.name == name; });
    if (found != planes_.end()) return static_cast<std::size_t>(found - planes_.begin());
    planes_.push_back({name, {}, ""});
    return planes_.size() - 1;
  }
  /// A weight that goes leaves its slot open, but for a filler that takes its place.
  void moved(const char* key, std::string SheetChange::*what) {
    for (const auto& one : weights_.at(key)) {
      SheetChange& change = at(one);
      change.angle_deg = one.at("angle_deg");
      change.blades = one.at("blade_position");
      change.*what = piece_words(piece_in(one.at("piece")));
      if (what == &SheetChange::put_in) change.part_number = one.at("part_number");
    }
    for (const auto& one : weights_.value(std::string("fillers_") + key, Json::array()))
      at(one).*what = "filler";
  }
  SheetChange& at(const Json& one) {
    const std::string name = one.at("plane");
    const int slot = one.at("slot");
    return changes_.try_emplace({order(name), slot}, SheetChange{name, slot, 0.0, "", "open", "open", ""})
        .first->second;
  }

  const Json& weights_;
  std::vector<SheetPlane> planes_;
  std::map<std::pair<std::size_t, int>, SheetChange> changes_;
};

std::string weights_against_as_found(const Json& run) {
  std::string words;
  for (const auto& [key, sign] : {std::pair{"fitted", "+ "}, std::pair{"removed", "- "}})
    for (const auto& one : run.at(key))
      words += (words.empty() ? "" : "; ") +
               fmt::format("{}{} {} {}", sign, one.at("plane").get<std::string>(), one.at("slot").get<int>(),
                           piece_words(piece_in(one.at("piece"))));
  return words.empty() ? "as found" : words;
}

/// What happened before a run (older records do not say), and that it is set aside.
std::string remarks(const Json& run) {
  std::string words;
  for (const auto& happened : run.value("before", Json::array()))
    words += (words.empty() ? "before it " : "; ") + happened.get<std::string>();
  const Json& aside = run.at("set_aside");
  if (aside.is_null()) return words;
  return words + (words.empty() ? "" : "; ") + "set aside: " + aside.get<std::string>();
}

/// The runs and what was read; older records do not list them.
void add_runs(const Json& content, BalanceSheet& sheet) {
  for (const auto& run : content.value("runs", Json::array())) {
    sheet.runs.push_back({run.at("run"), run.at("when"), run.at("person"), weights_against_as_found(run),
                          conditions_words(words_in(run.at("conditions"))), remarks(run)});
    for (const auto& one : run.at("readings"))
      sheet.readings.push_back({run.at("run"),
                                fmt::format("{:.0f} rpm", one.at("speed_rpm").get<double>()) + state_in(one),
                                one.at("sensor"), one.at("component"),
                                *reading_in(one, "amplitude", "phase_deg"), one.at("unit")});
  }
}

/// Four digits and a blank, sixteen times.
std::string grouped(const Digest& digest) {
  std::string digits = hex(digest);
  for (std::size_t i = 60; i > 0; i -= 4) digits.insert(i, " ");
  return digits;
}

Words filing_in(const StoredRecord& record, const Json& content) {
  Words filing{
      {"Filed", utc_words(content.at("filed_at")) + " by " + content.at("filed_by").get<std::string>()},
      {"Software", content.at("software")}};
  if (record.record.corrects)
    filing.emplace_back(
        "Corrects", fmt::format("record {}{}: {}", *record.record.corrects,
                                content.contains("wrong_serial")
                                    ? ", filed under serial " +
                                          content.at("wrong_serial").get<std::string>() + ", which was wrong"
                                    : "",
                                record.record.reason));
  if (record.corrected_by)
    filing.emplace_back("Corrected by",
                        fmt::format("record {}{}", *record.corrected_by, wrong_serial_words(record)));
  filing.emplace_back("Use of the digest",
                      "trimwright record prove --expect with these digits tells whether this record and all "
                      "before it are still as they were filed");
  return filing;
}

BalanceSheet sheet_in(const StoredRecord& record, const Json& content) {
  const Json& check = content.at("check");
  const PlanesIn planes(content.at("weights"));
  BalanceSheet sheet;
  sheet.rotor = content.at("rotor");
  sheet.serial = content.at("serial");
  sheet.job = content.at("title");
  sheet.station = content.at("station");
  sheet.run = content.at("run");
  sheet.date = content.at("when");
  sheet.made_by = content.at("person");
  sheet.record = std::to_string(record.number);
  sheet.digest = grouped(record.digest);
  sheet.conditions = words_in(content.at("conditions"));
  sheet.filing = filing_in(record, content);
  sheet.phase = check.at("phase_convention");
  sheet.angles_from = content.at("angles_from");
  sheet.warnings = content.at("influence").at("warnings").get<std::vector<std::string>>();
  if (const auto words = earlier_visit_words(content); !words.empty())
    sheet.warnings.insert(sheet.warnings.begin(), words);
  sheet.levels = content.contains("expected") ? levels_in(content) : levels_of_older(content);
  sheet.made = true;
  sheet.changes = planes.changes();
  sheet.planes = planes.planes();
  sheet.verdict = {check.value("verdict_words", check.at("verdict").get<std::string>())};
  sheet.entries = words_in(content.at("entries"));
  add_runs(content, sheet);
  sheet.cautions = content.at("cautions").get<std::vector<std::string>>();
  return sheet;
}

}  // namespace

namespace {

constexpr const char* sheet_title = "Trim balance: before and after\n==============================\n";

/// Of a record that is not as it was filed, above all else: that it is not, and what was changed.
std::string changed_since(const StoredRecord& record) {
  if (record.holds) return {};
  std::string text =
      fmt::format("RECORD {} IS NOT AS IT WAS FILED\n", record.number) +
      wrapped("",
              "What follows is what stands there now. Do not use it: take a backup, or the signed "
              "sheet.");
  for (const auto& words : edits_of(record)) text += wrapped("  * ", one_line(words));
  return text + "\n";
}

}  // namespace

Result<std::string> sheet_text(const StoredRecord& record, std::size_t width) {
  if (holds_readings(record.record)) return readings_text(record);
  return from_content(record, [&](const Json& content) {
    return sheet_title + sheet_parts_text(sheet_parts(sheet_in(record, content)), width);
  });
}

Result<std::string> shown_text(const StoredRecord& record, std::size_t width) {
  auto text =
      holds_readings(record.record) ? readings_text(record) : from_content(record, [&](const Json& content) {
        auto parts = sheet_parts(sheet_in(record, content));
        for (auto& part : parts)
          if (part.key == "entry")
            std::erase_if(part.rows, [](const auto& row) { return row[1].words.empty(); });
        std::erase_if(parts,
                      [](const SheetPart& part) { return part.key == "signature" || part.rows.empty(); });
        return sheet_title + sheet_parts_text(parts, width);
      });
  if (text) text->insert(0, changed_since(record));
  return text;
}

Result<std::string> sheet_csv(const StoredRecord& record) {
  return from_content(
      record, [&](const Json& content) { return sheet_parts_csv(sheet_parts(sheet_in(record, content))); });
}

}  // namespace trimwright
