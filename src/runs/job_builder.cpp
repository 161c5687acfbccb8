#include <cmath>
#include <limits>
#include <utility>

#include "trimwright/job.hpp"
#include "used_runs.hpp"

namespace trimwright {

JobBuilder::JobBuilder(std::string rotor, PhaseConvention phase) {
  job_.rotor.name = std::move(rotor);
  job_.rotor.phase = phase;
  job_.rotor.speed_tolerance_rpm = 20.0;
}

JobBuilder::JobBuilder(Rotor rotor) {
  const auto planes = std::exchange(rotor.planes, {});
  const auto sensors = std::exchange(rotor.sensors, {});
  job_.rotor = std::move(rotor);
  for (const Plane& one : planes) plane(one);
  for (const Sensor& one : sensors) sensor(one);
}

void JobBuilder::reject(std::string what, std::string expected) {
  if (!wrong_) wrong_ = Error{std::move(what), std::move(expected), {}};
}

template <class Named>
std::size_t JobBuilder::checked(std::optional<std::size_t> found, const std::vector<Named>& all,
                                std::string_view name, const char* kind) {
  if (found) return *found;
  std::string names;
  for (const Named& one : all) names += (names.empty() ? "\"" : ", \"") + one.name + "\"";
  reject(std::string("no ") + kind + " is named \"" + std::string(name) + "\"",
         names.empty() ? std::string("a ") + kind + " first" : "one of " + names);
  return all.size();
}

JobBuilder& JobBuilder::plane(Plane plane) {
  if (!job_.runs.empty())
    reject("plane \"" + plane.name + "\" after a run", "every plane before the first run");
  if (job_.rotor.plane_named(plane.name))
    reject("a second plane \"" + plane.name + "\"", "a name for each plane");
  job_.rotor.planes.push_back(std::move(plane));
  return *this;
}

JobBuilder& JobBuilder::plane(std::string name) {
  Plane made;
  made.name = std::move(name);
  return plane(std::move(made));
}

JobBuilder& JobBuilder::sensor(Sensor sensor) {
  if (job_.rotor.sensor_named(sensor.name))
    reject("a second sensor \"" + sensor.name + "\"", "a name for each sensor");
  job_.rotor.sensors.push_back(std::move(sensor));
  return *this;
}

JobBuilder& JobBuilder::sensor(std::string name, std::string_view unit, double limit,
                               std::optional<double> target) {
  Sensor made;
  made.name = std::move(name);
  const auto parsed = parse_vibration_unit(unit);
  if (!parsed) {
    reject(parsed.error().what, parsed.error().expected);
    return *this;
  }
  made.unit = *parsed;
  if (made.unit.quantity != MotionQuantity::as_shown) made.phase_of = made.unit.quantity;
  if (target) target = made.unit.peak_from_shown(*target);
  made.bands = {{std::numeric_limits<double>::infinity(), made.unit.peak_from_shown(limit), target}};
  if (!(limit > 0.0) || !check_target(made.bands.front()))
    reject("limit and target of sensor \"" + made.name + "\"", "a limit above 0, a target up to the limit");
  return sensor(std::move(made));
}

JobBuilder& JobBuilder::run(std::string name) {
  Run begun;
  begun.name = std::move(name);
  begun.fitted.resize(job_.rotor.planes.size());
  job_.runs.push_back(std::move(begun));
  return *this;
}

JobBuilder& JobBuilder::fit(std::string_view plane, double moment_g_mm, double degrees) {
  const std::size_t p =
      checked(job_.rotor.plane_named(std::string(plane)), job_.rotor.planes, plane, "plane");
  if (job_.runs.empty()) reject("something is fitted before a run", "a run first");
  if (!std::isfinite(moment_g_mm) || !std::isfinite(degrees) || moment_g_mm < 0.0)
    reject("a moment fitted in plane \"" + std::string(plane) + "\"", "a moment of 0 or more at an angle");
  if (!wrong_) job_.runs.back().fitted[p].free.push_back({moment_g_mm, RotorAngle::from_degrees(degrees)});
  return *this;
}

JobBuilder& JobBuilder::fit(std::string_view plane, int slot, std::string_view weight) {
  const std::size_t p =
      checked(job_.rotor.plane_named(std::string(plane)), job_.rotor.planes, plane, "plane");
  if (job_.runs.empty()) reject("something is fitted before a run", "a run first");
  if (wrong_) return *this;
  const auto piece = catalogue_piece(job_.rotor.planes[p], std::string(weight));
  if (!piece)
    reject(piece.error().what, piece.error().expected);
  else
    job_.runs.back().fitted[p].slots[slot] = *piece;
  return *this;
}

JobBuilder& JobBuilder::happened(Event event) {
  if (job_.runs.empty()) reject("something happened before a run that is not begun", "a run first");
  if (event.sensor >= job_.rotor.sensors.size() && event.kind == Event::Kind::sensor_changed)
    reject("a sensor that the rotor does not have was changed", "a sensor first");
  if (!wrong_) job_.runs.back().before.push_back(std::move(event));
  return *this;
}

Reading* JobBuilder::add_reading(std::string_view sensor, double rpm, double amplitude) {
  const std::size_t s =
      checked(job_.rotor.sensor_named(std::string(sensor)), job_.rotor.sensors, sensor, "sensor");
  if (job_.runs.empty()) reject("something is read before a run", "a run first");
  if (!(rpm > 0.0) || !(amplitude >= 0.0) || !std::isfinite(rpm + amplitude))
    reject("a reading of sensor \"" + std::string(sensor) + "\"",
           "a speed above 0 rpm and an amplitude of 0 or more");
  if (wrong_) return nullptr;
  Reading& reading = job_.runs.back().readings.emplace_back();
  reading.rpm = rpm;
  reading.sensor = s;
  reading.amplitude = job_.rotor.sensors[s].unit.peak_from_shown(amplitude);
  return &reading;
}

JobBuilder& JobBuilder::read(std::string_view sensor, double rpm, double amplitude, double phase_deg) {
  if (!std::isfinite(phase_deg)) reject("a reading of sensor \"" + std::string(sensor) + "\"", "a phase");
  Reading* const reading = add_reading(sensor, rpm, amplitude);
  if (reading == nullptr) return *this;
  const Sensor& by = job_.rotor.sensors[reading->sensor];
  reading->phase_factor = by.phase_factor();
  // Held as if in lag where the convention is not known, as a job file's readings are.
  const auto taken = job_.rotor.phase == PhaseConvention::unknown ? PhaseConvention::lag : job_.rotor.phase;
  reading->x = from_shown(by, {amplitude, phase_deg}, taken);
  return *this;
}

JobBuilder& JobBuilder::overall(std::string_view sensor, double rpm, double amplitude) {
  if (Reading* const reading = add_reading(sensor, rpm, amplitude)) reading->component = Component::overall;
  return *this;
}

JobBuilder& JobBuilder::set_aside(std::string reason) {
  if (job_.runs.empty())
    reject("a run is set aside before one is begun", "a run first");
  else
    job_.runs.back().set_aside = std::move(reason);
  return *this;
}

JobBuilder& JobBuilder::fitted_now(std::string_view run) {
  fitted_now_ = checked(run_named(job_, run), job_.runs, run, "run");
  return *this;
}

Result<Job> JobBuilder::job() const {
  if (wrong_) return tl::unexpected(*wrong_);
  if (job_.runs.empty()) return fail("a job without runs", "a baseline run");
  for (const Run& run : job_.runs)
    for (std::size_t p = 0; p < run.fitted.size(); ++p)
      if (const auto possible = check_possible(job_.rotor.planes[p], run.fitted[p]); !possible)
        return fail(
            "run \"" + run.name + "\", plane \"" + job_.rotor.planes[p].name + "\": " + possible.error().what,
            possible.error().expected);
  Job made = job_;
  made.fitted_now = fitted_now_ ? made.runs[*fitted_now_].fitted : made.runs.back().fitted;
  if (const auto settled = settle_places(made); !settled) return tl::unexpected(settled.error());
  return made;
}

}  // namespace trimwright
