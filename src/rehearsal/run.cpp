#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <sndfile.hh>

#include "base/name.hpp"
#include "base/new_file.hpp"
#include "base/text.hpp"
#include "day.hpp"
#include "io/csv_rows.hpp"
#include "job.hpp"
#include "trimwright/phasor.hpp"
#include "virtual_rotor/demonstration.hpp"
#include "virtual_rotor/draws.hpp"
#include "virtual_rotor/virtual_recording.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

constexpr int sample_rate = 25600;
constexpr std::int64_t block_samples = 8192;

/// Streams of a run's seed; `virtual_run` has its own.
constexpr std::uint64_t run_stream = 1000, seating_stream = 1001, gain_stream = 1002, speed_stream = 1003,
                        reference_stream = 1005;

/// Runs of a rehearsal differ, and the same run of the same rehearsal never does.
std::uint64_t seed_of_run(const Rehearsal& rehearsal, std::size_t run) {
  return virtual_rotor::Draws(rehearsal.seed, run_stream).bits(run);
}

/// A run as it really is.
struct RealRun {
  const RehearsalRun& asked;
  std::vector<FittedWeights> fitted;
  std::optional<std::size_t> turned_over;  ///< a sensor
  std::vector<double> speeds_rpm;          ///< completed
  Phasor turn = 1.0;                       ///< of all phases, by play of the reference
};

std::vector<double> speeds_rpm(const Rehearsal& rehearsal, std::size_t count) {
  std::vector<double> speeds;
  for (std::size_t i = 0; i < count; ++i)
    speeds.push_back(rehearsal_speeds_percent[i] / 100.0 * rehearsal.truth.rotor().full_speed_rpm);
  return speeds;
}

MotionQuantity motion(virtual_rotor::Quantity quantity) {
  switch (quantity) {
    case virtual_rotor::Quantity::displacement:
      return MotionQuantity::displacement;
    case virtual_rotor::Quantity::velocity:
      return MotionQuantity::velocity;
    case virtual_rotor::Quantity::acceleration:
      break;
  }
  return MotionQuantity::acceleration;
}

bool fits_a_file_name(const std::string& name) {
  const auto fits = [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte >= 0x80 || std::isalnum(byte) != 0 || c == ' ' || c == '-' || c == '_';
  };
  return !name.empty() && name.size() <= 60 && name.front() != ' ' && name.front() != '-' &&
         name.back() != ' ' && std::all_of(name.begin(), name.end(), fits);
}

Result<std::string> free_file_stem(const Rehearsal& rehearsal, const Job& job, const std::string& name) {
  if (!parse_name(name) || !fits_a_file_name(name))
    return fail("--name: \"" + shortened(name) + "\" cannot be the name of a run and its files",
                "at most 60 letters, digits, blanks, - and _, beginning with a letter or digit");
  for (const Run& run : job.runs)
    if (alike(run.name, name))
      return fail("--name: the job has a run \"" + run.name + "\" already", "a name of its own for each run");
  std::string stem = name;
  std::replace(stem.begin(), stem.end(), ' ', '-');
  for (const char* ending : {".wav", ".csv"})
    if (std::error_code status; fs::exists(rehearsal.file(stem + ending), status))
      return fail("this file is there already", "another name for the run",
                  {rehearsal.file(stem + ending), 0, {}});
  return stem;
}

std::string csv_row(const Rehearsal& rehearsal, const RealRun& run,
                    const virtual_rotor::VirtualReading& reading) {
  const auto s = static_cast<std::size_t>(reading.sensor);
  const Sensor& sensor = rehearsal.rotor.sensors[s];
  const Phasor x =
      (run.turned_over == s ? -run.turn : run.turn) *
      in_sensor_unit(sensor, rehearsal.truth.rotor().sensors[s].quantity, reading.value, reading.speed_rpm);
  const auto seen = shown(sensor, x, rehearsal.rotor.phase);
  return csv_line({run.asked.name, fmt::format("{:.1f} rpm", reading.speed_rpm), sensor.name,
                   fmt::format("{:.4f} {}", seen.amplitude, sensor.unit.text()),
                   fmt::format("{:.2f} deg", seen.phase_deg), "once-per-rev"});
}

Result<std::string> readings_table(const Rehearsal& rehearsal, const Job& job, const RealRun& run) {
  const auto readings =
      virtual_rotor::virtual_run(rehearsal.truth, unbalance_with(job, run.fitted), run.speeds_rpm,
                                 rehearsal.scatter, 1, seed_of_run(rehearsal, job.runs.size()));
  if (!readings) return tl::unexpected(readings.error());
  std::string table = csv_line({"run", "speed", "sensor", "amplitude", "phase", "component"});
  for (const auto& reading : *readings) table += csv_row(rehearsal, run, reading);
  return table;
}

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

Result<void> write_run(const Rehearsal& rehearsal, const Job& job, const RealRun& run,
                       const std::string& path) {
  if (run.asked.readings_only) {
    const auto table = readings_table(rehearsal, job, run);
    if (!table) return tl::unexpected(table.error());
    return write_text_file(path, *table, NewFile::Existing::refused);
  }
  const auto recording = recording_of(rehearsal, job, run);
  if (!recording) return tl::unexpected(recording.error());
  return write_recording(path, *recording, channel_scales(rehearsal, run.turned_over), run.asked.progress);
}

}  // namespace

Phasor in_sensor_unit(const Sensor& sensor, virtual_rotor::Quantity quantity, Phasor x, double rpm) {
  const VibrationUnit shown_by_model{motion(quantity), Detector::peak, 1e-3, "mm"};
  const auto peak = convert_peak(1.0, shown_by_model, sensor.unit, rpm);
  const double lead = phase_lead_deg(shown_by_model.quantity, sensor.unit.quantity);
  return *peak * std::polar(1.0, radians(lead)) * x;
}

Result<MadeRun> make_run(const Rehearsal& rehearsal, const Job& job, const RehearsalRun& run) {
  const auto stem = free_file_stem(rehearsal, job, run.name);
  if (!stem) return tl::unexpected(stem.error());
  const auto job_text = job_with_run(rehearsal, run, *stem + ".csv");
  if (!job_text) return tl::unexpected(job_text.error());
  RealRun real{run, run.fitted, {}, {}};
  if (auto slip = planted_slip(rehearsal, job, job.runs.size(), run.fitted)) {
    real.fitted = std::move(slip->fitted);
    real.turned_over = slip->turned_over;
  }
  const Completed done = completed(rehearsal, job, real.fitted);
  if (done.speeds == 0)
    return fail("run \"" + run.name + "\" gives no reading: " + done.stopped, "other weights");
  real.speeds_rpm = speeds_rpm(rehearsal, done.speeds);
  const virtual_rotor::Draws play(seed_of_run(rehearsal, job.runs.size()), reference_stream);
  real.turn = std::polar(1.0, radians(rehearsal.reference_play_deg * play.gaussian(0)));
  const MadeRun made{rehearsal.file(*stem + (run.readings_only ? ".csv" : ".wav")),
                     rehearsal.file(*stem + ".csv"), done.stopped};
  if (const auto written = write_run(rehearsal, job, real, made.made); !written)
    return tl::unexpected(written.error());
  if (const auto written = write_text_file(rehearsal.file("job.yaml"), *job_text); !written) {
    std::remove(made.made.c_str());  // a run that the job does not know was not made
    return tl::unexpected(written.error());
  }
  return made;
}

}  // namespace trimwright
