#include "recording.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "recording_sources.hpp"

namespace trimwright {
namespace {

Result<void> check(const RecordingDescription& description, const std::string& file) {
  const Location where{file, 0, "channels"};
  if (description.channels.empty()) return fail("no channels asked for", "at least the tooth channel", where);
  for (const RecordedChannel& channel : description.channels) {
    if (!std::isfinite(channel.unit_per_volt) || channel.unit_per_volt == 0.0)
      return fail(fmt::format("channel '{}': sensitivity {}", channel.name, channel.unit_per_volt),
                  "a number other than zero", where);
    if (!(channel.volts_full_scale > 0.0) || !std::isfinite(channel.volts_full_scale))
      return fail(fmt::format("channel '{}': {} V at full scale", channel.name, channel.volts_full_scale),
                  "a voltage above zero", where);
  }
  if (description.sample_rate_hz && !(*description.sample_rate_hz > 0.0))
    return fail(fmt::format("sample rate {} Hz", *description.sample_rate_hz), "a rate above zero",
                {file, 0, "sample_rate"});
  return {};
}

}  // namespace

Result<RecordingReader> RecordingReader::open(const std::filesystem::path& file,
                                              const RecordingDescription& description) {
  if (auto ok = check(description, file.string()); !ok) return tl::unexpected(ok.error());
  if (file == standard_input) {
    auto stream = wav_source(file, description);
    if (!stream) return tl::unexpected(stream.error());
    return RecordingReader(*std::move(stream));
  }
  std::error_code trouble;
  const auto size = std::filesystem::file_size(file, trouble);
  if (trouble) return fail("cannot be opened", "a readable WAV or CSV file", {file.string(), 0, {}});
  if (size == 0) return fail("the file is empty", "a recording", {file.string(), 0, {}});
  std::string ending = file.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](char c) { return static_cast<char>(std::tolower(static_cast<unsigned char>(c))); });
  auto source = ending == ".csv" ? csv_source(file, description) : wav_source(file, description);
  if (!source) return tl::unexpected(source.error());
  return RecordingReader(*std::move(source));
}

}  // namespace trimwright
