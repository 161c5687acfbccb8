#include "text.hpp"

#include <fmt/format.h>
#include <utf8proc.h>

namespace trimwright {
namespace {

std::string written_out(std::string_view bytes, std::int32_t code) {
  if (code == '\n') return "\\n";
  if (code == '\t') return "\\t";
  if (code > 0xffff) return fmt::format("\\U{:08x}", code);
  if (code >= 0) return fmt::format("\\u{:04x}", code);
  return fmt::format("\\x{:02x}", static_cast<unsigned char>(bytes.front()));
}

}  // namespace

Character character_at(std::string_view text, std::size_t i) {
  Character found;
  const auto* bytes = reinterpret_cast<const utf8proc_uint8_t*>(text.data() + i);
  const auto length = utf8proc_iterate(bytes, static_cast<utf8proc_ssize_t>(text.size() - i), &found.code);
  if (length > 0) found.bytes = static_cast<std::size_t>(length);
  return found;
}

bool is_unseen(std::int32_t code) {
  switch (utf8proc_category(code)) {
    case UTF8PROC_CATEGORY_CC:
    case UTF8PROC_CATEGORY_CF:
    case UTF8PROC_CATEGORY_CS:
    case UTF8PROC_CATEGORY_CO:
    case UTF8PROC_CATEGORY_CN:
    case UTF8PROC_CATEGORY_ZL:
    case UTF8PROC_CATEGORY_ZP:
      return true;
    default:
      return utf8proc_get_property(code)->ignorable != 0;
  }
}

std::string one_line(std::string_view text) {
  std::string line;
  for (std::size_t i = 0; i < text.size();) {
    const auto [code, bytes] = character_at(text, i);
    const auto character = text.substr(i, bytes);
    line += is_unseen(code) ? written_out(character, code) : std::string(character);
    i += bytes;
  }
  return line;
}

std::string shortened(std::string_view text, std::size_t most) {
  if (text.size() <= most) return std::string(text);
  std::size_t end = most;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xc0U) == 0x80U) --end;
  return std::string(text.substr(0, end)) + "...";
}

std::string counted(std::size_t number, std::string_view thing) {
  return std::to_string(number) + " " + std::string(thing) + (number == 1 ? "" : "s");
}

std::string percent_words(double probability) {
  if (probability > 0.995) return "> 99 %";
  if (probability < 0.005) return "< 1 %";
  return fmt::format("{:.0f} %", 100.0 * probability);
}

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (char& c : lower)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return lower;
}

}  // namespace trimwright
