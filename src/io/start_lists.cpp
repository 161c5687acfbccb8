#include "start_lists.hpp"

#include <algorithm>
#include <map>
#include <sstream>

#include "base/name.hpp"
#include "base/text.hpp"
#include "trade_values.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

bool is_figure(char c) { return c >= '0' && c <= '9'; }

std::vector<std::string> parted(const std::string& text, char at) {
  std::vector<std::string> parts;
  std::istringstream all(text);
  for (std::string part; std::getline(all, part, at);) parts.push_back(without_blanks_around(part));
  return parts;
}

/// The thing that a part names before a colon, and where what it says begins.
std::optional<std::pair<std::size_t, std::size_t>> named_first(const std::string& part,
                                                               const std::vector<std::string>& names) {
  const std::string lower = lower_case(part);
  for (std::size_t i = 0; i < names.size(); ++i)
    if (lower.starts_with(lower_case(names[i]) + ":")) return std::pair(i, names[i].size() + 1);
  return std::nullopt;
}

std::string quoted_names(const std::vector<std::string>& names) {
  std::string all;
  for (const auto& one : names) all += (all.empty() ? "\"" : ", \"") + one + ":\"";
  return all;
}

}  // namespace

std::vector<std::string> listed_items(const std::string& list) {
  std::vector<std::string> found(1);
  for (std::size_t i = 0; i < list.size(); ++i) {
    const bool decimal =
        list[i] == ',' && i > 0 && i + 1 < list.size() && is_figure(list[i - 1]) && is_figure(list[i + 1]);
    if (list[i] == ',' && !decimal)
      found.emplace_back();
    else
      found.back() += list[i];
  }
  for (auto& one : found) one = without_blanks_around(one);
  return found;
}

std::vector<std::string> with_units_behind(std::vector<std::string> items) {
  std::string unit;
  for (auto one = items.rbegin(); one != items.rend(); ++one) {
    const auto quantity = parse_quantity(*one);
    if (!quantity) continue;
    if (!quantity->unit.empty())
      unit = quantity->unit;
    else if (!unit.empty())
      *one += " " + unit;
  }
  return items;
}

std::vector<std::string> words_of(const std::string& text) {
  std::istringstream all(text);
  std::vector<std::string> words;
  for (std::string word; all >> word;) words.push_back(word);
  return words;
}

std::string joined_words(const std::vector<std::string>& words, std::size_t first, std::size_t end) {
  std::string text;
  for (std::size_t i = first; i < end; ++i) text += (i == first ? "" : " ") + words[i];
  return text;
}

std::string in_plain_words(const std::string& answer) {
  static const std::map<std::string, std::string, std::less<>> plain{
      {"the", ""},
      {"seen", ""},
      {"viewed", ""},
      {"is", ""},
      {"hole", "slot"},
      {"holes", "slot"},
      {"slots", "slot"},
      {"degree", "deg"},
      {"degrees", "deg"},
      {"anticlockwise", "counterclockwise"},
      {"counter-clockwise", "counterclockwise"}};
  std::string text;
  for (auto word : words_of(answer)) {
    const bool comma = word.size() > 1 && word.ends_with(',');
    if (comma) word.pop_back();
    if (const auto found = plain.find(lower_case(word)); found != plain.end()) word = found->second;
    if (word.empty() && text.ends_with(',')) text.pop_back();
    if (word.empty()) continue;
    text += (text.empty() ? "" : " ") + word + (comma ? "," : "");
  }
  return text;
}

Result<std::string> name_apart(const std::string& text, const std::vector<std::string>& others) {
  auto name = parse_name(text);
  if (name && std::any_of(others.begin(), others.end(), [&](const auto& one) { return alike(one, *name); }))
    return fail("\"" + *name + "\" stands here twice", "a name of its own for each");
  return name;
}

std::optional<int> whole_number(const std::string& text, int most) {
  const auto number = parse_quantity(text);
  if (!number || !number->unit.empty() || number->value != static_cast<int>(number->value) ||
      number->value < 1 || number->value > most)
    return std::nullopt;
  return static_cast<int>(number->value);
}

bool says_nothing(const std::string& told) { return told.empty() || lower_case(told) == "none"; }

Result<std::vector<std::string>> told_of_each(const std::string& answer,
                                              const std::vector<std::string>& names,
                                              const std::string& what) {
  const auto parts = parted(answer, ';');
  std::vector<std::string> told(names.size());
  std::vector<bool> seen(names.size());
  std::size_t named = 0;
  for (const auto& part : parts) {
    const auto found = named_first(part, names);
    if (!found) continue;
    ++named;
    if (seen[found->first])
      return fail(what + " \"" + names[found->first] + "\" stands here twice", "each " + what + " once");
    seen[found->first] = true;
    told[found->first] = without_blanks_around(part.substr(found->second));
  }
  if (named == parts.size()) return told;
  const std::string expected =
      names.size() == 1 ? "what holds for " + what + " \"" + names[0] + "\""
                        : "one answer for all; or one for each in turn, parted by ;, each begun with " +
                              quoted_names(names) + " where not all have one";
  if (named > 0)
    return fail("\"" + shortened(answer) + "\" does not say of which " + what + " each part is", expected);
  if (parts.size() == 1) return std::vector<std::string>(names.size(), parts[0]);
  if (parts.size() != names.size())
    return fail("\"" + shortened(answer) + "\" tells " + counted(parts.size(), "answer") + " of " +
                    counted(names.size(), what),
                expected);
  return parts;
}

std::string without_last_word(const std::string& text, const std::string& word) {
  const std::string end = " " + word;
  if (text.size() <= end.size() || !lower_case(text).ends_with(end)) return text;
  return without_blanks_around(text.substr(0, text.size() - end.size()));
}

}  // namespace trimwright
