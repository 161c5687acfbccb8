#include "trimwright/base/text.hpp"

namespace trimwright {
namespace {

unsigned byte_at(std::string_view text, std::size_t i) { return static_cast<unsigned char>(text[i]); }

/// The lowest and highest second byte that may follow the first, by RFC 3629.
std::pair<unsigned, unsigned> second_byte_range(unsigned first) {
  switch (first) {
    case 0xe0:
      return {0xa0, 0xbf};
    case 0xed:
      return {0x80, 0x9f};
    case 0xf0:
      return {0x90, 0xbf};
    case 0xf4:
      return {0x80, 0x8f};
    default:
      return {0x80, 0xbf};
  }
}

std::size_t length_by_first_byte(unsigned first) {
  if (first < 0x80) return 1;
  if (first >= 0xc2 && first < 0xe0) return 2;
  if (first >= 0xe0 && first < 0xf0) return 3;
  if (first >= 0xf0 && first < 0xf5) return 4;
  return 0;
}

}  // namespace

std::size_t utf8_length(std::string_view text, std::size_t i) {
  const unsigned first = byte_at(text, i);
  const std::size_t length = length_by_first_byte(first);
  if (length <= 1) return length;
  if (i + length > text.size()) return 0;
  const auto [least, most] = second_byte_range(first);
  if (byte_at(text, i + 1) < least || byte_at(text, i + 1) > most) return 0;
  for (std::size_t k = 2; k < length; ++k)
    if ((byte_at(text, i + k) & 0xc0U) != 0x80U) return 0;
  return length;
}

bool is_control(std::string_view text, std::size_t i) {
  const unsigned first = byte_at(text, i);
  if (first < 0x20 || first == 0x7f) return true;
  return first == 0xc2 && i + 1 < text.size() && byte_at(text, i + 1) < 0xa0;
}

std::string one_line(std::string_view text) {
  std::string line;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = utf8_length(text, i);
    if (length > 0 && is_control(text, i)) {
      line += ' ';
    } else if (length > 0) {
      line += text.substr(i, length);
    }
    i += length > 0 ? length : 1;
  }
  return line;
}

std::string shortened(std::string_view text, std::size_t most) {
  if (text.size() <= most) return std::string(text);
  std::size_t end = most;
  while (end > 0 && (byte_at(text, end) & 0xc0U) == 0x80U) --end;
  return std::string(text.substr(0, end)) + "...";
}

std::string counted(std::size_t number, std::string_view thing) {
  return std::to_string(number) + " " + std::string(thing) + (number == 1 ? "" : "s");
}

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (char& c : lower)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return lower;
}

}  // namespace trimwright
