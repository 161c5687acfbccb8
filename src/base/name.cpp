#include "name.hpp"

#include <fmt/format.h>
#include <utf8proc.h>

#include <cstdlib>
#include <memory>

#include "text.hpp"

namespace trimwright {
namespace {

/// Letters that print as a Latin letter does. From memory of the table of Unicode's technical standard 39.
constexpr std::u32string_view foreign =
    U"АВЕЅІЈКМНОРСТУХаеорсуѕхіјԁһԛԝ"
    U"ΑΒΕΖΗΙΚΜΝΟΡΤΥΧονιϳ";
constexpr std::string_view latin =
    "ABESIJKMHOPCTYXaeopcysxijdhqw"
    "ABEZHIKMNOPTYXovij";
static_assert(foreign.size() == latin.size());

/// Valid UTF-8 in another form of normalisation.
std::string mapped(std::string_view text, utf8proc_option_t how) {
  utf8proc_uint8_t* found = nullptr;
  const auto bytes = reinterpret_cast<const utf8proc_uint8_t*>(text.data());
  const auto length = utf8proc_map(bytes, static_cast<utf8proc_ssize_t>(text.size()), &found, how);
  const std::unique_ptr<utf8proc_uint8_t, decltype(&std::free)> owner(found, &std::free);
  return length < 0 ? std::string(text)
                    : std::string(reinterpret_cast<const char*>(found), static_cast<std::size_t>(length));
}

bool is_blank(std::int32_t code) { return utf8proc_category(code) == UTF8PROC_CATEGORY_ZS || code == 0x2800; }

bool is_accent(std::int32_t code) {
  const auto category = utf8proc_category(code);
  return category == UTF8PROC_CATEGORY_MN || category == UTF8PROC_CATEGORY_MC ||
         category == UTF8PROC_CATEGORY_ME;
}

/// What a person sees of a name.
std::string look_of(std::string_view name) {
  const std::string plain =
      mapped(name, static_cast<utf8proc_option_t>(UTF8PROC_STABLE | UTF8PROC_COMPOSE | UTF8PROC_COMPAT));
  std::string look;
  for (std::size_t i = 0; i < plain.size();) {
    const auto [code, bytes] = character_at(plain, i);
    const auto at = code < 0 ? foreign.npos : foreign.find(static_cast<char32_t>(code));
    look += at == foreign.npos ? plain.substr(i, bytes) : std::string(1, latin[at]);
    i += bytes;
  }
  return look;
}

bool is_ascii(std::string_view text) {
  for (const char c : text)
    if ((static_cast<unsigned char>(c) & 0x80U) != 0) return false;
  return true;
}

}  // namespace

Result<void> check_seen(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const auto [code, bytes] = character_at(text, i);
    if (code < 0) return fail("\"" + shortened(text) + "\" is not UTF-8 text", "plain text");
    if (is_unseen(code))
      return fail(fmt::format("\"{}\" holds a character that is not seen (U+{:04X})", shortened(text), code),
                  "characters that can all be seen");
    i += bytes;
  }
  return {};
}

Result<std::string> parse_name(std::string_view text) {
  if (const auto seen = check_seen(text); !seen) return tl::unexpected(seen.error());
  std::string name;
  std::size_t characters = 0;
  for (std::size_t i = 0; i < text.size(); ++characters) {
    const auto [code, bytes] = character_at(text, i);
    if (!is_blank(code))
      name += text.substr(i, bytes);
    else if (!name.ends_with(' '))
      name += ' ';
    i += bytes;
  }
  if (name.empty() || name == " " || characters > longest_name)
    return fail(name.size() < 2 ? "the name is empty" : "the name \"" + shortened(name) + "\" is too long",
                fmt::format("a name of 1 to {} characters", longest_name));
  if (name.front() == ' ' || name.back() == ' ')
    return fail("the name \"" + shortened(name) + "\" begins or ends with a blank", "the name alone");
  if (is_accent(character_at(name, 0).code))
    return fail("the name \"" + shortened(name) + "\" begins with an accent that no letter carries",
                "a letter below it");
  return mapped(name, static_cast<utf8proc_option_t>(UTF8PROC_STABLE | UTF8PROC_COMPOSE));
}

bool alike(std::string_view one, std::string_view other) {
  return one == other || (!(is_ascii(one) && is_ascii(other)) && look_of(one) == look_of(other));
}

}  // namespace trimwright
