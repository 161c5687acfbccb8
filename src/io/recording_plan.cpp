#include "recording_plan.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <filesystem>

#include "base/text.hpp"
#include "fitted_fields.hpp"
#include "recording_fields.hpp"
#include "trade_values.hpp"
#include "trimwright/files.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

struct Scale {
  std::string_view unit;
  double factor;
};

/// "12 us" and the like: a number with one of `scales`.
Result<double> parse_scaled(std::string_view text, const std::vector<Scale>& scales,
                            const std::string& expected) {
  const auto quantity = parse_quantity(text);
  if (!quantity) return fail(quantity.error().what, expected);
  for (const Scale& scale : scales)
    if (quantity->unit == scale.unit) return quantity->value * scale.factor;
  return fail("\"" + shortened(text) + "\" has no unit known here", expected);
}

Result<double> parse_delay_s(std::string_view text) {
  auto delay = parse_scaled(text, {{"us", 1e-6}, {"µs", 1e-6}, {"ms", 1e-3}, {"s", 1.0}},
                            "a time such as \"12 us\" or \"0.3 ms\"");
  if (delay && std::abs(*delay) > 1.0)
    return fail("\"" + shortened(text) + "\" is too long for a signal chain", "at most 1 s either way");
  return delay;
}

Result<double> parse_volts(std::string_view text) {
  auto volts = parse_scaled(text, {{"V", 1.0}, {"mV", 1e-3}}, "a voltage such as \"10 V\"");
  if (volts && !(*volts > 0.0))
    return fail("\"" + shortened(text) + "\" is not above zero", "such as \"10 V\"");
  return volts;
}

Result<double> parse_rate_hz(std::string_view text) {
  auto rate = parse_scaled(text, {{"Hz", 1.0}, {"kHz", 1e3}}, "a rate such as \"25600 Hz\"");
  if (rate && !(*rate > 0.0))
    return fail("\"" + shortened(text) + "\" is not above zero", "such as \"25600 Hz\"");
  return rate;
}

/// Lead [rad] of "12 deg lead" or "12 deg lag"; "0 deg" needs neither.
Result<double> parse_phase_shift_rad(std::string_view text) {
  const std::string expected = "\"12 deg lead\", \"12 deg lag\", or \"0 deg\"";
  const auto quantity = parse_quantity(text);
  if (!quantity) return fail(quantity.error().what, expected);
  if (std::abs(quantity->value) > 360.0)
    return fail("\"" + shortened(text) + "\" is more than a turn", expected);
  const bool none = quantity->value == 0.0 && quantity->unit == "deg";
  if (!none && quantity->unit != "deg lead" && quantity->unit != "deg lag")
    return fail("\"" + shortened(text) + "\" does not say lead or lag", expected);
  return radians(quantity->unit == "deg lag" ? -quantity->value : quantity->value);
}

ChannelPlace read_place(const YamlValue& value) {
  const std::string text = value.label();
  ChannelPlace place;
  const auto number = parse_quantity(text);
  if (number && number->unit.empty())
    place.number = value.whole_number(1, 1024);
  else
    place.heading = text;
  return place;
}

RecordedElement read_element(const YamlValue& value, const Rotor& rotor) {
  YamlFields fields(value, "{channel: N, volts_full_scale: 10 V, delay: 12 us, at: 90 deg with rotation}");
  RecordedElement element;
  element.place = read_place(fields.required("channel"));
  if (const auto volts = fields.optional("volts_full_scale"))
    element.volts_full_scale = volts->parsed(parse_volts);
  if (const auto delay = fields.optional("delay")) element.delay_s = delay->parsed(parse_delay_s);
  if (const auto at = fields.optional("at")) element.at_rad = read_rotor_angle(*at, rotor.rotation).radians();
  fields.finish();
  return element;
}

/// A peak amplitude's unit, or the sensor's own display unit.
Result<VibrationUnit> parse_peak_unit(std::string_view symbol, const VibrationUnit& sensor_unit) {
  if (sensor_unit.quantity != MotionQuantity::as_shown)
    return parse_vibration_unit(std::string(symbol) + " peak");
  if (symbol == sensor_unit.symbol) return sensor_unit;
  return fail("\"" + shortened(symbol) + "\" does not become the sensor's display unit",
              "\"" + sensor_unit.symbol + "\"");
}

