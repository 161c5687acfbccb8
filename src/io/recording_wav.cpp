#include <fmt/format.h>

#include <array>
#include <cmath>
#include <cstring>
#include <fstream>
#include <sndfile.hh>

#include "recording_sources.hpp"

namespace trimwright {
namespace {

/// Bytes the header of a RIFF WAV file promises for its samples but the file does not hold; 0 for other
/// formats.
///
/// Layout from IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0 (1991). Sizes
/// of zero or all ones are left by recorders that never closed the file and promise nothing.
std::uint64_t bytes_missing(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::array<char, 12> head{};
  if (!in.read(head.data(), 12) || std::memcmp(head.data(), "RIFF", 4) != 0) return 0;
  const std::uint64_t size = std::filesystem::file_size(file);
  std::array<char, 8> chunk{};
  while (in.read(chunk.data(), 8)) {
    std::uint64_t length = 0;
    for (std::size_t i = 0; i < 4; ++i)
      length |= static_cast<std::uint64_t>(static_cast<unsigned char>(chunk[4 + i])) << (8 * i);
    const auto begin = static_cast<std::uint64_t>(in.tellg());
    if (std::memcmp(chunk.data(), "data", 4) == 0) {
      if (length == 0 || length >= 0xFFFFFFFEU || begin + length <= size) return 0;
      return begin + length - size;
    }
    in.seekg(static_cast<std::streamoff>(length + length % 2), std::ios::cur);
  }
  return 0;
}

/// Smallest distance from full scale that an integer format can tell; 0 for formats that have no limit.
float step_of(int format) {
  switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
      return 0x1p-7F;
    case SF_FORMAT_PCM_16:
      return 0x1p-15F;
    case SF_FORMAT_PCM_24:
      return 0x1p-23F;
    case SF_FORMAT_PCM_32:
      return 0x1p-24F;  // of a float that holds it
    default:
      return 0.0F;
  }
}

class WavSource final : public RecordingSource {
 public:
  WavSource(SndfileHandle handle, std::string file, const RecordingDescription& description)
      : handle_(std::move(handle)), file_(std::move(file)), at_full_scale_(description.channels.size()) {
    for (const RecordedChannel& channel : description.channels) {
      numbers_.push_back(static_cast<std::size_t>(channel.number - 1));
      factors_.push_back(static_cast<float>(channel.volts_full_scale * channel.unit_per_volt));
    }
  }

  [[nodiscard]] double sample_rate_hz() const override { return handle_.samplerate(); }
  [[nodiscard]] std::optional<std::int64_t> frames() const override { return handle_.frames(); }
  [[nodiscard]] double part_read() const override {
    return static_cast<double>(read_) / static_cast<double>(handle_.frames());
  }
  [[nodiscard]] std::int64_t at_full_scale(std::size_t channel) const override {
    return at_full_scale_[channel];
  }

  Result<std::size_t> read(std::size_t most, std::vector<std::vector<float>>& channels) override {
    const auto width = static_cast<std::size_t>(handle_.channels());
    interleaved_.resize(most * width);
    const auto got =
        static_cast<std::size_t>(handle_.readf(interleaved_.data(), static_cast<sf_count_t>(most)));
    if (got == 0 && read_ < handle_.frames())
      return fail(
          fmt::format("breaks off after {} of {} samples: {}", read_, handle_.frames(), handle_.strError()),
          {}, {file_, 0, {}});
    read_ += static_cast<std::int64_t>(got);
    const float step = step_of(handle_.format());
    channels.resize(numbers_.size());
    for (std::size_t k = 0; k < numbers_.size(); ++k) {
      channels[k].resize(got);
      const float* sample = interleaved_.data() + numbers_[k];
      for (std::size_t i = 0; i < got; ++i, sample += width) {
        if (step > 0.0F && std::abs(*sample) >= 1.0F - step) ++at_full_scale_[k];
        channels[k][i] = factors_[k] * *sample;
      }
    }
    return got;
  }

 private:
  SndfileHandle handle_;
  std::string file_;
  std::vector<std::size_t> numbers_;
  std::vector<float> factors_;
  std::vector<float> interleaved_;
  std::vector<std::int64_t> at_full_scale_;
  std::int64_t read_ = 0;
};

}  // namespace

Result<std::unique_ptr<RecordingSource>> wav_source(const std::filesystem::path& file,
                                                    const RecordingDescription& description) {
  const Location where{file.string(), 0, {}};
  SndfileHandle handle(file.string());
  if (!handle || handle.error() != 0)
    return fail(fmt::format("cannot be read as a recording: {}", handle.strError()),
                "a WAV file, or a name ending in .csv", where);
  if (handle.frames() <= 0) return fail("holds no samples", "a recording", where);
  if (const std::uint64_t missing = bytes_missing(file); missing > 0 && !description.accept_truncated)
    return fail(fmt::format("cut short: {} bytes of samples are missing; {:.3f} s are there", missing,
                            static_cast<double>(handle.frames()) / handle.samplerate()),
                "a whole file, or --accept-truncated to read what is there", where);
  for (const RecordedChannel& channel : description.channels)
    if (channel.number < 1 || channel.number > handle.channels())
      return fail(fmt::format("channel '{}' is number {}, but the recording has {}", channel.name,
                              channel.number, handle.channels()),
                  fmt::format("a number from 1 to {}", handle.channels()), where);
  return std::make_unique<WavSource>(std::move(handle), file.string(), description);
}

}  // namespace trimwright
