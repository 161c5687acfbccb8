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

constexpr std::size_t kept_width = 24;  ///< words of a cell are broken only when longer, where that will do
constexpr std::size_t narrowest_width = 8;  ///< else when longer than this

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

/// Columns that a line of these cells takes.
std::size_t line_width(const std::vector<std::size_t>& columns, const std::vector<std::size_t>& widths) {
  std::size_t width = 0;
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

/// Narrows the widest columns until they fit into `room`; false where they cannot. A heading is broken
/// between its words, words of cells down to `least`.
bool TextTable::narrowed(const Columns& columns, std::size_t room, std::size_t least,
                         std::vector<std::size_t>& widths) const {
  widths.assign(columns_.size(), 0);
  std::vector<std::size_t> narrowest(columns_.size(), 0);
  for (const std::size_t c : columns) {
    std::istringstream words(columns_[c].first);
    for (std::string word; words >> word;) narrowest[c] = std::max(narrowest[c], text_columns(word));
    widths[c] = text_columns(columns_[c].first);
    for (const auto& row : rows_) {
      const std::size_t cell = text_columns(row[c]);
      widths[c] = std::max(widths[c], cell);
      narrowest[c] = std::max(narrowest[c], columns_[c].second == Align::left ? std::min(least, cell) : cell);
    }
  }
  while (line_width(columns, widths) > room) {
    std::size_t widest = columns_.size();
    for (const std::size_t c : columns)
      if (widths[c] > narrowest[c] && (widest == columns_.size() || widths[c] >= widths[widest])) widest = c;
    if (widest == columns_.size()) return false;
    --widths[widest];
  }
  return true;
}

/// Heading and rows of some columns; `under`: each row under a line with what stands in the first of all.
std::string TextTable::lines(const Columns& columns, const std::vector<std::size_t>& widths,
                             bool under) const {
  const auto print = [&](const auto& cell) {
    std::vector<std::vector<std::string>> cells;
    std::size_t height = 0;
    for (const std::size_t c : columns) {
      cells.push_back(broken(cell(c), widths[c]));
      height = std::max(height, cells.back().size());
    }
    std::string text;
    for (std::size_t i = 0; i < height; ++i) {
      std::string shown(under ? 4 : 2, ' ');
      for (std::size_t k = 0; k < columns.size(); ++k)
        shown += padded(i < cells[k].size() ? cells[k][i] : std::string{}, widths[columns[k]],
                        columns_[columns[k]].second) +
                 "  ";
      text += shown.substr(0, shown.find_last_not_of(' ') + 1) + "\n";
    }
    return text;
  };
  std::string text = print([&](std::size_t c) { return columns_[c].first; });
  text += print([&](std::size_t c) { return std::string(widths[c], '-'); });
  for (std::size_t r = 0; r < rows_.size(); ++r) {
    if (under && (r == 0 || rows_[r].front() != rows_[r - 1].front()))
      text += wrapped("  ", columns_.front().first + " " + rows_[r].front());
    text += print([&](std::size_t c) { return rows_[r][c]; });
  }
  return text;
}

std::string TextTable::text(std::size_t width) const {
  Columns all(columns_.size());
  std::iota(all.begin(), all.end(), std::size_t{0});
  std::vector<std::size_t> widths;
  if (narrowed(all, width - 2, kept_width, widths)) return lines(all, widths, false);
  if (columns_.front().second == Align::left && columns_.size() > 1)
    if (const Columns rest(all.begin() + 1, all.end()); narrowed(rest, width - 4, kept_width, widths))
      return lines(rest, widths, true);
  std::string text;
  Columns together;
  const auto put = [&] {
    if (!narrowed(together, width - 2, kept_width, widths))
      narrowed(together, width - 2, narrowest_width, widths);
    text += (text.empty() ? "" : "\n") + lines(together, widths, false);
  };
  for (const std::size_t c : all) {
    together.push_back(c);
    if (together.size() <= 3 || narrowed(together, width - 2, kept_width, widths)) continue;
    together.pop_back();
    put();
    together = {0, 1, c};
  }
  put();
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
