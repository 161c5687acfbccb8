#include "text_table.hpp"

#include <algorithm>
#include <sstream>

namespace trimwright {

std::size_t text_columns(const std::string& text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
}

namespace {

std::string padded(const std::string& text, std::size_t width, TextTable::Align align) {
  const std::string blanks(width - std::min(width, text_columns(text)), ' ');
  return align == TextTable::Align::left ? text + blanks : blanks + text;
}

}  // namespace

std::string TextTable::text() const {
  std::vector<std::size_t> widths;
  for (std::size_t c = 0; c < columns_.size(); ++c) {
    std::size_t width = text_columns(columns_[c].first);
    for (const auto& row : rows_) width = std::max(width, text_columns(row[c]));
    widths.push_back(width);
  }
  const auto line = [&](const auto& cell) {
    std::string text = "  ";
    for (std::size_t c = 0; c < columns_.size(); ++c)
      text += (c > 0 ? "  " : "") + padded(cell(c), widths[c], columns_[c].second);
    text.erase(text.find_last_not_of(' ') + 1);
    return text + "\n";
  };
  std::string text = line([&](std::size_t c) { return columns_[c].first; });
  text += line([&](std::size_t c) { return std::string(widths[c], '-'); });
  for (const auto& row : rows_) text += line([&](std::size_t c) { return row[c]; });
  return text;
}

std::string wrapped(const std::string& lead, const std::string& text, std::size_t width) {
  const std::string indent(text_columns(lead), ' ');
  std::istringstream words(text);
  std::string result;
  std::string line = lead;
  bool fresh = true;
  for (std::string word; words >> word;) {
    if (!fresh && text_columns(line) + 1 + text_columns(word) > width) {
      result += line + "\n";
      line = indent;
      fresh = true;
    }
    line += (fresh ? "" : " ") + word;
    fresh = false;
  }
  return result + line + "\n";
}

}  // namespace trimwright
