#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/text.hpp"
#include "events.hpp"
#include "trimwright/influence.hpp"

namespace trimwright {
namespace {

std::string what_happened(const Job& job, const Event& event) {
  switch (event.kind) {
    case Event::Kind::reference_moved:
      return "the phase reference moved";
    case Event::Kind::delay_changed:
      return "the delay of the signals changed";
    case Event::Kind::sensor_changed:
      return "sensor \"" + job.rotor.sensors[event.sensor].name + "\" was changed";
    case Event::Kind::baseline_new:
      return "the rotor's baseline became another";
  }
  return {};
}

constexpr double degrees_of = 180.0 / std::numbers::pi;

/// "8.2° ± 0.4° more", as phases are written.
std::string turn_words(const InfluenceModel& model, double lead, double sd) {
  const double written = (model.convention == PhaseConvention::lead ? 1.0 : -1.0) * lead * degrees_of;
  const std::string about = sd > 0.0 ? fmt::format(" ± {:.2g}°", sd * degrees_of) : std::string{};
  return fmt::format("{:.1f}°{} {}", std::abs(written), about, written < 0.0 ? "less" : "more");
}

std::string teeth_words(const Job& job, const EventPart& part) {
  const auto whole = whole_teeth(job, part);
  if (!whole) return {};
  const double pitch = 360.0 / job.rotor.reference.teeth;
  constexpr double sure = 0.9;
  if (whole->none >= sure)
    return fmt::format(" It is no whole number of the {} teeth (probability {}).", job.rotor.reference.teeth,
                       percent_words(whole->none));
  const int teeth = std::abs(whole->teeth);
  if (whole->probability >= sure)
    return fmt::format(" It is {} of the {} ({:.2f}°; probability {}).",
                       teeth == 1 ? "1 tooth" : fmt::format("{} teeth", teeth), job.rotor.reference.teeth,
                       teeth * pitch, percent_words(whole->probability));
  return fmt::format(" Whether it is a whole number of the {} teeth, {:.2f}° each, these runs cannot tell.",
                     job.rotor.reference.teeth, pitch);
}

/// The part of an event that the model's posterior has; null where none is known.
const EventPart* part_of(const InfluenceModel& model, std::size_t run, const Event& event, EventPart::Of of) {
  if (!model.posterior) return nullptr;
  const auto& all = model.posterior->events;
  const auto found = std::find_if(all.begin(), all.end(), [&](const EventPart& one) {
    return one.run == run && one.of == of &&
           (event.kind != Event::Kind::sensor_changed || one.sensor == event.sensor);
  });
  return found == all.end() || (!found->stated && found->sd <= 0.0) ? nullptr : &*found;
}

std::string came_of_it(const Job& job, const InfluenceModel& model, std::size_t run, const Event& event) {
  using Of = EventPart::Of;
  const std::string by = event.by ? "as stated" : "as the runs tell";
  const std::string unknown = " What it changed is not known: nothing here tells it.";
  switch (event.kind) {
    case Event::Kind::reference_moved: {
      const EventPart* angle = part_of(model, run, event, Of::angle);
      if (angle == nullptr) return unknown;
      return fmt::format(" Every phase reads {} since then, {}.", turn_words(model, angle->value, angle->sd),
                         by) +
             teeth_words(job, *angle);
    }
    case Event::Kind::delay_changed: {
      const EventPart* delay = part_of(model, run, event, Of::delay);
      if (delay == nullptr) return unknown;
      const double us = 1e6 / highest_angular_speed(job);
      return fmt::format(
          " Signals come {:.0f}{} µs {} since then, {}: phases at {} read {}.", std::abs(delay->value) * us,
          delay->sd > 0.0 ? fmt::format(" ± {:.2g}", delay->sd * us) : std::string{},
          delay->value < 0.0 ? "later" : "earlier", by, speed_words(job, job.speeds_rpm.size() - 1),
          turn_words(model, delay->value, delay->sd));
    }
    case Event::Kind::sensor_changed: {
      const EventPart* size = part_of(model, run, event, Of::log_size);
      const EventPart* turn = part_of(model, run, event, Of::turn);
      if (size == nullptr || turn == nullptr) return unknown;
      const double ratio = std::exp(size->value);
      return fmt::format(" It reads {:.3f} ± {:.2g} times what it read before, and its phase {}, {}.", ratio,
                         ratio * size->sd, turn_words(model, turn->value, turn->sd), by);
    }
    case Event::Kind::baseline_new:
      break;
  }
  return fmt::format(
      " Levels, expectations and plan are those since run \"{}\"; runs before it tell only how weights act.",
      job.runs[run].name);
}

}  // namespace

std::string happened_words(const Job& job, const Event& event) {
  return what_happened(job, event) + (event.note.empty() ? "" : " (" + event.note + ")");
}

std::vector<std::string> event_words(const Job& job, const InfluenceModel& model) {
  std::vector<std::string> words;
  for (std::size_t r = 0; r < job.runs.size(); ++r)
    for (const Event& event : job.runs[r].before)
      words.push_back(fmt::format("Before run \"{}\" {}.", job.runs[r].name, happened_words(job, event)) +
                      came_of_it(job, model, r, event));
  return words;
}

}  // namespace trimwright
