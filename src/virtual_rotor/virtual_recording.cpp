#include "virtual_recording.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <utility>

#include "possible.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright::virtual_rotor {

namespace {

constexpr double table_step = 0.001;  // of full speed
/// Streams of one seed: debris of element i, noise of element i, noise of vibration channel i.
constexpr std::uint64_t debris_stream = 0, pickup_noise_stream = 1U << 16U, noise_stream = 1U << 17U;

Result<void> check_tones(const VibrationChannel& channel, const std::string& key, double highest_speed,
                         double sample_rate) {
  const double highest_hz = 0.5 * sample_rate;
  const double turns_hz = highest_speed / (2.0 * pi);
  for (const OrderTone& tone : channel.orders) {
    if (!not_negative(tone.order) || tone.order * turns_hz >= highest_hz) {
      return wrong(key + ".orders.order", tone.order,
                   "a vibration below half the sample rate at every speed");
    }
    if (!not_negative(tone.power))
      return wrong(key + ".orders.power", tone.power, "zero or a number above it");
    if (!std::isfinite(tone.amplitude + tone.lead_deg)) {
      return wrong(key + ".orders", tone.amplitude + tone.lead_deg, "finite numbers");
    }
  }
  for (const FixedTone& tone : channel.fixed) {
    if (!not_negative(tone.hz) || tone.hz >= highest_hz) {
      return wrong(key + ".fixed.hz", tone.hz, "a frequency below half the sample rate");
    }
    if (!std::isfinite(tone.amplitude + tone.lead_deg)) {
      return wrong(key + ".fixed", tone.amplitude + tone.lead_deg, "finite numbers");
    }
  }
  return {};
}

Result<void> check_channel(const VibrationChannel& channel, const std::string& key,
                           const VirtualRotor& rotor) {
  if (channel.sensor < 0 || static_cast<std::size_t>(channel.sensor) >= rotor.sensors.size()) {
    return wrong(key + ".sensor", channel.sensor, "one of the rotor's sensors");
  }
  if (!not_negative(channel.noise_rms)) return wrong(key + ".noise_rms", channel.noise_rms, "zero or above");
  if (!std::isfinite(channel.offset)) return wrong(key + ".offset", channel.offset, "a finite number");
  if (!not_negative(channel.delay_s)) return wrong(key + ".delay_s", channel.delay_s, "zero or above");
  return {};
}

Result<void> check_setup(const VirtualRotor& rotor, const RecordingSetup& setup, const ShaftMotion& motion) {
  if (!std::isfinite(setup.sample_rate) || setup.sample_rate <= 0.0) {
    return wrong("sample_rate", setup.sample_rate, "a number above zero");
  }
  if (setup.unbalance.size() != rotor.planes.size()) {
    return wrong("unbalance", static_cast<double>(setup.unbalance.size()), "one moment per plane");
  }
  for (const std::complex<double>& moment : setup.unbalance) {
    if (!std::isfinite(std::abs(moment))) return wrong("unbalance", std::abs(moment), "finite moments");
  }
  for (std::size_t i = 0; i < setup.vibration.size(); ++i) {
    const VibrationChannel& channel = setup.vibration[i];
    const std::string key = "vibration[" + std::to_string(i) + "]";
    if (auto checked = check_channel(channel, key, rotor); !checked) return checked;
    auto tones = check_tones(channel, key, motion.highest_speed(), setup.sample_rate);
    if (!tones) return tones;
  }
  return {};
}

Result<std::vector<ToothSignal>> tooth_signals(const RecordingSetup& setup, double full_speed_rpm) {
  std::vector<ToothSignal> signals;
  for (std::size_t i = 0; i < setup.elements.size(); ++i) {
    auto signal =
        ToothSignal::of(setup.ring, setup.elements[i], full_speed_rpm, setup.seed, debris_stream + i);
    if (!signal) {
      signal.error().where.key = "elements[" + std::to_string(i) + "]." + signal.error().where.key;
      return tl::unexpected<Error>(signal.error());
    }
    signals.push_back(*std::move(signal));
  }
  return signals;
}

std::vector<std::string> channel_names(const VirtualRotor& rotor, const RecordingSetup& setup) {
  std::vector<std::string> names;
  for (const SensingElement& element : setup.elements) names.push_back(element.name);
  for (const VibrationChannel& channel : setup.vibration) {
    names.push_back(rotor.sensors[static_cast<std::size_t>(channel.sensor)].name);
  }
  return names;
}

}  // namespace

Result<VirtualRecording> VirtualRecording::of(const AssembledRotor& assembled, const RecordingSetup& setup) {
  const VirtualRotor& rotor = assembled.rotor();
  auto motion = ShaftMotion::of(setup.speed);
  if (!motion) return tl::unexpected<Error>(motion.error());
  if (auto checked = check_setup(rotor, setup, *motion); !checked)
    return tl::unexpected<Error>(checked.error());
  auto teeth = tooth_signals(setup, rotor.full_speed_rpm);
  if (!teeth) return tl::unexpected<Error>(teeth.error());
  VirtualRecording recording(setup, *std::move(motion), *std::move(teeth), rad_per_s(rotor.full_speed_rpm));
  recording.names_ = channel_names(rotor, setup);
  recording.table_ = table(assembled, setup, recording.motion_);
  return recording;
}

