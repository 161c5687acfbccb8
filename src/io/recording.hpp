#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"

namespace trimwright {

/// In place of a file's name: a WAV stream from standard input.
inline constexpr const char* standard_input = "-";

/// One channel wanted from a recording.
struct RecordedChannel {
  std::string name;
  int number = 0;                 ///< 1-based channel of a WAV file or column of a CSV file; 0: by `column`
  std::string column = {};        ///< CSV: heading of the column
  std::string unit = {};          ///< engineering unit of the result, e.g. "in/s"
  double volts_full_scale = 1.0;  ///< WAV: volts at digital full scale (sample value 1.0)
  double unit_per_volt = 1.0;     ///< sensitivity: engineering units per volt; negative turns the signal over
};

/// What a recording holds and how to read it.
struct RecordingDescription {
  std::vector<RecordedChannel> channels;
  std::optional<double> sample_rate_hz = {};  ///< CSV: needed when there is no time column
  std::string time_column = {};               ///< CSV: heading of the column of times in seconds, if any
  bool accept_truncated = false;              ///< read what is there of a file cut short
};

/// Where samples come from; one implementation per file format.
class RecordingSource {
 public:
  virtual ~RecordingSource() = default;
  RecordingSource() = default;
  RecordingSource(const RecordingSource&) = delete;
  RecordingSource& operator=(const RecordingSource&) = delete;

  [[nodiscard]] virtual double sample_rate_hz() const = 0;
  [[nodiscard]] virtual std::optional<std::int64_t> frames() const = 0;
  [[nodiscard]] virtual double part_read() const = 0;
  [[nodiscard]] virtual Result<std::size_t> read(std::size_t most,
                                                 std::vector<std::vector<float>>& channels) = 0;
  [[nodiscard]] virtual std::int64_t at_full_scale(std::size_t channel) const = 0;
};

/// Reads a recording block by block, in engineering units.
///
/// WAV (and what else libsndfile opens: 16, 24, 32 bit, float, any number of channels) or CSV, told apart by
/// the file's name. Only the block asked for is held in memory.
class RecordingReader {
 public:
  /// Errors: a file that cannot be opened, is empty, cut short, has other channels or columns than asked for,
  /// or whose sample rate is unknown or uneven.
  [[nodiscard]] static Result<RecordingReader> open(const std::filesystem::path& file,
                                                    const RecordingDescription& description);

  [[nodiscard]] double sample_rate_hz() const { return source_->sample_rate_hz(); }
  /// Samples per channel in all; unknown for CSV.
  [[nodiscard]] std::optional<std::int64_t> frames() const { return source_->frames(); }
  /// How much of the file has been read, 0 to 1, for progress.
  [[nodiscard]] double part_read() const { return source_->part_read(); }

  /// Up to `most` samples of every channel, in the order of the description, replacing what `channels` held;
  /// 0 at the end. Error: a cell of a CSV file that is not a finite number, with its line, or a broken file.
  [[nodiscard]] Result<std::size_t> read(std::size_t most, std::vector<std::vector<float>>& channels) {
    return source_->read(most, channels);
  }
  /// Samples read so far at the limit of an integer format: the recorder was overdriven.
  [[nodiscard]] std::int64_t at_full_scale(std::size_t channel) const {
    return source_->at_full_scale(channel);
  }

 private:
  explicit RecordingReader(std::unique_ptr<RecordingSource> source) : source_(std::move(source)) {}
  std::unique_ptr<RecordingSource> source_;
};

}  // namespace trimwright
