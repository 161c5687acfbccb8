#include "trimwright/records/record.hpp"

#include <fmt/format.h>

#include <bit>

#include "trimwright/base/text.hpp"

namespace trimwright {
namespace {

std::string_view bytes_of(const Digest& digest) {
  return {reinterpret_cast<const char*>(digest.data()), digest.size()};
}

/// Unicode's bidirectional controls and characters without width, as UTF-8 begins them: U+061C, U+200B to
/// U+200F, U+202A to U+202E, U+2060 to U+2069, U+FEFF.
bool is_unseen(std::string_view text, std::size_t i) {
  const auto at = [&](std::size_t k) { return k < text.size() ? static_cast<unsigned char>(text[k]) : 0; };
  if (at(i) == 0xD8 && at(i + 1) == 0x9C) return true;
  if (at(i) == 0xEF && at(i + 1) == 0xBB && at(i + 2) == 0xBF) return true;
  if (at(i) != 0xE2) return false;
  if (at(i + 1) == 0x80)
    return (at(i + 2) >= 0x8B && at(i + 2) <= 0x8F) || (at(i + 2) >= 0xA8 && at(i + 2) <= 0xAE);
  return at(i + 1) == 0x81 && at(i + 2) >= 0xA0 && at(i + 2) <= 0xA9;
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
  if (text.size() > longest_name)
    return fail(fmt::format("{} has {} bytes: \"{}\"", what, text.size(), shortened(text)),
                fmt::format("at most {} bytes", longest_name));
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (is_control(text, i))
      return fail(what + " holds a control character: \"" + shortened(text) + "\"", "plain text");
    if (is_unseen(text, i))
      return fail(what + " holds a mark that is not seen or turns the direction of writing: \"" +
                      shortened(text) + "\"",
                  "plain text");
    if (static_cast<unsigned char>(text[i]) >= 0x80) {
      const auto length = utf8_length(text, i);
      if (length == 0) return fail(what + " is not UTF-8 text: \"" + shortened(text) + "\"", "plain text");
      i += length - 1;
    }
  }
  if (!text.empty() && (text.front() == ' ' || text.back() == ' '))
    return fail(what + " begins or ends with a blank: \"" + shortened(text) + "\"", "the name alone");
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
