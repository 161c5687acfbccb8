#pragma once

#include <string>
#include <vector>

namespace trimwright {

/// Columns that UTF-8 text takes: its code points, as every one this program prints is one column wide.
[[nodiscard]] std::size_t text_columns(const std::string& text);

/// Columns that a line of words should not exceed, nor one of a table where nothing says how wide the paper
/// is.
inline constexpr std::size_t widest_line = 80;

/// Columns of text, padded by what is shown, not by bytes.
class TextTable {
 public:
  enum class Align { left, right, drawn };  ///< words; numbers; what may not be broken

  explicit TextTable(std::vector<std::pair<std::string, Align>> columns) : columns_(std::move(columns)) {}

  void add(std::vector<std::string> cells) { rows_.push_back(std::move(cells)); }
  /// Takes the column away where no row has anything in it ("", "-" or "?").
  void leave_out_if_empty(const std::string& heading);
  /// Every line indented by two blanks and ended by a newline; the heading underlined. No line is wider than
  /// `width`: headings and long words are broken. Where that is not enough, what stands in the first column
  /// gets lines of its own, each above the rows it belongs to; else the columns are told in several tables,
  /// each of which begins with the first two.
  [[nodiscard]] std::string text(std::size_t width = widest_line) const;

 private:
  using Columns = std::vector<std::size_t>;
  bool narrowed(const Columns& columns, std::size_t room, std::size_t least,
                std::vector<std::size_t>& widths) const;
  [[nodiscard]] std::string lines(const Columns& columns, const std::vector<std::size_t>& widths,
                                  bool under) const;

  std::vector<std::pair<std::string, Align>> columns_;
  std::vector<std::vector<std::string>> rows_;
};

/// `text` broken at blanks to lines of at most `width` columns, the first after `lead`, the others indented
/// alike. A word that is longer than a line is broken.
[[nodiscard]] std::string wrapped(const std::string& lead, const std::string& text,
                                  std::size_t width = widest_line);

}  // namespace trimwright