RecordedVibration read_vibration(const YamlValue& value, const Rotor& rotor) {
  YamlFields fields(value, "{channel: N, sensor: ..., volts_full_scale: 10 V, sensitivity: 100 mV per in/s}");
  RecordedVibration channel;
  channel.place = read_place(fields.required("channel"));
  channel.sensor.sensor = read_sensor_name(fields.required("sensor"), rotor);
  const VibrationUnit& sensor_unit = rotor.sensors[channel.sensor.sensor].unit;
  if (const auto volts = fields.optional("volts_full_scale"))
    channel.volts_full_scale = volts->parsed(parse_volts);
  const auto sensitivity = fields.optional("sensitivity");
  const auto unit = fields.optional("unit");
  if (sensitivity.has_value() == unit.has_value())
    value.reject("the channel does not say what its samples mean",
                 "either sensitivity (per volt), or unit when the samples are in it already");
  if (unit) {
    channel.sensor.recorded =
        unit->parsed([&](std::string_view text) { return parse_peak_unit(text, sensor_unit); });
    if (channel.volts_full_scale) unit->reject("samples in a unit have no volts_full_scale", "sensitivity");
  } else {
    const auto stated =
        sensitivity->parsed([&](std::string_view text) { return parse_sensitivity(text, sensor_unit); });
    channel.unit_per_volt = stated.unit_per_volt;
    channel.sensor.recorded = stated.unit;
  }
  if (const auto delay = fields.optional("delay")) channel.delay_s = delay->parsed(parse_delay_s);
  if (const auto shift = fields.optional("phase_shift"))
    channel.phase_shift_rad = shift->parsed(parse_phase_shift_rad);
  fields.finish();
  return channel;
}

void check_each_once(const YamlValue& value, const RecordingPlan& plan, const Rotor& rotor) {
  std::vector<std::string> places;
  for (const auto& element : plan.reference) places.push_back(element.place.text());
  std::vector<int> used(rotor.sensors.size());
  for (const auto& channel : plan.vibration) {
    places.push_back(channel.place.text());
    if (++used[channel.sensor.sensor] > 1)
      value.reject("two channels are of sensor \"" + rotor.sensors[channel.sensor.sensor].name + "\"",
                   "one channel for each sensor");
  }
  for (std::size_t i = 0; i < places.size(); ++i)
    for (std::size_t j = 0; j < i; ++j)
      if (places[i] == places[j])
        value.reject(places[i] + " is taken twice", "a channel of its own for each");
}

void read_speeds(const YamlValue& value, const Rotor& rotor, RecordingPlan& plan) {
  YamlFields fields(value, "{from: 5 %, to: 110 %}");
  plan.lowest_rpm = read_speed(fields.required("from"), rotor);
  plan.highest_rpm = read_speed(fields.required("to"), rotor);
  if (!(plan.highest_rpm > plan.lowest_rpm))
    value.reject("the range ends where it begins, or before", "from below to");
  fields.finish();
}

}  // namespace

std::string ChannelPlace::text() const {
  return number > 0 ? fmt::format("channel {}", number) : fmt::format("column \"{}\"", heading);
}

Result<TimeSpan> parse_time_span(std::string_view text) {
  const std::string expected = "a stretch of the recording such as \"10 s to 40 s\"";
  const auto between = text.find(" to ");
  if (between == std::string_view::npos) return fail("\"" + shortened(text) + "\" has no \"to\"", expected);
  TimeSpan span;
  const std::array<std::pair<std::string_view, double*>, 2> ends{
      {{text.substr(0, between), &span.begin_s}, {text.substr(between + 4), &span.end_s}}};
  for (const auto& [end, seconds] : ends) {
    const auto time = parse_scaled(end, {{"s", 1.0}, {"min", 60.0}}, expected);
    if (!time) return tl::unexpected(time.error());
    *seconds = *time;
  }
  if (span.begin_s < 0.0 || !(span.end_s > span.begin_s))
    return fail("\"" + shortened(text) + "\" does not end after it begins", expected);
  return span;
}