VirtualRecording::VirtualRecording(RecordingSetup setup, ShaftMotion motion, std::vector<ToothSignal> teeth,
                                   double full_speed)
    : setup_(std::move(setup)),
      motion_(std::move(motion)),
      teeth_(std::move(teeth)),
      full_speed_(full_speed),
      samples_(
          static_cast<std::int64_t>(std::floor(motion_.duration() * setup_.sample_rate * (1.0 + 1e-12)))) {}

VirtualRecording::SpeedTable VirtualRecording::table(const AssembledRotor& assembled,
                                                     const RecordingSetup& setup, const ShaftMotion& motion) {
  SpeedTable table;
  const double span = motion.highest_speed() - motion.lowest_speed();
  const double widest = table_step * rad_per_s(assembled.rotor().full_speed_rpm);
  const auto steps = static_cast<Eigen::Index>(std::ceil(span / widest));
  table.first = motion.lowest_speed();
  table.step = steps > 0 ? span / static_cast<double>(steps) : 1.0;
  const auto channels = static_cast<Eigen::Index>(setup.vibration.size());
  table.value.resize(steps + 1, channels);
  table.slope.resize(steps + 1, channels);
  for (Eigen::Index i = 0; i <= steps; ++i) {
    const double speed = table.first + static_cast<double>(i) * table.step;
    const SpeedResponseSlope response = speed_response_slope(assembled, rpm(speed));
    const Eigen::VectorXcd value = vibration(response.value, setup.unbalance);
    const Eigen::VectorXcd slope = vibration(response.slope, setup.unbalance);
    for (Eigen::Index c = 0; c < channels; ++c) {
      const int sensor = setup.vibration[static_cast<std::size_t>(c)].sensor;
      table.value(i, c) = value(sensor);
      table.slope(i, c) = slope(sensor);
    }
  }
  return table;
}

Phasor VirtualRecording::SpeedTable::at(double speed, Eigen::Index channel) const {
  if (value.rows() == 1) return value(0, channel);
  const double place = std::clamp((speed - first) / step, 0.0, static_cast<double>(value.rows() - 1));
  const Eigen::Index i = std::min(static_cast<Eigen::Index>(place), value.rows() - 2);
  const double u = place - static_cast<double>(i), v = 1.0 - u;
  return v * v * (1.0 + 2.0 * u) * value(i, channel) + u * u * (1.0 + 2.0 * v) * value(i + 1, channel) +
         step * u * v * (v * slope(i, channel) - u * slope(i + 1, channel));
}

Phasor VirtualRecording::truth(std::size_t channel, double speed_rpm) const {
  assert(channel < setup_.vibration.size());
  return table_.at(rad_per_s(speed_rpm), static_cast<Eigen::Index>(channel));
}

double VirtualRecording::vibration_sample(std::size_t channel, double time) const {
  const VibrationChannel& what = setup_.vibration[channel];
  const double then = time - what.delay_s;
  const ShaftState shaft = motion_.at(then);
  const Phasor x = table_.at(shaft.speed, static_cast<Eigen::Index>(channel));
  double sum = what.offset + x.real() * std::cos(shaft.angle) - x.imag() * std::sin(shaft.angle);
  for (const OrderTone& tone : what.orders) {
    const double amplitude =
        tone.power == 0.0 ? tone.amplitude : tone.amplitude * std::pow(shaft.speed / full_speed_, tone.power);
    sum += amplitude * std::cos(tone.order * shaft.angle + radians(tone.lead_deg));
  }
  for (const FixedTone& tone : what.fixed) {
    sum += tone.amplitude * std::cos(2.0 * pi * tone.hz * then + radians(tone.lead_deg));
  }
  return sum;
}

double VirtualRecording::pickup_sample(std::size_t element, double time) const {
  const SensingElement& what = setup_.elements[element];
  const double wander = what.baseline_volts * std::sin(2.0 * pi * what.baseline_hz * time);
  return teeth_[element].volts(motion_.at(time)) + wander;
}

Eigen::MatrixXd VirtualRecording::block(std::int64_t first, std::int64_t count) const {
  assert(first >= 0 && count >= 0 && first + count <= samples_);
  const std::size_t elements = setup_.elements.size(), channels = names_.size();
  Eigen::MatrixXd signals(count, static_cast<Eigen::Index>(channels));
  for (std::size_t channel = 0; channel < channels; ++channel) {
    const bool pickup = channel < elements;
    const std::size_t i = pickup ? channel : channel - elements;
    const double noise_rms = pickup ? setup_.elements[i].noise_rms : setup_.vibration[i].noise_rms;
    const Draws noise(setup_.seed, (pickup ? pickup_noise_stream : noise_stream) + i);
    for (Eigen::Index row = 0; row < count; ++row) {
      const std::int64_t sample = first + row;
      const double time = static_cast<double>(sample) / setup_.sample_rate;
      double value = pickup ? pickup_sample(i, time) : vibration_sample(i, time);
      if (noise_rms > 0.0) value += noise_rms * noise.gaussian(static_cast<std::uint64_t>(sample));
      signals(row, static_cast<Eigen::Index>(channel)) = value;
    }
  }
  return signals;
}

}  // namespace trimwright::virtual_rotor
