#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "base/name.hpp"
#include "base/new_file.hpp"
#include "base/text.hpp"
#include "day.hpp"
#include "io/csv_rows.hpp"
#include "job.hpp"
#include "recorded_run.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/phasor.hpp"
#include "virtual_rotor/demonstration.hpp"
#include "virtual_rotor/draws.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// Streams of a rehearsal's seed and of a run's; `virtual_run` and `record_run` have others.
constexpr std::uint64_t run_stream = 1000, reference_stream = 1005;

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
  if (const auto run = run_named(job, name))
    return fail("--name: the job has a run \"" + job.runs[*run].name + "\" already",
                "a name of its own for each run");
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

Result<void> write_run(const Rehearsal& rehearsal, const Job& job, const RealRun& run,
                       const std::string& path) {
  if (run.asked.readings_only) {
    const auto table = readings_table(rehearsal, job, run);
    if (!table) return tl::unexpected(table.error());
    return write_text_file(path, *table, NewFile::Existing::refused);
  }
  return record_run(rehearsal, job, run, path);
}

}  // namespace

std::uint64_t seed_of_run(const Rehearsal& rehearsal, std::size_t run) {
  return virtual_rotor::Draws(rehearsal.seed, run_stream).bits(run);
}

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
