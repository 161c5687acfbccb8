#include "text_table.hpp"

#include <algorithm>
#include <numeric>
#include <sstream>

namespace trimwright {

std::size_t text_columns(const std::string& text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
}

namespace {

using Columns = std::vector<std::size_t>;

constexpr std::size_t kept_width = 24;  ///< words of a cell are broken only when longer, in a row of one line
constexpr std::size_t narrowest_width = 8;  ///< the same in a row of several lines

std::string padded(const std::string& text, std::size_t width, TextTable::Align align) {
  const std::string blanks(width - std::min(width, text_columns(text)), ' ');
  return align == TextTable::Align::right ? blanks + text : text + blanks;
}

/// `text` in lines of `width`, broken at blanks, and inside a word that is longer.
std::vector<std::string> broken(const std::string& text, std::size_t width) {
  if (text_columns(text) <= width) return {text};
  std::vector<std::string> lines;
  std::string line;
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    if (!line.empty() && text_columns(line) + 1 + text_columns(word) <= width) {
      line += " " + word;
      continue;
    }
    if (!line.empty()) lines.push_back(line);
    line = word;
    while (text_columns(line) > width) {
      std::size_t bytes = 0;
      for (std::size_t shown = 0; shown < width; ++shown) do
          ++bytes;
        while (bytes < line.size() && (static_cast<unsigned char>(line[bytes]) & 0xc0U) == 0x80U);
      lines.push_back(line.substr(0, bytes));
      line.erase(0, bytes);
    }
  }
  lines.push_back(line);
  return lines;
}

/// Columns that a line of these cells takes, its indent included.
std::size_t line_width(const Columns& columns, const std::vector<std::size_t>& widths, std::size_t indent) {
  std::size_t width = indent;
  for (const std::size_t c : columns) width += widths[c] + 2;
  return width - 2;
}

}  // namespace

void TextTable::leave_out_if_empty(const std::string& heading) {
  for (std::size_t c = 0; c < columns_.size(); ++c) {
    const bool empty = std::all_of(rows_.begin(), rows_.end(), [&](const auto& row) {
      return row[c].empty() || row[c] == "-" || row[c] == "?";
    });
    if (columns_[c].first != heading || !empty || rows_.empty()) continue;
    columns_.erase(columns_.begin() + static_cast<std::ptrdiff_t>(c));
    for (auto& row : rows_) row.erase(row.begin() + static_cast<std::ptrdiff_t>(c));
    return;
  }
}

std::string TextTable::text() const {
  std::vector<std::size_t> widths;
  for (std::size_t c = 0; c < columns_.size(); ++c) {
    std::size_t width = text_columns(columns_[c].first);
    for (const auto& row : rows_) width = std::max(width, text_columns(row[c]));
    widths.push_back(width);
  }
  // How narrow a column can be: a heading is broken between its words, words of cells down to `least`.
  const auto narrowest = [&](std::size_t c, std::size_t least) {
    std::size_t width = 0;
    std::istringstream words(columns_[c].first);
    for (std::string word; words >> word;) width = std::max(width, text_columns(word));
    for (const auto& row : rows_)
      width = std::max(width, columns_[c].second == Align::left ? std::min(least, text_columns(row[c]))
                                                                : text_columns(row[c]));
    return width;
  };
  // Narrows the widest columns until the line fits; false where it cannot.
  const auto narrow = [&](const Columns& line, std::size_t indent, std::size_t least) {
    while (line_width(line, widths, indent) > widest_line) {
      std::size_t widest = columns_.size();
      for (const std::size_t c : line)
        if (widths[c] > narrowest(c, least) && (widest == columns_.size() || widths[c] >= widths[widest]))
          widest = c;
      if (widest == columns_.size()) return false;
      --widths[widest];
    }
    return true;
  };
  Columns all(columns_.size());
  std::iota(all.begin(), all.end(), std::size_t{0});
  std::vector<Columns> lines{all};
  const auto natural = widths;
  if (!narrow(all, 2, kept_width)) {  // words in a first line, numbers below them
    widths = natural;
    lines.assign(1, {});
    for (const std::size_t c : all)
      if (columns_[c].second == Align::left) lines.front().push_back(c);
    narrow(lines.front(), 2, narrowest_width);
    for (const std::size_t c : all) {
      if (columns_[c].second == Align::left) continue;
      if (lines.size() > 1) lines.back().push_back(c);
      if (lines.size() > 1 && line_width(lines.back(), widths, 4) <= widest_line) continue;
      if (lines.size() > 1) lines.back().pop_back();
      lines.push_back({c});
    }
  }
  const auto print = [&](const auto& cell) {
    std::string text;
    for (const auto& line : lines) {
      std::vector<std::vector<std::string>> cells;
      std::size_t height = 0;
      for (const std::size_t c : line) {
        cells.push_back(broken(cell(c), widths[c]));
        height = std::max(height, cells.back().size());
      }
      for (std::size_t i = 0; i < height; ++i) {
        std::string shown(&line == &lines.front() ? 2 : 4, ' ');
        for (std::size_t k = 0; k < line.size(); ++k)
          shown += padded(i < cells[k].size() ? cells[k][i] : std::string{}, widths[line[k]],
                          columns_[line[k]].second) +
                   "  ";
        text += shown.substr(0, shown.find_last_not_of(' ') + 1) + "\n";
      }
    }
    return text;
  };
  std::string text = print([&](std::size_t c) { return columns_[c].first; });
  text += print([&](std::size_t c) { return std::string(widths[c], '-'); });
  for (const auto& row : rows_) text += print([&](std::size_t c) { return row[c]; });
  return text;
}

std::string wrapped(const std::string& lead, const std::string& text, std::size_t width) {
  const std::string indent(text_columns(lead), ' ');
  const std::size_t room = width > indent.size() + 20 ? width - indent.size() : 20;
  std::istringstream words(text);
  std::string result;
  std::string line = lead;
  bool fresh = true;
  for (std::string whole; words >> whole;)
    for (const auto& word : broken(whole, room)) {
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
