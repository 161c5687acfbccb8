#include "events.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/constants/constants.hpp>
#include <cmath>
#include <limits>

#include "runs_fit.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

constexpr Phasor turned(0.0, 1.0);

/// Parts of `joint_fit`'s events at their next values.
void move_events(const JointFit& fit, JointSystem& system, JointPrior* prior) {
  constexpr double largest_step = 0.5;
  for (std::size_t k = 0; k < fit.open.size(); ++k)
    system.events[fit.open[k]].value +=
        std::clamp(fit.step(static_cast<Index>(k)), -largest_step, largest_step);
  for (std::size_t i = 0; i < system.readings.size(); ++i)
    system.readings[i].fitted = fit.fitted(static_cast<Index>(i));
  system.take_events();
  if (prior == nullptr || prior->factor.empty()) return;
  for (std::size_t a = 0; a < prior->unknown.size(); ++a)
    prior->fitted[a] = fit.posterior.unknowns.at(prior->unknown[a]);
  prior->take_events(system);
}

/// Misfit with the events at their present values.
double misfit_at(JointSystem& system, const NoiseModel& noise, JointPrior* prior) {
  system.take_events();
  if (prior == nullptr) {
    RunsFit fit{system, noise, {}, {}};
    fit_sensors(fit);
    double sum = 0.0;
    for (const auto& sensor : fit.sensors) sum += sensor.misfit;
    return sum;
  }
  prior->take_events(system);
  JointSystem fixed = system;
  for (auto& part : fixed.events) part.stated = true;
  return joint_fit(fixed, noise, prior).posterior.misfit;
}

/// Every open angle, the last first, to where around the circle the misfit is least, the others as they are.
void search_angles(JointSystem& system, const NoiseModel& noise, JointPrior* prior,
                   const std::vector<std::size_t>& open) {
  constexpr int around = 24;
  for (auto k = open.rbegin(); k != open.rend(); ++k) {
    EventPart& part = system.events[*k];
    if (part.of == EventPart::Of::log_size) continue;
    double least = std::numeric_limits<double>::infinity(), best = 0.0;
    for (int i = 0; i < around; ++i) {
      part.value = 2.0 * std::numbers::pi * (i <= around / 2 ? i : i - around) / around;
      const double misfit = misfit_at(system, noise, prior);
      if (misfit < least * (1.0 - 1e-9)) least = misfit, best = part.value;
    }
    part.value = best;
  }
  misfit_at(system, noise, prior);
}

/// Where nothing tells a sensor's repeatability, a hundredth of its readings stands for it.
NoiseModel weighing(const JointSystem& system, const NoiseModel& noise) {
  if (noise.known) return noise;
  NoiseModel assumed = noise;
  for (std::size_t s = 0; s < assumed.sensors.size(); ++s) {
    double squares = 0.0, count = 0.0;
    for (const auto& one : system.readings)
      if (one.sensor == s) squares += std::norm(one.x), count += 1.0;
    if (assumed.sensors[s].within.source == NoisePart::Source::unknown && count > 0.0)
      assumed.sensors[s].within.sd = 0.01 * std::sqrt(squares / count);
  }
  return assumed;
}

double wrapped_angle(double angle) { return std::remainder(angle, 2.0 * std::numbers::pi); }

}  // namespace

double highest_angular_speed(const Job& job) {
  return job.speeds_rpm.empty() ? 0.0 : job.speeds_rpm.back() * std::numbers::pi / 30.0;
}

std::vector<EventPart> event_parts(const Job& job) {
  std::vector<EventPart> parts;
  const double highest = highest_angular_speed(job);
  for (std::size_t r = 0; r < job.runs.size(); ++r)
    for (const Event& event : job.runs[r].before) {
      const auto add = [&](EventPart::Of of, std::optional<double> value) {
        parts.push_back({r, event.sensor, of, value.has_value(), value.value_or(0.0), 0.0});
      };
      switch (event.kind) {
        case Event::Kind::reference_moved:
          add(EventPart::Of::angle, event.by);
          break;
        case Event::Kind::delay_changed:
          add(EventPart::Of::delay, event.by ? std::optional(-*event.by * highest) : std::nullopt);
          break;
        case Event::Kind::sensor_changed:
          add(EventPart::Of::log_size, {});
          add(EventPart::Of::turn, {});
          break;
        case Event::Kind::baseline_new:
          break;
      }
    }
  return parts;
}

