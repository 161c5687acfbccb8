#include <fmt/format.h>

#include <cmath>

#include "base/text.hpp"
#include "filed_job.hpp"
#include "record_content.hpp"

namespace trimwright {
namespace {

/// A field that says one thing and said, or should say, another.
struct FieldEdit {
  std::string field;
  Json now, other;
};

std::string value_words(const Json& value) {
  if (value.is_string()) return "\"" + shortened(one_line(value.get<std::string>())) + "\"";
  if (value.is_number_float()) return fmt::format("{:.6g}", value.get<double>());
  return value.is_null() ? "nothing" : shortened(value.dump());
}

/// What tells an entry of a list from the others: "(2867 rpm, front)", "(run check)", "(2)".
std::string entry_words(const Json& entry, std::size_t i) {
  std::string words;
  for (const char* key : {"run", "name", "speed", "sensor", "component", "plane", "slot"})
    if (entry.is_object() && entry.contains(key) && !entry.at(key).is_null()) {
      const Json& value = entry.at(key);
      words += (words.empty() ? "" : ", ") + (value.is_string() ? value.get<std::string>() : value.dump());
    }
  return "(" + (words.empty() ? std::to_string(i + 1) : words) + ")";
}

void compare_fields(const Json& now, const Json& other, const std::string& at,
                    std::vector<FieldEdit>& edits) {
  if (now == other) return;
  if (now.is_number() && other.is_number() &&
      std::abs(now.get<double>() - other.get<double>()) <= 1e-12 * std::abs(other.get<double>()))
    return;  // worked out in another order
  if (now.is_object() && other.is_object()) {
    Json keys = now;
    keys.update(other);
    for (const auto& [key, value] : keys.items())
      compare_fields(now.value(key, Json()), other.value(key, Json()), at.empty() ? key : at + " " + key,
                     edits);
  } else if (now.is_array() && other.is_array() && now.size() == other.size()) {
    for (std::size_t i = 0; i < now.size(); ++i)
      compare_fields(now[i], other[i], at + " " + entry_words(other[i], i), edits);
  } else {
    edits.push_back({at, now, other});
  }
}

/// The record with what it is found by as its document says.
Record found_by_document(Record record, const Json& content) {
  const std::pair<const char*, std::string*> texts[] = {
      {"rotor", &record.rotor},       {"serial", &record.serial},     {"station", &record.station},
      {"date", &record.date},         {"person", &record.person},     {"verdict", &record.verdict},
      {"filed_at", &record.filed_at}, {"filed_by", &record.filed_by}, {"software", &record.software},
      {"reason", &record.reason}};
  for (const auto& [key, text] : texts) *text = content.at(key).get<std::string>();
  record.level = content.at("worst_ratio");
  if (!record.origin)  // one that was sent corrects another number here
    record.corrects = content.at("corrects").is_null()
                          ? std::nullopt
                          : std::optional(content.at("corrects").get<std::int64_t>());
  return record;
}

Record with_document(Record record, const Json& content) {
  record.content = content.dump();
  return record;
}

/// The trim judged once more from the files in the record.
Result<Record> judged_again(const StoredRecord& one, const Json& content) {
  const auto files = files_of(one);
  if (!files) return tl::unexpected(files.error());
  const auto judged = judge_filed_job(*files, content.at("run").get<std::string>());
  if (!judged) return tl::unexpected(judged.error());
  FilingDetails details;
  details.filed_by = content.at("filed_by");
  details.filed_at = content.at("filed_at");
  details.software = content.at("software");
  details.reason = content.at("reason");
  details.wrong_serial = content.value("wrong_serial", "");
  if (!content.at("corrects").is_null()) details.corrects = content.at("corrects").get<std::int64_t>();
  for (const auto& [key, text] : content.at("entries").items())
    details.entries.emplace_back(key, text.get<std::string>());
  details.dated = judged->job.runs[judged->verdict.run].conditions.when.substr(0, 10);
  return record_of(*judged, *files, details);
}

/// Whether this is what was filed.
bool was_filed(const StoredRecord& one, const Record& record) {
  return digest_of(one.number, one.previous, record, one.rule) == one.digest;
}

std::vector<std::string> words_of(const std::vector<FieldEdit>& edits, const char* between) {
  constexpr std::size_t most = 5;
  std::vector<std::string> words;
  for (const auto& edit : edits)
    if (words.size() < most)
      words.push_back(fmt::format("{} says {}; {} {}", edit.field, value_words(edit.now), between,
                                  value_words(edit.other)));
  if (edits.size() > most) words.push_back(fmt::format("and {} more", edits.size() - most));
  return words;
}

constexpr const char* filed_as = "when it was filed it said";
constexpr const char* cannot_be_told =
    "what it said before cannot be told from the record: compare it line by line with the signed sheet";

/// What was changed, and whether the digest proves it.
struct EditsTold {
  std::vector<std::string> words;
  bool proved = false;
};

/// Columns against the document.
EditsTold edits_of_columns(const StoredRecord& one, const Json& content) {
  Json columns = found_by_json(one.record), text = Json::object();
  for (const auto& [key, value] : columns.items()) text[key] = content.value(key, Json());
  if (one.record.origin) text["corrects"] = columns["corrects"];
  std::vector<FieldEdit> edits;
  compare_fields(columns, text, "", edits);
  if (edits.empty()) return {};
  if (was_filed(one, found_by_document(one.record, content))) return {words_of(edits, filed_as), true};
  Json mended = content;
  for (const auto& edit : edits) mended[edit.field] = columns[edit.field];
  if (!was_filed(one, with_document(one.record, mended))) return {words_of(edits, "its document says")};
  for (auto& edit : edits) edit = {edit.field + " in its document", edit.other, edit.now};
  return {words_of(edits, filed_as), true};
}

/// The document against what its files give.
EditsTold edits_of_document(const StoredRecord& one, const Json& content) {
  if (holds_readings(one.record)) return {};
  const auto again = judged_again(one, content);
  if (!again) return {};
  Record same = one.record;
  same.inputs = again->inputs;
  if (was_filed(one, same))
    return {{"the mark by which the same trim is known again was changed, and nothing else"}, true};
  Json given = Json::parse(again->content);
  const Json all = given;
  for (const auto& [key, value] : all.items())
    if (!content.contains(key)) given.erase(key);  // older records do not have it
  const Json columns = found_by_json(one.record);
  for (const auto& [key, value] : columns.items())
    if (given.contains(key) && !(key == "corrects" && one.record.origin)) given[key] = value;
  std::vector<FieldEdit> edits;
  compare_fields(content, given, "", edits);
  const bool proved = was_filed(one, with_document(one.record, given));
  return {words_of(edits, proved ? filed_as : "by the job's files in the record it is"), proved};
}

std::vector<std::string> edits_in(const StoredRecord& one, const Json& content) {
  const auto columns = edits_of_columns(one, content);
  if (columns.proved) return columns.words;
  const auto document = edits_of_document(one, content);
  if (document.proved) return document.words;
  auto words = columns.words.empty() ? document.words : columns.words;
  words.emplace_back(cannot_be_told);
  return words;
}

}  // namespace

std::vector<std::string> edits_of(const StoredRecord& record) {
  if (record.holds) return {};
  auto words = from_any_content(record, [&](const Json& content) { return edits_in(record, content); });
  if (words) return *std::move(words);
  return {"its document is none that this program understands any more", cannot_be_told};
}

void tell_edits(const Archive& archive, Proof& proof) {
  constexpr std::size_t most = 20;  // each is judged once more
  std::size_t told = 0;
  for (auto& fault : proof.faults) {
    if (fault.number == 0 || !fault.what.ends_with("its digest does not fit") || ++told > most) continue;
    const auto one = archive.read_as_it_stands(fault.number);
    if (!one) continue;
    for (const auto& words : edits_of(*one)) fault.what += "; " + words;
  }
}

}  // namespace trimwright