Result<Sensitivity> parse_sensitivity(std::string_view text, const VibrationUnit& sensor_unit) {
  const std::string expected = sensor_unit.quantity == MotionQuantity::as_shown
                                   ? "\"100 mV per " + sensor_unit.symbol + "\""
                                   : "volts per unit, such as \"100 mV per in/s\" or \"10 mV per g\"";
  const auto quantity = parse_quantity(text);
  if (!quantity) return fail(quantity.error().what, expected);
  double volts = 0.0;
  std::string_view unit = quantity->unit;
  for (const Scale& scale : {Scale{"mV per ", 1e-3}, Scale{"V per ", 1.0}}) {
    if (!unit.starts_with(scale.unit)) continue;
    volts = quantity->value * scale.factor;
    unit.remove_prefix(scale.unit.size());
    break;
  }
  if (unit.size() == quantity->unit.size())
    return fail("\"" + shortened(text) + "\" is no sensitivity", expected);
  if (std::abs(volts) < 1e-9)
    return fail("\"" + shortened(text) + "\" is no sensitivity above zero", expected);
  const auto peak = parse_peak_unit(unit, sensor_unit);
  if (!peak) return fail(peak.error().what, expected);
  return Sensitivity{1.0 / volts, *peak};
}

Result<RecordingDescription> RecordingPlan::description(const std::string& file) const {
  const bool csv = lower_case(std::filesystem::path(file).extension().string()) == ".csv";
  RecordingDescription wanted;
  if (csv) {
    wanted.sample_rate_hz = sample_rate_hz;
    wanted.time_column = time_column;
  }
  const auto add = [&](const ChannelPlace& place, const std::string& name, const std::string& unit,
                       double volts, double unit_per_volt) -> Result<void> {
    if (!csv && place.number == 0)
      return fail("the job names " + place.text() + ", but only a CSV recording has headings",
                  "a channel number in the job's recording", {file, 0, {}});
    wanted.channels.push_back({name, place.number, place.heading, unit, volts, unit_per_volt});
    return {};
  };
  for (const auto& element : reference)
    if (auto ok = add(element.place, "tooth, " + element.place.text(), "V",
                      element.volts_full_scale.value_or(1.0), 1.0);
        !ok)
      return tl::unexpected(ok.error());
  for (const auto& channel : vibration) {
    if (!csv && channel.unit_per_volt && !channel.volts_full_scale)
      return fail(channel.place.text() + " is in volts, but the job does not say how many are full scale",
                  "volts_full_scale in the job's recording", {file, 0, {}});
    if (auto ok = add(channel.place, channel.place.text(), channel.sensor.recorded.symbol,
                      channel.volts_full_scale.value_or(1.0), channel.unit_per_volt.value_or(1.0));
        !ok)
      return tl::unexpected(ok.error());
  }
  return wanted;
}

RecordingPlan read_recording_plan(const YamlValue& value, const Rotor& rotor) {
  YamlFields fields(value, "{reference: [...], vibration: [...], speeds: {from: ..., to: ...}}");
  if (!rotor.reference.polarity_stated)
    value.reject(
        "recordings are read by the slope of the pickup's signal, and the rotor file does not tell it",
        "polarity: falling or rising in the reference of the rotor file");
  RecordingPlan plan;
  if (const auto rate = fields.optional("sample_rate")) plan.sample_rate_hz = rate->parsed(parse_rate_hz);
  if (const auto column = fields.optional("time_column")) plan.time_column = column->label();
  if (plan.sample_rate_hz && !plan.time_column.empty())
    value.reject("both a sample rate and a column of times stand here", "one of the two");
  const auto reference = fields.required("reference");
  for (const auto& one : reference.list("a list of sensing elements"))
    plan.reference.push_back(read_element(one, rotor));
  if (plan.reference.empty()) reference.reject("the list is empty", "the channel of the reference teeth");
  const auto vibration = fields.required("vibration");
  for (const auto& one : vibration.list("a list of vibration channels"))
    plan.vibration.push_back(read_vibration(one, rotor));
  if (plan.vibration.empty()) vibration.reject("the list is empty", "at least one vibration channel");
  const auto speeds = fields.optional("speeds");
  if (!speeds)
    value.reject("key \"speeds\" is missing: between which speeds the rotor turns in the recordings",
                 "for example speeds: {from: 5 %, to: 110 %}");
  read_speeds(*speeds, rotor, plan);
  if (const auto ring = fields.optional("ring")) plan.ring_file = path_beside(value.file(), ring->label());
  fields.finish();
  check_each_once(value, plan, rotor);
  return plan;
}

}  // namespace trimwright
