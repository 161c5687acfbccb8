#include "trimwright/records.hpp"

#include <bit>

#include "base/name.hpp"

namespace trimwright {
namespace {

std::string_view bytes_of(const Digest& digest) {
  return {reinterpret_cast<const char*>(digest.data()), digest.size()};
}

}  // namespace

Digest digest_of(std::int64_t number, const Digest& previous, const Record& record, int rule) {
  thread_local Sha256 hash;  // finding the algorithm costs more than digesting a short record
  hash.feed(rule == 1 ? "trimwright record 1" : "trimwright record 2");
  hash.feed_number(static_cast<std::uint64_t>(number));
  hash.feed(bytes_of(previous));
  for (const auto* field :
       {&record.rotor, &record.serial, &record.station, &record.date, &record.person, &record.verdict,
        &record.filed_at, &record.filed_by, &record.software, &record.reason})
    hash.feed_field(*field);
  hash.feed_number(std::bit_cast<std::uint64_t>(record.level));
  if (rule > 1) hash.feed_number(record.corrects ? 1 : 0);
  hash.feed_number(static_cast<std::uint64_t>(record.corrects.value_or(0)));
  hash.feed(bytes_of(record.inputs));
  if (rule > 1) hash.feed_field(record.origin ? bytes_of(*record.origin) : std::string_view{});
  hash.feed_field(record.content);
  return hash.finish();
}

Result<void> check_name(const std::string& what, const std::string& text) {
  if (text.empty()) return {};
  const auto name = parse_name(text);
  if (!name) return fail(what + ": " + name.error().what, name.error().expected);
  return {};
}

Result<void> check_record(const Record& record) {
  if (record.serial.empty())
    return fail("the job has no serial, so its record could not be found again",
                "\"serial: ...\" of the rotor");
  if (record.filed_by.empty()) return fail("nobody files the record", "the name of the person who files it");
  const std::pair<const char*, const std::string*> names[] = {
      {"the serial", &record.serial},        {"the rotor's name", &record.rotor},
      {"the station", &record.station},      {"the date", &record.date},
      {"the person's name", &record.person}, {"the name of who files it", &record.filed_by},
      {"the reason", &record.reason}};
  for (const auto& [what, text] : names)
    if (auto checked = check_name(what, *text); !checked) return checked;
  if (record.corrects && record.reason.empty())
    return fail("a correction needs a reason", "why the record is corrected");
  return {};
}

}  // namespace trimwright
