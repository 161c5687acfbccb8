#include "io/recording.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <sndfile.hh>
#include <string>
#include <vector>

#include "scratch_folder.hpp"

using namespace trimwright;

namespace {

/// A file in a folder of its own, removed at the end of the test.
struct Scratch {
  testing::ScratchFolder folder{};
  std::filesystem::path path;
  explicit Scratch(const std::string& name) : path(folder.path(name)) {}
  void write(const std::string& text) const { std::ofstream(path, std::ios::binary) << text; }
};

double signal(int channel, int i) { return 0.4 * std::sin(0.05 * i + channel); }

void write_wav(const std::filesystem::path& path, int format, int channels, int frames, double gain = 1.0) {
  SndfileHandle out(path.string(), SFM_WRITE, SF_FORMAT_WAV | format, channels, 10240);
  out.command(SFC_SET_CLIPPING, nullptr, SF_TRUE);
  std::vector<double> samples;
  for (int i = 0; i < frames; ++i)
    for (int c = 0; c < channels; ++c) samples.push_back(gain * signal(c, i));
  out.writef(samples.data(), frames);
}

RecordingDescription two_channels() {
  RecordingDescription description;
  description.channels = {{"tooth", 3}, {"front", 1}};
  description.channels[1].volts_full_scale = 10.0;
  description.channels[1].unit_per_volt = -4.0;
  return description;
}

std::string error_of(const std::filesystem::path& path, const RecordingDescription& description) {
  auto reader = RecordingReader::open(path, description);
  if (!reader) return reader.error().message();
  std::vector<std::vector<float>> channels;
  for (;;) {
    const auto got = reader->read(100, channels);
    if (!got) return got.error().message();
    if (*got == 0) return "";
  }
}

RecordingDescription csv_columns() {
  RecordingDescription description;
  description.channels = {{"tooth", 0, "pulse"}, {"front", 0, "x"}};
  description.channels[1].unit_per_volt = 2.0;
  description.time_column = "t";
  return description;
}

bool contains(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE(
    "a WAV recording of any sample format comes back in engineering units, in blocks, in the order asked "
    "for") {
  const std::map<int, double> tolerances{{SF_FORMAT_PCM_16, 4e-5},
                                         {SF_FORMAT_PCM_24, 2e-7},
                                         {SF_FORMAT_PCM_32, 1e-7},
                                         {SF_FORMAT_FLOAT, 1e-7},
                                         {SF_FORMAT_DOUBLE, 1e-7}};
  for (const auto& one : tolerances) {
    const int format = one.first;
    const double tolerance = one.second;
    CAPTURE(format);
    const Scratch file("trimwright_recording_formats.wav");
    write_wav(file.path, format, 4, 1000);
    auto reader = RecordingReader::open(file.path, two_channels());
    REQUIRE(reader);
    CHECK(reader->sample_rate_hz() == 10240.0);
    CHECK(reader->frames() == 1000);
    std::vector<std::vector<float>> channels;
    int at = 0;
    for (;;) {
      const auto got = reader->read(300, channels);
      REQUIRE(got);
      if (*got == 0) break;
      for (std::size_t i = 0; i < *got; ++i, ++at) {
        CHECK(std::abs(static_cast<double>(channels[0][i]) - signal(2, at)) < tolerance);
        CHECK(std::abs(static_cast<double>(channels[1][i]) + 40.0 * signal(0, at)) < 40.0 * tolerance);
      }
    }
    CHECK(at == 1000);
    CHECK(reader->part_read() == 1.0);
    CHECK(reader->at_full_scale(0) == 0);
  }
}

TEST_CASE("samples at full scale of an integer format are counted") {
  const Scratch file("trimwright_recording_overdriven.wav");
  write_wav(file.path, SF_FORMAT_PCM_16, 4, 1000, 5.0);
  auto reader = RecordingReader::open(file.path, two_channels());
  std::vector<std::vector<float>> channels;
  REQUIRE(reader->read(1000, channels));
  CHECK(reader->at_full_scale(0) > 300);
}

TEST_CASE("a WAV file cut short is refused, saying how much is there, unless that is accepted") {
  const Scratch file("trimwright_recording_cut.wav");
  write_wav(file.path, SF_FORMAT_PCM_16, 4, 10240);
  std::filesystem::resize_file(file.path, std::filesystem::file_size(file.path) / 2);
  RecordingDescription description = two_channels();
  const std::string error = error_of(file.path, description);
  CHECK(contains(error, "cut short"));
  CHECK(contains(error, "0.500 s are there"));
  description.accept_truncated = true;
  CHECK(error_of(file.path, description) == "");
}

TEST_CASE("files that are no recordings are refused") {
  const Scratch empty("trimwright_recording_empty.wav"), nonsense("trimwright_recording_nonsense.wav"),
      no_samples("trimwright_recording_no_samples.wav");
  empty.write("");
  CHECK(contains(error_of(empty.path, two_channels()), "empty"));
  nonsense.write("this is not a recording, whatever its name says");
  CHECK(contains(error_of(nonsense.path, two_channels()), "cannot be read"));
  write_wav(no_samples.path, SF_FORMAT_PCM_16, 4, 0);
  CHECK(contains(error_of(no_samples.path, two_channels()), "no samples"));
  CHECK(contains(error_of("no_such_recording.wav", two_channels()), "cannot be opened"));
}

TEST_CASE("a channel that is not there is named with the number there are") {
  const Scratch file("trimwright_recording_two.wav");
  write_wav(file.path, SF_FORMAT_PCM_16, 2, 100);
  CHECK(contains(error_of(file.path, two_channels()), "'tooth' is number 3, but the recording has 2"));
}

TEST_CASE(
    "a CSV recording is read by headings, its rate from the times, comments and either line end allowed") {
  for (const char* end : {"\n", "\r\n"}) {
    const Scratch file("trimwright_recording.csv");
    std::string text = std::string("# from a test bench") + end + "t,x,pulse" + end;
    for (int i = 0; i < 3000; ++i)
      text += std::to_string(i * 0.0005) + "," + std::to_string(i) + "," + std::to_string(-i) + end;
    file.write(text);
    auto reader = RecordingReader::open(file.path, csv_columns());
    REQUIRE(reader);
    CHECK(reader->sample_rate_hz() == 2000.0);
    std::vector<std::vector<float>> channels;
    int at = 0;
    for (;;) {
      const auto got = reader->read(777, channels);
      REQUIRE(got);
      if (*got == 0) break;
      for (std::size_t i = 0; i < *got; ++i, ++at) {
        CHECK(channels[0][i] == static_cast<float>(-at));
        CHECK(channels[1][i] == static_cast<float>(2 * at));
      }
    }
    CHECK(at == 3000);
  }
}

TEST_CASE("what is wrong in a CSV recording is named with its line") {
  const Scratch file("trimwright_recording_bad.csv");
  const auto with_row = [&](const std::string& row) {
    file.write("t,x,pulse\n0.000,1,1\n0.001,1,1\n0.002,1,1\n" + row + "\n0.004,1,1\n");
    return error_of(file.path, csv_columns());
  };
  CHECK(with_row("0.003,1,1") == "");
  CHECK(contains(with_row("0.003,nan,1"), ":5: 'nan' in column 2"));
  CHECK(contains(with_row("0.003,1,"), ":5: '' in column 3"));
  CHECK(contains(with_row("0.003,1"), ":5: 2 cells in this row"));
  CHECK(contains(with_row("0.001,1,1"), ":5: time 0.001 s after 0.002 s"));
  file.write("t,x\n0,1\n");
  CHECK(contains(error_of(file.path, csv_columns()), "'pulse', which is not there; expected one of: t, x"));
}

TEST_CASE("a gap in the times of a CSV recording is an error, and a rate must come from somewhere") {
  const Scratch file("trimwright_recording_gap.csv");
  std::string text = "t,x,pulse\n";
  for (int i = 0; i < 3000; ++i) text += std::to_string(i * 0.001 + (i > 2000 ? 0.5 : 0.0)) + ",0,0\n";
  file.write(text);
  CHECK(contains(error_of(file.path, csv_columns()), "2003: time jumps from 2 s to 2.501 s"));
  RecordingDescription timeless = csv_columns();
  timeless.time_column.clear();
  CHECK(contains(error_of(file.path, timeless), "sample rate unknown"));
  timeless.sample_rate_hz = 1000.0;
  CHECK(error_of(file.path, timeless) == "");
}

TEST_CASE("columns without headings are taken by number") {
  const Scratch file("trimwright_recording_plain.csv");
  file.write("1,2,3\n4,5,6\n7,8,9\n");
  RecordingDescription description;
  description.channels = {{"tooth", 3}};
  description.sample_rate_hz = 100.0;
  auto reader = RecordingReader::open(file.path, description);
  REQUIRE(reader);
  std::vector<std::vector<float>> channels;
  REQUIRE(reader->read(10, channels) == 3U);
  CHECK(channels[0] == std::vector<float>{3.0F, 6.0F, 9.0F});
}
