#include "recorded_run.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <sndfile.hh>

#include "base/new_file.hpp"
#include "job.hpp"
#include "virtual_rotor/draws.hpp"
#include "virtual_rotor/virtual_recording.hpp"

namespace trimwright {
namespace {

constexpr int sample_rate = 25600;
constexpr std::int64_t block_samples = 8192;

/// Streams of a recorded run's seed.
constexpr std::uint64_t seating_stream = 1001, gain_stream = 1002, speed_stream = 1003;

/// A thermal state that scales every level: the same as all unbalance scaled, the rotor being linear.
Result<virtual_rotor::AssembledRotor> rotor_of_run(const Rehearsal& rehearsal, Phasor gain) {
  auto rotor = rehearsal.truth.rotor();
  for (auto& hidden : rotor.as_found) hidden.moment *= gain;
  return virtual_rotor::assemble(std::move(rotor));
}

/// Up through the speeds, each held for ten seconds.
virtual_rotor::SpeedProfile profile(const Rehearsal& rehearsal, const std::vector<double>& speeds,
                                    std::uint64_t seed) {
  const virtual_rotor::Draws held(seed, speed_stream);
  const double full = rehearsal.truth.rotor().full_speed_rpm;
  virtual_rotor::SpeedProfile speed;
  speed.start_rpm = 0.5 * full;
  speed.start_angle_deg = 360.0 * held.uniform(100);
  speed.wander_rpm = 1.5;
  speed.wander_period_s = 7.0;
  std::uint64_t point = 0;
  for (const double rpm : speeds) {
    speed.ramp_to(rpm * (1.0 + rehearsal.scatter.speed * held.gaussian(point++)), 3.0);
    speed.dwell(10.0);
  }
  speed.ramp_to(std::min(0.85 * full, speeds.back()), 3.0);
  return speed;
}

std::vector<virtual_rotor::SensingElement> elements(const Rotor& rotor, const PickupState& pickup) {
  std::vector<virtual_rotor::SensingElement> all(recorded_elements);
  for (std::size_t i = 0; i < all.size(); ++i) {
    all[i].name = fmt::format("reference {}", i + 1);
    all[i].polarity =
        rotor.reference.falling ? virtual_rotor::ZeroCrossing::falling : virtual_rotor::ZeroCrossing::rising;
    all[i].gap_mm = 1.0 + 0.05 * static_cast<double>(i);
    all[i].volts_at_full_speed = 8.0;
    all[i].noise_rms = 0.08;
    all[i].baseline_volts = 0.15;
  }
  all[0].gap_mm = pickup.gap_mm;
  all[0].debris = pickup.debris;
  return all;
}

/// Beside the rotor's own: the other shaft, a second harmonic, blade passing, hum and noise [mm/s].
virtual_rotor::VibrationChannel disturbed_channel(int sensor, int blades) {
  virtual_rotor::VibrationChannel channel;
  channel.sensor = sensor;
  channel.noise_rms = 0.6;
  channel.delay_s = vibration_delay_s;
  channel.orders = {{2.37, 1.5, 40.0 + 70.0 * sensor, 1.0}, {2.0, 0.5, 110.0, 1.0}};
  if (blades > 0) channel.orders.push_back({static_cast<double>(blades), 0.8, 15.0, 2.0});
  channel.fixed = {{50.0, 0.2, 10.0}};
  return channel;
}

Result<virtual_rotor::VirtualRecording> recording_of(const Rehearsal& rehearsal, const Job& job,
                                                     const RealRun& run) {
  const auto seed = seed_of_run(rehearsal, job.runs.size());
  const Phasor gain = run.turn * (1.0 + rehearsal.scatter.gain_of_run *
                                            virtual_rotor::Draws(seed, gain_stream).gaussian_pair(0));
  const auto rotor = rotor_of_run(rehearsal, gain);
  if (!rotor) return tl::unexpected(rotor.error());
  const virtual_rotor::Draws seating(seed, seating_stream);
  virtual_rotor::RecordingSetup setup;
  for (const auto& moment : unbalance_with(job, run.fitted))
    setup.unbalance.push_back(
        gain * (moment + rehearsal.scatter.seating_moment * seating.gaussian_pair(setup.unbalance.size())));
  setup.speed = profile(rehearsal, run.speeds_rpm, seed);
  setup.sample_rate = sample_rate;
  setup.ring.teeth = rehearsal.rotor.reference.teeth;
  setup.elements = elements(rehearsal.rotor, rehearsal.pickup);
  const int blades = rehearsal.rotor.blades ? rehearsal.rotor.blades->count : 0;
  for (int s = 0; s < static_cast<int>(rehearsal.rotor.sensors.size()); ++s)
    setup.vibration.push_back(disturbed_channel(s, blades));
  setup.seed = seed;
  return virtual_rotor::VirtualRecording::of(*rotor, setup);
}

/// What a sample of each channel is in parts of the recorder's full scale.
Eigen::RowVectorXd channel_scales(const Rehearsal& rehearsal, std::optional<std::size_t> turned_over) {
  const auto sensors = static_cast<Eigen::Index>(rehearsal.rotor.sensors.size());
  Eigen::RowVectorXd scales =
      Eigen::RowVectorXd::Constant(recorded_elements + sensors, 1.0 / tooth_volts_full_scale);
  for (Eigen::Index s = 0; s < sensors; ++s) {
    const bool inward = rehearsal.rotor.sensors[static_cast<std::size_t>(s)].positive_inward !=
                        (turned_over == static_cast<std::size_t>(s));
    scales(recorded_elements + s) = (inward ? -1.0 : 1.0) * volts_per_mm_s / vibration_volts_full_scale;
  }
  return scales;
}

bool write_blocks(SndfileHandle& out, const virtual_rotor::VirtualRecording& recording,
                  const Eigen::RowVectorXd& scales, const std::function<void(double)>& progress) {
  using Interleaved = Eigen::Matrix<float, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
  for (std::int64_t first = 0; first < recording.samples(); first += block_samples) {
    const auto count = std::min(block_samples, recording.samples() - first);
    const Eigen::MatrixXd scaled = recording.block(first, count) * scales.asDiagonal();
    const Interleaved samples = scaled.cast<float>();
    if (out.writef(samples.data(), count) != count) return false;
    if (progress) progress(static_cast<double>(first + count) / static_cast<double>(recording.samples()));
  }
  return true;
}

/// WAV, 24 bit; what exceeds the recorder's full scale is clipped, as a recorder does.
Result<void> write_recording(const std::string& path, const virtual_rotor::VirtualRecording& recording,
                             const Eigen::RowVectorXd& scales, const std::function<void(double)>& progress) {
  auto file = NewFile::create(path, NewFile::Existing::refused);
  if (!file) return tl::unexpected(file.error());
  SndfileHandle out(file->descriptor(), false, SFM_WRITE, SF_FORMAT_WAV | SF_FORMAT_PCM_24,
                    static_cast<int>(scales.size()), sample_rate);
  bool whole = out && out.error() == 0;
  if (whole) {
    out.command(SFC_SET_CLIPPING, nullptr, SF_TRUE);
    whole = write_blocks(out, recording, scales, progress);
  }
  const std::string why = out.strError();
  out = SndfileHandle();  // writes the header
  if (whole) return file->finish();
  return tl::unexpected(Error{"the recording cannot be written (" + why + ")",
                              "a folder this user may write to, with room",
                              {path, unwritten, {}}});
}

}  // namespace

Result<void> record_run(const Rehearsal& rehearsal, const Job& job, const RealRun& run,
                        const std::string& path) {
  const auto recording = recording_of(rehearsal, job, run);
  if (!recording) return tl::unexpected(recording.error());
  return write_recording(path, *recording, channel_scales(rehearsal, run.turned_over), run.asked.progress);
}

}  // namespace trimwright