Phasor event_exponent(const EventPart& part, const Job& job, std::size_t run, double rpm,
                      std::size_t sensor) {
  if (run >= part.run) return 0.0;
  switch (part.of) {
    case EventPart::Of::angle:
      return turned;
    case EventPart::Of::delay:
      return turned * (rpm / job.speeds_rpm.back());
    case EventPart::Of::log_size:
      return sensor == part.sensor ? 1.0 : 0.0;
    case EventPart::Of::turn:
      return sensor == part.sensor ? turned : 0.0;
  }
  return 0.0;
}

Phasor since_events(const std::vector<EventPart>& events, const Job& job, std::size_t run, double rpm,
                    std::size_t sensor) {
  Phasor log_factor = 0.0;
  for (const auto& part : events) log_factor += part.value * event_exponent(part, job, run, rpm, sensor);
  return log_factor == 0.0 ? 1.0 : std::exp(log_factor);
}

Eigen::MatrixXd new_baselines(const Job& job, const std::vector<std::size_t>& runs, std::size_t end) {
  Eigen::MatrixXd shifts(static_cast<Index>(runs.size()), 0);
  for (std::size_t r = 1; r < end; ++r) {
    if (runs.empty() || runs.front() >= r || !new_baseline_between(job, r - 1, r)) continue;
    shifts.conservativeResize(Eigen::NoChange, shifts.cols() + 1);
    for (std::size_t k = 0; k < runs.size(); ++k)
      shifts(static_cast<Index>(k), shifts.cols() - 1) = runs[k] < r ? 1.0 : 0.0;
  }
  return shifts;
}

void add_events(const Job& job, JointSystem& system) {
  system.shifts = new_baselines(job, system.runs, job.runs.size());
  std::size_t last = 0;
  for (const auto& reading : system.readings) last = std::max(last, system.runs[reading.run]);
  system.events = event_parts(job);
  std::erase_if(system.events, [last](const EventPart& part) { return part.run > last; });
  if (system.events.empty()) return;
  for (auto& reading : system.readings) {
    reading.exponents.resize(static_cast<Index>(system.events.size()));
    const auto [speed, sensor] = system.rows[reading.row];
    for (std::size_t k = 0; k < system.events.size(); ++k)
      reading.exponents(static_cast<Index>(k)) =
          event_exponent(system.events[k], job, system.runs[reading.run], job.speeds_rpm[speed], sensor);
  }
  system.take_events();
  for (auto& reading : system.readings) reading.fitted = reading.x;
}

std::vector<std::size_t> JointSystem::open_events(bool prior) const {
  std::vector<std::size_t> open;
  for (std::size_t k = 0; k < events.size(); ++k) {
    const bool acts = std::any_of(readings.begin(), readings.end(), [k](const JointReading& one) {
      return one.exponents(static_cast<Index>(k)) != 0.0;
    });
    if (!events[k].stated && (acts || prior)) open.push_back(k);
  }
  return open;
}

void JointSystem::take_events() {
  if (events.empty()) return;
  for (auto& reading : readings) {
    Phasor log_factor = 0.0;
    for (std::size_t k = 0; k < events.size(); ++k)
      log_factor += reading.exponents(static_cast<Index>(k)) * events[k].value;
    reading.x = reading.read * std::exp(log_factor);
    const double scale = std::exp(log_factor.real());
    reading.level *= scale / reading.scale;
    reading.scale = scale;
  }
}

