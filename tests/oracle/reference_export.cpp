// Writes simulated recordings with known truth and what the library reads from them, for reference_scipy.py.
//
//   reference_export FOLDER
//
// Per case: NAME.wav (32-bit float; channel 1 the tooth signal, channel 2 the vibration) and one entry in
// cases.json with the ring, the dwell, the library's phasor and the truth.

#include <fmt/format.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sndfile.hh>

#include "../reference/vibration_signal.hpp"
#include "io/recording.hpp"
#include "trimwright/reference.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

constexpr double seconds = 16.0;  // six blocks of eight revolutions at the slowest speed

struct Case {
  const char* name;
  RingSignal ring;
  VibrationSignal vibration;
};

std::vector<Case> cases() {
  std::vector<Case> all;
  for (const double part : {0.06, 0.3, 1.0})
    for (const bool noisy : {false, true}) {
      Case one;
      one.name = noisy ? "noisy" : "clean";
      one.ring.sample_rate_hz = 25600;
      one.ring.rpm = part * one.ring.full_rpm;
      one.ring.larger_ratio = 1.25;
      one.ring.noise_rms_db = noisy ? -20 : -200;
      one.ring.drop_probability = noisy ? 0.005 : 0.0;
      one.vibration.once = std::polar(0.6, 1.0 + part);
      one.vibration.higher = {0.3, 0.15};
      one.vibration.offset = 0.5;
      one.vibration.drift_per_s = 0.02;
      one.vibration.noise = noisy ? 0.2 : 0.0;
      all.push_back(one);
    }
  return all;
}

nlohmann::json written_and_read(const Case& one, const std::filesystem::path& file) {
  const auto tooth = one.ring.samples(seconds), shake = one.vibration.samples(one.ring, seconds);
  {
    SndfileHandle out(file.string(), SFM_WRITE, SF_FORMAT_WAV | SF_FORMAT_FLOAT, 2,
                      static_cast<int>(one.ring.sample_rate_hz));
    std::vector<float> both;
    for (std::size_t i = 0; i < tooth.size(); ++i) both.insert(both.end(), {tooth[i], shake[i]});
    out.writef(both.data(), static_cast<sf_count_t>(tooth.size()));
  }
  RecordingDescription description;
  description.channels = {{"tooth", 1}, {"front", 2}};
  auto reader = RecordingReader::open(file, description).value();
  const ToothRing ring{one.ring.teeth, CentreSlope::falling, 200.0, 6000.0, 0.0};
  auto extractor = ReadingExtractor::create(ring, reader.sample_rate_hz(), {{"front"}}, {}).value();
  std::vector<std::vector<float>> channels;
  while (reader.read(10000, channels).value() > 0) {
    const std::vector<std::span<const float>> vibration{channels[1]};
    if (!extractor.push(channels[0], vibration)) std::abort();
  }
  const DwellReading dwell = extractor.finish().dwells.at(0);
  const ChannelReading& reading = dwell.channels.at(0);
  return {{"file", file.filename().string()},
          {"teeth", ring.teeth},
          {"begin_s", dwell.span.begin_s},
          {"end_s", dwell.span.end_s},
          {"trusted", dwell.phase_trusted},
          {"rpm", dwell.speed_rpm},
          {"real", reading.value.real()},
          {"imag", reading.value.imag()},
          {"sd", reading.sd},
          {"true_real", one.vibration.once.real()},
          {"true_imag", one.vibration.once.imag()}};
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  const std::filesystem::path folder(argv[1]);
  std::filesystem::create_directories(folder);
  nlohmann::json list = nlohmann::json::array();
  for (const Case& one : cases())
    list.push_back(
        written_and_read(one, folder / fmt::format("{}_{}.wav", one.name, static_cast<int>(one.ring.rpm))));
  std::ofstream(folder / "cases.json") << list.dump(1) << "\n";
  return 0;
}
