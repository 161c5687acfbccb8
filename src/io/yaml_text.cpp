#include "yaml_text.hpp"

#include <algorithm>

#include "base/text.hpp"

namespace trimwright {
namespace {

bool is_letter_or_figure(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

}  // namespace

std::string yaml_quoted(const std::string& text) {
  std::string written = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') written += '\\';
    written += c;
  }
  return written + "\"";
}

std::string yaml_text(const std::string& text) {
  const bool plain = std::all_of(text.begin(), text.end(), [](char c) {
    return is_letter_or_figure(c) || c == ' ' || c == '-' || c == '/' || c == '%' || c == '.';
  });
  return plain && !text.empty() && is_letter_or_figure(text[0]) && lower_case(text) != "null"
             ? text
             : yaml_quoted(text);
}

std::string fitted_yaml(const std::vector<FittedIds>& planes) {
  std::string text;
  for (const auto& [plane, ids] : planes) {
    if (ids.empty()) continue;
    text += (text.empty() ? "{" : ", ") + yaml_text(plane) + ": {";
    for (const auto& [slot, id] : ids)
      text += (text.ends_with('{') ? "" : ", ") + std::to_string(slot) + ": " + yaml_text(id);
    text += "}";
  }
  return text + "}";
}

}  // namespace trimwright