void settle_events(JointSystem& system, const NoiseModel& as_known, JointPrior* prior) {
  constexpr int most_steps = 40;
  const NoiseModel noise = weighing(system, as_known);
  const auto open = system.open_events(prior != nullptr);
  if (open.empty() || system.readings.empty()) return;
  const bool fresh =
      std::all_of(open.begin(), open.end(), [&](std::size_t k) { return system.events[k].sd == 0.0; });
  if (fresh) search_angles(system, noise, prior, open);
  for (int i = 0; i < most_steps; ++i) {
    const JointFit fit = joint_fit(system, noise, prior);
    move_events(fit, system, prior);
    for (std::size_t k = 0; k < open.size(); ++k)
      system.events[open[k]].sd =
          std::sqrt(fit.step_covariance(static_cast<Index>(k), static_cast<Index>(k)));
    if (fit.step.cwiseAbs().maxCoeff() < 1e-9) break;
  }
  for (const std::size_t k : open)
    if (system.events[k].of != EventPart::Of::log_size && system.events[k].of != EventPart::Of::delay)
      system.events[k].value = wrapped_angle(system.events[k].value);
}

Result<void> check_events(const Job& job, const JointSystem& system, bool prior) {
  for (const std::size_t k : system.open_events(prior)) {
    const EventPart& part = system.events[k];
    if (part.sd <= most_event_sd) continue;
    const std::string since = "\"" + job.runs[part.run].name + "\"";
    const std::string before = part.run > 0 ? "\"" + job.runs[part.run - 1].name + "\"" : std::string{};
    const bool of_sensor = part.of == EventPart::Of::log_size || part.of == EventPart::Of::turn;
    const std::string what =
        of_sensor ? "by what ratio sensor \"" + job.rotor.sensors[part.sensor].name + "\" reads differently"
        : part.of == EventPart::Of::delay ? std::string("by how much the delay changed")
                                          : std::string("by what angle the reference moved");
    return fail("the runs cannot tell " + what + " since run " + since,
                (before.empty() ? std::string("a run with known weights that differ from this one's")
                                : "one more run now with the same weights as a run before it (" + before +
                                      "), or two more runs with other weights") +
                    (of_sensor ? "" : ", or \"by\" where it is known"));
  }
  return {};
}

Result<Job> with_events_undone(const Job& job, std::size_t run, const std::vector<std::size_t>& planes) {
  if (!event_between(job, run - 1, run) || new_baseline_between(job, run - 1, run)) return job;
  Job all = job;
  all.runs.resize(run + 1);
  const auto settled = settle_and_fit(all, planes);
  if (!settled) return tl::unexpected(settled.error());
  Job undone = with_phase_convention(job, settled->model.convention);
  auto parts = settled->model.posterior ? settled->model.posterior->events : event_parts(undone);
  std::erase_if(parts, [run](const EventPart& part) { return part.run != run; });
  for (std::size_t r = 0; r < run; ++r)
    for (auto& reading : undone.runs[r].readings) {
      const Phasor since = since_events(parts, job, r, job.speeds_rpm[reading.speed], reading.sensor);
      if (reading.x) reading.x = since * *reading.x;
      reading.phase_factor *= since;
      reading.amplitude *= std::abs(since);
      if (reading.repeatability) *reading.repeatability *= std::abs(since);
    }
  undone.runs[run].before.clear();
  return undone;
}

std::optional<WholeTeeth> whole_teeth(const Job& job, const EventPart& part) {
  const int teeth = job.rotor.reference.teeth;
  if (part.of != EventPart::Of::angle || part.stated || teeth < 2 || part.sd <= 0.0) return std::nullopt;
  const double pitch = 2.0 * std::numbers::pi / teeth;
  double shares = 0.0, all = 0.0;
  WholeTeeth found;
  for (int k = -(teeth - 1) / 2; k <= teeth / 2; ++k) shares += 1.0 / std::max(1, k * k);
  double best = -1.0;
  for (int k = -(teeth - 1) / 2; k <= teeth / 2; ++k) {
    const double off = wrapped_angle(part.value - k * pitch) / part.sd;
    const double density = std::exp(-0.5 * off * off) / (part.sd * std::sqrt(2.0 * std::numbers::pi));
    const double weight = 0.5 / (std::max(1, k * k) * shares) * density;
    all += weight;
    if (weight > best) best = weight, found.teeth = k;
  }
  const double none = 0.5 / (2.0 * std::numbers::pi);
  all += none;
  found.probability = best / all;
  found.none = none / all;
  return found;
}

}  // namespace trimwright
