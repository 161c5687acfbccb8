#include "read_events.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "fitted_fields.hpp"
#include "runs/event_keys.hpp"
#include "trade_values.hpp"

namespace trimwright {
namespace {

/// Where a known change sits: {blade: 7} or {at: angle}.
RotorAngle read_change_angle(YamlFields& fields, const Rotor& rotor) {
  const auto blade = fields.optional("blade");
  const auto at = fields.optional("at");
  if (blade.has_value() == at.has_value())
    fields.map().reject("the change has no one place", "either blade or at");
  if (at) return read_rotor_angle(*at, rotor.rotation);
  if (!rotor.blades)
    blade->reject("the rotor file declares no blades", "at: angle, or blades in the rotor file");
  return rotor.blades->angle(blade->whole_number(1, rotor.blades->count));
}

/// An angle that phases as written grow by, "8.18 deg" or "1 tooth", in radians lead.
double read_turn(const YamlValue& value, const Rotor& rotor) {
  const std::string expected =
      "an angle that phases read more since then, such as \"8.18 deg\" or \"-1 tooth\"";
  const auto quantity = parse_quantity(value.text());
  if (!quantity) value.reject(quantity.error().what, expected);
  const bool of_teeth = quantity->unit == "tooth" || quantity->unit == "teeth";
  if (of_teeth && rotor.reference.teeth < 2)
    value.reject("the rotor file declares no teeth of the reference", expected);
  if (!of_teeth && quantity->unit != "deg")
    value.reject("\"" + value.text() + "\" is not an angle", expected);
  const double degrees = quantity->value * (of_teeth ? 360.0 / rotor.reference.teeth : 1.0);
  if (std::abs(degrees) > 360.0) value.reject("\"" + value.text() + "\" is more than one turn", expected);
  return (rotor.phase == PhaseConvention::lead ? 1.0 : -1.0) * radians(degrees);
}

double read_delay(const YamlValue& value) {
  const std::string expected = "how much later signals come since then, such as \"50 us\"";
  const auto quantity = parse_quantity(value.text());
  if (!quantity) value.reject(quantity.error().what, expected);
  const bool known = quantity->unit == "us" || quantity->unit == "µs" || quantity->unit == "ms";
  if (!known) value.reject("\"" + value.text() + "\" is not a short time", expected);
  const double seconds = quantity->value * (quantity->unit == "ms" ? 1e-3 : 1e-6);
  if (std::abs(seconds) > 0.1) value.reject("\"" + value.text() + "\" is longer than a turn takes", expected);
  return seconds;
}

/// {reference: moved}, {delay: changed}, {sensor: front} or {baseline: new}.
Event read_event(const YamlValue& value, const Rotor& rotor) {
  std::vector<std::string> forms;
  for (const auto& one : event_keys) forms.push_back(event_as_written(one.kind, "NAME"));
  const std::string last = forms.back();
  forms.pop_back();
  const std::string expected = fmt::format("{} or {}", fmt::join(forms, ", "), last);
  YamlFields fields(value, expected);
  Event event;
  int kinds = 0;
  for (const auto& [kind, key, word] : event_keys) {
    const auto said = fields.optional(key);
    if (!said) continue;
    if (word == nullptr)
      event.sensor = read_sensor_name(*said, rotor);
    else
      (void)said->choice<bool>({{word, true}});
    event.kind = kind;
    ++kinds;
  }
  if (kinds != 1) value.reject("this is not one thing that happened", expected);
  const bool turned = event.kind == Event::Kind::reference_moved;
  if (turned || event.kind == Event::Kind::delay_changed)
    if (const auto by = fields.optional("by")) event.by = turned ? read_turn(*by, rotor) : read_delay(*by);
  if (const auto note = fields.optional("note")) event.note = note->text();
  fields.finish();
  return event;
}

}  // namespace

KnownChange read_change(const YamlValue& value, const Rotor& rotor) {
  YamlFields fields(value, "{plane: ..., blade: N, moment_before: M, moment_after: M}");
  KnownChange change;
  change.plane = read_plane_name(fields.required("plane"), rotor);
  const auto direction = read_change_angle(fields, rotor).direction();
  if (const auto moment = fields.optional("moment")) {
    change.moment_g_mm = moment->parsed(parse_moment_g_mm) * direction;
  } else {
    const double before = fields.required("moment_before").parsed(parse_moment_g_mm);
    change.moment_g_mm = (fields.required("moment_after").parsed(parse_moment_g_mm) - before) * direction;
  }
  if (const auto note = fields.optional("note")) change.note = note->text();
  fields.finish();
  return change;
}

std::vector<Event> read_events(const YamlValue& value, const Rotor& rotor) {
  std::vector<Event> events;
  for (const auto& one : value.list("a list of what happened, such as [{reference: moved}]")) {
    const Event event = read_event(one, rotor);
    if (std::any_of(events.begin(), events.end(), [&](const Event& other) {
          return other.kind == event.kind && other.sensor == event.sensor;
        }))
      one.reject("this stands here twice", "each thing that happened before the run once");
    events.push_back(event);
  }
  return events;
}

}  // namespace trimwright
