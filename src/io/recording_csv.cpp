#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <limits>

#include "csv_rows.hpp"
#include "recording_sources.hpp"

namespace trimwright {
namespace {

constexpr std::size_t rows_for_rate = 1000;    ///< rows from which a sample rate is taken
constexpr double whole_rate_tolerance = 1e-4;  ///< relative; times are written with few digits
constexpr double uneven = 0.5;                 ///< sampling intervals between neighbouring times

/// With a point, or with the decimal comma that cells parted by semicolons may have.
std::optional<double> number(std::string text) {
  std::replace(text.begin(), text.end(), ',', '.');
  if (text.starts_with('+')) text.erase(0, 1);
  double value = 0.0;
  const auto [end, trouble] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (trouble != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// Where the comma is the decimal sign, cells are parted by semicolons.
char delimiter_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::string line = "#";
  while (line.starts_with('#') && std::getline(in, line)) {
  }
  return line.find(';') == std::string::npos ? ',' : ';';
}

class CsvSource final : public RecordingSource {
 public:
  CsvSource(const std::filesystem::path& file, const RecordingDescription& description)
      : file_(file.string()),
        description_(description),
        in_(file, std::ios::binary),
        size_(static_cast<double>(std::filesystem::file_size(file))),
        rows_(in_, file_, delimiter_of(file)),
        pending_(description.channels.size()) {}

  /// Headings, columns and sample rate, from the first rows.
  Result<void> begin() {
    auto heading = next();
    if (!heading) return tl::unexpected(heading.error());
    const auto first = *std::move(heading);
    if (!first) return fail("holds no rows", "a heading and rows of numbers", {file_, 0, {}});
    const bool headed = std::none_of(first->cells.begin(), first->cells.end(),
                                     [](const std::string& cell) { return number(cell).has_value(); });
    if (headed) headings_ = first->cells;
    width_ = first->cells.size();
    if (auto ok = find_columns(); !ok) return ok;
    if (!headed)
      if (auto ok = take(*first); !ok) return ok;
    while (pending_.front().size() < rows_for_rate) {
      const auto row = next();
      if (!row) return tl::unexpected(row.error());
      if (!*row) break;
      if (auto ok = take(**row); !ok) return ok;
    }
    return settle_rate();
  }

  [[nodiscard]] double sample_rate_hz() const override { return rate_hz_; }
  [[nodiscard]] std::optional<std::int64_t> frames() const override { return std::nullopt; }
  [[nodiscard]] double part_read() const override {
    return size_ > 0.0 ? std::min(1.0, rows_.bytes_read() / size_) : 1.0;
  }
  [[nodiscard]] std::int64_t at_full_scale(std::size_t) const override { return 0; }

  Result<std::size_t> read(std::size_t most, std::vector<std::vector<float>>& channels) override {
    while (pending_.front().size() < most) {
      const auto row = next();
      if (!row) return tl::unexpected(row.error());
      if (!*row) break;
      if (auto ok = take(**row); !ok) return tl::unexpected(ok.error());
    }
    const std::size_t got = std::min(most, pending_.front().size());
    channels.resize(pending_.size());
    for (std::size_t k = 0; k < pending_.size(); ++k) {
      const auto end = pending_[k].begin() + static_cast<std::ptrdiff_t>(got);
      channels[k].assign(pending_[k].begin(), end);
      pending_[k].erase(pending_[k].begin(), end);
    }
    return got;
  }

 private:
  /// The next row that is no comment (#); none at the end.
  Result<std::optional<CsvRow>> next() {
    for (;;) {
      auto row = rows_.next();
      if (!row || !*row || !(*row)->cells.front().starts_with('#')) return row;
    }
  }

  Result<std::size_t> column_of(const std::string& heading, int column_number,
                                const std::string& name) const {
    if (column_number >= 1 && static_cast<std::size_t>(column_number) <= width_)
      return static_cast<std::size_t>(column_number - 1);
    const auto found = std::find(headings_.begin(), headings_.end(), heading);
    if (column_number == 0 && !heading.empty() && found != headings_.end())
      return static_cast<std::size_t>(found - headings_.begin());
    const std::string wanted =
        column_number != 0 ? fmt::format("number {}", column_number) : fmt::format("'{}'", heading);
    return fail(fmt::format("channel '{}' is column {}, which is not there", name, wanted),
                headings_.empty() ? fmt::format("a number from 1 to {}", width_)
                                  : fmt::format("one of: {}", fmt::join(headings_, ", ")),
                {file_, 1, {}});
  }

  Result<void> find_columns() {
    for (const RecordedChannel& channel : description_.channels) {
      const auto column = column_of(channel.column, channel.number, channel.name);
      if (!column) return tl::unexpected(column.error());
      columns_.push_back(*column);
    }
    if (description_.time_column.empty()) return {};
    const auto column = column_of(description_.time_column, 0, "time");
    if (!column) return tl::unexpected(column.error());
    time_column_ = *column;
    return {};
  }

  Result<double> cell(const CsvRow& row, std::size_t column) const {
    const std::string& text = row.cells[column];
    const auto value = number(text);
    if (!value || !std::isfinite(*value))
      return fail(fmt::format("'{}' in column {}", text, column + 1), "a finite number",
                  {file_, row.line, {}});
    return *value;
  }

  Result<void> take(const CsvRow& row) {
    if (row.cells.size() != width_)
      return fail(fmt::format("{} cells in this row", row.cells.size()), fmt::format("{}", width_),
                  {file_, row.line, {}});
    for (std::size_t k = 0; k < columns_.size(); ++k) {
      const auto value = cell(row, columns_[k]);
      if (!value) return tl::unexpected(value.error());
      const RecordedChannel& channel = description_.channels[k];
      pending_[k].push_back(static_cast<float>(*value * channel.unit_per_volt));
    }
    if (!time_column_) return {};
    const auto time = cell(row, *time_column_);
    if (!time) return tl::unexpected(time.error());
    return follow_time(*time, row.line);
  }

  Result<void> follow_time(double time_s, int line) {
    if (taken_ == 0) first_time_s_ = time_s;
    const double step = time_s - last_time_s_;
    if (taken_ > 0 && !(step > 0.0))
      return fail(fmt::format("time {} s after {} s", time_s, last_time_s_), "rising times",
                  {file_, line, {}});
    if (rate_hz_ > 0.0 && std::abs(step * rate_hz_ - 1.0) > uneven)
      return fail(fmt::format("time jumps from {} s to {} s", last_time_s_, time_s),
                  fmt::format("a sample every {:.6g} s", 1.0 / rate_hz_), {file_, line, {}});
    last_time_s_ = time_s;
    ++taken_;
    return {};
  }

  Result<void> settle_rate() {
    if (pending_.front().size() < 2)
      return fail("holds fewer than two samples", "a recording", {file_, 0, {}});
    if (description_.sample_rate_hz) {
      rate_hz_ = *description_.sample_rate_hz;
      return {};
    }
    if (!time_column_)
      return fail("sample rate unknown", "a sample rate in the description, or a time column",
                  {file_, 0, {}});
    const double rate = static_cast<double>(taken_ - 1) / (last_time_s_ - first_time_s_);
    const double whole = std::round(rate);
    rate_hz_ = std::abs(rate - whole) < whole_rate_tolerance * rate ? whole : rate;
    return {};
  }

  std::string file_;
  RecordingDescription description_;
  std::ifstream in_;
  double size_ = 0.0;
  CsvRows rows_;
  std::vector<std::vector<float>> pending_;
  std::vector<std::string> headings_;
  std::size_t width_ = 0;
  std::vector<std::size_t> columns_;
  std::optional<std::size_t> time_column_;
  double rate_hz_ = 0.0, first_time_s_ = 0.0, last_time_s_ = 0.0;
  std::int64_t taken_ = 0;
};

}  // namespace

Result<std::unique_ptr<RecordingSource>> csv_source(const std::filesystem::path& file,
                                                    const RecordingDescription& description) {
  auto source = std::make_unique<CsvSource>(file, description);
  if (auto ok = source->begin(); !ok) return tl::unexpected(ok.error());
  return source;
}

}  // namespace trimwright
