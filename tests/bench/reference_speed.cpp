// Samples per second of tooth tracking, reading extraction and channel checks together: one tooth channel and
// three vibration channels, 51.2 kHz, 34 teeth, one core. "times_real" is recording time over computing time.
// The same algorithm in vectorised NumPy/SciPy: reference_numpy.py beside this file, on the recording this
// program writes.
//
//   reference_speed                      the benchmark
//   reference_speed --write FILE         the recording as raw 32-bit floats, four channels interleaved
//   reference_speed --memory             largest resident memory after 1, 10 and 60 minutes of signal

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <sys/resource.h>

#include <cstring>
#include <fstream>

#include "../reference/vibration_signal.hpp"
#include "trimwright/reference.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

constexpr double seconds = 20.0;
constexpr std::size_t piece = 8192;
const ToothRing ring{34, CentreSlope::falling, 200.0, 6000.0, 0.0};

struct Recorded {
  RingSignal shaft;
  std::vector<std::vector<float>> channels;  ///< the tooth channel first
};

/// The speed is set so that the recording holds whole revolutions: it can be repeated without a seam.
Recorded recorded(double rpm) {
  Recorded recording;
  recording.shaft.rpm = rpm;
  recording.shaft.noise_rms_db = -30;
  recording.channels.push_back(recording.shaft.samples(seconds));
  for (int k = 0; k < 3; ++k) {
    VibrationSignal vibration;
    vibration.once = std::polar(0.5 + 0.1 * k, 0.4 * k);
    vibration.higher = {0.2, 0.1};
    vibration.noise = 0.1;
    vibration.seed = static_cast<std::uint64_t>(20 + k);
    recording.channels.push_back(vibration.samples(recording.shaft, seconds));
  }
  return recording;
}

void feed(ReadingExtractor& extractor, const Recorded& recording) {
  const std::size_t count = recording.channels.front().size();
  std::vector<std::span<const float>> vibration(3);
  for (std::size_t begin = 0; begin < count; begin += piece) {
    const std::size_t length = std::min(piece, count - begin);
    for (std::size_t k = 0; k < 3; ++k)
      vibration[k] = std::span(recording.channels[k + 1]).subspan(begin, length);
    if (!extractor.push(std::span(recording.channels[0]).subspan(begin, length), vibration)) std::abort();
  }
}

ReadingExtractor extractor() {
  return *ReadingExtractor::create(ring, 51200.0, {{"front"}, {"middle"}, {"turbine"}}, {});
}

void read_recording(benchmark::State& state) {
  const Recorded recording = recorded(static_cast<double>(state.range(0)));
  for (auto _ : state) {
    ReadingExtractor reading = extractor();
    feed(reading, recording);
    benchmark::DoNotOptimize(reading.finish());
  }
  const double frames = seconds * 51200.0 * static_cast<double>(state.iterations());
  state.counters["samples"] = benchmark::Counter(4.0 * frames, benchmark::Counter::kIsRate);
  state.counters["times_real"] =
      benchmark::Counter(seconds * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}
BENCHMARK(read_recording)->Arg(600)->Arg(3000)->Arg(5100)->Unit(benchmark::kMillisecond);

void report_memory() {
  const Recorded recording = recorded(3000.0);
  ReadingExtractor reading = extractor();
  int fed = 0;
  for (const int minutes : {1, 10, 60}) {
    for (; fed < minutes * 3; ++fed) feed(reading, recording);
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    fmt::print("{:3} min: {:.1f} MB resident at most, the repeated {:.0f} s of signal included\n", minutes,
               static_cast<double>(usage.ru_maxrss) / 1024.0, seconds);
  }
  const Extraction extraction = reading.finish();
  fmt::print("dwells {}, blocks {}, trusted {}\n", extraction.dwells.size(), extraction.health.blocks,
             extraction.health.trusted_blocks);
}

void write_recording(const char* file) {
  const Recorded recording = recorded(3000.0);
  std::ofstream out(file, std::ios::binary);
  for (std::size_t i = 0; i < recording.channels.front().size(); ++i)
    for (const auto& channel : recording.channels)
      out.write(reinterpret_cast<const char*>(&channel[i]), sizeof(float));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc > 2 && std::strcmp(argv[1], "--write") == 0) {
    write_recording(argv[2]);
    return 0;
  }
  if (argc > 1 && std::strcmp(argv[1], "--memory") == 0) {
    report_memory();
    return 0;
  }
  benchmark::Initialize(&argc, argv);
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}
