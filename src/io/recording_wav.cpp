#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <optional>
#include <sndfile.hh>

#include "recording_sources.hpp"

namespace trimwright {
namespace {

/// Where the samples of a RIFF WAV file begin, and how many bytes of them its header promises.
///
/// Layout from IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0 (1991). Sizes
/// of zero or all ones are left by recorders that never closed the file and promise nothing.
struct SampleBytes {
  std::uint64_t begin = 0, promised = 0, there = 0;

  [[nodiscard]] bool open_ended() const { return promised == 0 || promised >= 0xFFFFFFFEU; }
  [[nodiscard]] std::uint64_t missing() const {
    return !open_ended() && promised > there ? promised - there : 0;
  }
};

/// Nothing for other formats.
std::optional<SampleBytes> sample_bytes(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::array<char, 12> head{};
  if (!in.read(head.data(), 12) || std::memcmp(head.data(), "RIFF", 4) != 0) return std::nullopt;
  const std::uint64_t size = std::filesystem::file_size(file);
  std::array<char, 8> chunk{};
  while (in.read(chunk.data(), 8)) {
    std::uint64_t length = 0;
    for (std::size_t i = 0; i < 4; ++i)
      length |= static_cast<std::uint64_t>(static_cast<unsigned char>(chunk[4 + i])) << (8 * i);
    const auto begin = static_cast<std::uint64_t>(in.tellg());
    if (std::memcmp(chunk.data(), "data", 4) == 0) {
      return SampleBytes{begin, length, size - std::min(size, begin)};
    }
    in.seekg(static_cast<std::streamoff>(length + length % 2), std::ios::cur);
  }
  return std::nullopt;
}

/// A WAV file whose header was never completed, read as if it promised what is there.
class Completed {
 public:
  Completed(const std::filesystem::path& file, const SampleBytes& samples)
      : in_(file, std::ios::binary), samples_(samples) {}

  static SF_VIRTUAL_IO functions() {
    return {[](void* self) { return static_cast<Completed*>(self)->size(); },
            [](sf_count_t by, int from, void* self) { return static_cast<Completed*>(self)->seek(by, from); },
            [](void* into, sf_count_t count, void* self) {
              return static_cast<Completed*>(self)->read_bytes(static_cast<char*>(into), count);
            },
            [](const void*, sf_count_t, void*) { return sf_count_t{0}; },
            [](void* self) { return static_cast<Completed*>(self)->at_; }};
  }

 private:
  [[nodiscard]] sf_count_t size() const { return static_cast<sf_count_t>(samples_.begin + samples_.there); }
  sf_count_t seek(sf_count_t by, int from) {
    at_ = std::clamp(by + (from == SEEK_CUR ? at_ : from == SEEK_END ? size() : 0), sf_count_t{0}, size());
    return at_;
  }
  sf_count_t read_bytes(char* into, sf_count_t count) {
    in_.clear();
    in_.seekg(at_);
    in_.read(into, std::min(count, size() - at_));
    const auto got = static_cast<sf_count_t>(in_.gcount());
    complete(into, got, 4, samples_.begin + samples_.there - 8);
    complete(into, got, static_cast<sf_count_t>(samples_.begin) - 4, samples_.there);
    at_ += got;
    return got;
  }
  /// Four bytes at `where` of the file say `value`.
  void complete(char* into, sf_count_t got, sf_count_t where, std::uint64_t value) const {
    for (sf_count_t i = 0; i < 4; ++i)
      if (const sf_count_t place = where + i - at_; place >= 0 && place < got)
        into[place] = static_cast<char>((value >> (8 * i)) & 0xFFU);
  }

  std::ifstream in_;
  SampleBytes samples_;
  sf_count_t at_ = 0;
};

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
  WavSource(SndfileHandle handle, std::string file, const RecordingDescription& description, bool stream,
            std::unique_ptr<Completed> completed)
      : completed_(std::move(completed)),
        handle_(std::move(handle)),
        stream_(stream),
        file_(std::move(file)),
        at_full_scale_(description.channels.size()) {
    for (const RecordedChannel& channel : description.channels) {
      numbers_.push_back(static_cast<std::size_t>(channel.number - 1));
      factors_.push_back(static_cast<float>(channel.volts_full_scale * channel.unit_per_volt));
    }
  }

  [[nodiscard]] double sample_rate_hz() const override { return handle_.samplerate(); }
  [[nodiscard]] std::optional<std::int64_t> frames() const override {
    return stream_ ? std::nullopt : std::optional<std::int64_t>(handle_.frames());
  }
  [[nodiscard]] double part_read() const override {
    return stream_ ? 0.0 : static_cast<double>(read_) / static_cast<double>(handle_.frames());
  }
  [[nodiscard]] std::int64_t at_full_scale(std::size_t channel) const override {
    return at_full_scale_[channel];
  }

  Result<std::size_t> read(std::size_t most, std::vector<std::vector<float>>& channels) override {
    const auto width = static_cast<std::size_t>(handle_.channels());
    interleaved_.resize(most * width);
    const auto got =
        static_cast<std::size_t>(handle_.readf(interleaved_.data(), static_cast<sf_count_t>(most)));
    if (got == 0 && !stream_ && read_ < handle_.frames())
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
  std::unique_ptr<Completed> completed_;  ///< outlives the handle that reads by it
  SndfileHandle handle_;
  bool stream_;
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
  const bool stream = file == standard_input;
  const auto bytes = stream ? std::nullopt : sample_bytes(file);
  const bool unfinished = bytes && bytes->promised == 0 && bytes->there > 0;
  std::unique_ptr<Completed> completed;
  SndfileHandle handle;
  if (stream) {
    handle = SndfileHandle(STDIN_FILENO, false);
  } else if (unfinished) {
    completed = std::make_unique<Completed>(file, *bytes);
    SF_VIRTUAL_IO functions = Completed::functions();
    handle = SndfileHandle(functions, completed.get());
  } else {
    handle = SndfileHandle(file.string());
  }
  if (!handle || handle.error() != 0)
    return fail(fmt::format("cannot be read as a recording: {}", handle.strError()),
                "a WAV file, or a name ending in .csv", where);
  if (!stream && handle.frames() <= 0) return fail("holds no samples", "a recording", where);
  if (bytes && bytes->missing() > 0 && !description.accept_truncated)
    return fail(fmt::format("cut short: {} bytes of samples are missing; {:.3f} s are there",
                            bytes->missing(), static_cast<double>(handle.frames()) / handle.samplerate()),
                "a whole file, or --accept-truncated to read what is there", where);
  for (const RecordedChannel& channel : description.channels)
    if (channel.number < 1 || channel.number > handle.channels())
      return fail(fmt::format("channel '{}' is number {}, but the recording has {}", channel.name,
                              channel.number, handle.channels()),
                  fmt::format("a number from 1 to {}", handle.channels()), where);
  return std::make_unique<WavSource>(std::move(handle), file.string(), description, stream,
                                     std::move(completed));
}

}  // namespace trimwright
