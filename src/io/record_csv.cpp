#include <algorithm>
#include <cmath>
#include <utility>

#include "csv_rows.hpp"
#include "record_content.hpp"
#include "report/balance_sheet.hpp"

namespace trimwright {
namespace {

/// "0.433; 0.441" and "68; 69" of two readings: numbers for a spreadsheet.
std::pair<std::string, std::string> numbers_of(const SheetCell& cell) {
  std::pair<std::string, std::string> numbers{cell.readings.empty() ? cell.words : "", ""};
  for (const auto& one : cell.readings) {
    numbers.first += (numbers.first.empty() ? "" : "; ") + amplitude_words(one.amplitude);
    if (!std::isnan(one.phase_deg))
      numbers.second +=
          fmt::format("{}{:.0f}", numbers.second.empty() ? "" : "; ", rounded_angle(one.phase_deg, 0));
  }
  return numbers;
}

/// A part's rows under its heading, readings in two columns each.
std::vector<std::vector<std::string>> csv_rows(const SheetPart& part) {
  std::vector<std::vector<std::string>> rows(part.columns.empty() ? 0 : 1);
  for (const auto& column : part.columns) {
    rows.front().push_back(column.words);
    if (column.readings) rows.front().push_back(column.words + " phase");
  }
  for (const auto& row : part.rows) {
    auto& cells = rows.emplace_back();
    for (std::size_t c = 0; c < row.size(); ++c) {
      const auto [amplitudes, phases] = numbers_of(row[c]);
      cells.push_back(amplitudes);
      if (c < part.columns.size() && part.columns[c].readings) cells.push_back(phases);
    }
  }
  return rows;
}

}  // namespace

std::string sheet_parts_csv(const std::vector<SheetPart>& parts) {
  std::size_t most = 0;
  for (const auto& part : parts)
    for (const auto& row : csv_rows(part)) most = std::max(most, row.size());
  std::string text;
  const auto add = [&](const std::string& kind, const std::vector<std::string>& row) {
    std::vector<std::string> line{kind};
    line.insert(line.end(), row.begin(), row.end());
    line.resize(most + 1);
    text += csv_line(line);
  };
  for (const auto& part : parts) {
    bool heading = !part.columns.empty();
    for (const auto& row : csv_rows(part))
      add(std::exchange(heading, false) ? part.key + " heading" : part.key, row);
  }
  return text;
}

}  // namespace trimwright
