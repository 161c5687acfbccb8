#pragma once

#include <string>

#include "trimwright/job.hpp"

namespace trimwright {

/// How a job file says that something happened before a run: {key: word}.
struct EventKey {
  Event::Kind kind;
  const char* key;
  const char* word;  ///< null: the name of the sensor
};
inline constexpr EventKey event_keys[] = {
    {Event::Kind::reference_moved, "reference", "moved"},
    {Event::Kind::baseline_new, "baseline", "new"},
    {Event::Kind::sensor_changed, "sensor", nullptr},
    {Event::Kind::delay_changed, "delay", "changed"},
};

/// "{reference: moved}", "{sensor: front}".
[[nodiscard]] std::string event_as_written(Event::Kind kind, const std::string& sensor);

}  // namespace trimwright
