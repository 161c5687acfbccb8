#pragma once

#include <string>
#include <vector>

namespace trimwright {

/// Columns that UTF-8 text takes: its code points, as every one this program prints is one column wide.
[[nodiscard]] std::size_t text_columns(const std::string& text);

/// Columns of text, padded by what is shown, not by bytes.
class TextTable {
 public:
  enum class Align { left, right };

  explicit TextTable(std::vector<std::pair<std::string, Align>> columns) : columns_(std::move(columns)) {}

  void add(std::vector<std::string> cells) { rows_.push_back(std::move(cells)); }
  /// Every line indented by two blanks and ended by a newline; the heading underlined.
  [[nodiscard]] std::string text() const;

 private:
  std::vector<std::pair<std::string, Align>> columns_;
  std::vector<std::vector<std::string>> rows_;
};

/// `text` broken at blanks to lines of at most `width` columns, the first after `lead`, the others indented
/// alike.
[[nodiscard]] std::string wrapped(const std::string& lead, const std::string& text, std::size_t width = 100);

}  // namespace trimwright
