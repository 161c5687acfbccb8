#pragma once

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "check/run_comparison.hpp"
#include "rehearsal/rehearsal.hpp"
#include "trimwright/check.hpp"
#include "trimwright/plan.hpp"
#include "virtual_rotor/draws.hpp"

namespace trimwright::testing {

/// Whole trims on virtual rotors in which one known mistake is made between the plan and the check run.
///
/// The mistakes are made on the rotor and on the readings, and know nothing of the finder's own list.
class MistakeTrial {
 public:
  /// A rehearsal in `folder` (made anew by the caller): as found, a trial run in each plane, a plan.
  MistakeTrial(const std::string& folder, std::uint64_t seed) : seed_(seed), draws_(seed, 77) {
    if (!create_rehearsal(folder, seed)) throw std::runtime_error("no rehearsal in " + folder);
    rehearsal_ = read_rehearsal(folder).value();
    job_ = rehearsal_job(*rehearsal_).value();
    for (const double percent : rehearsal_speeds_percent) {
      speeds_.push_back({percent / 100.0 * rehearsal_->truth.rotor().full_speed_rpm, {}, {}});
      job_.speeds_rpm.push_back(speeds_.back().rpm);
    }
    for (std::size_t s = 0; s < job_.rotor.sensors.size(); ++s) {  // stated as it is
      const auto& real = rehearsal_->truth.rotor().sensors[s];
      job_.rotor.sensors[s].repeatability =
          std::abs(in_sensor_unit(job_.rotor.sensors[s], real.quantity, real.repeatability, 5000.0));
    }
    const auto as_found = job_.fitted_now;
    add_run("as found", as_found);
    for (std::size_t p = 0; p < job_.rotor.planes.size(); ++p) {
      job_.fitted_now = as_found;
      add_run("trial " + job_.rotor.planes[p].name,
              fitted_after(job_, {advise_trial(job_, {}, {p, {}, {}})->advised().change}));
    }
    job_.fitted_now = as_found;
    planned_ = planned(job_);
    before_ = job_.runs.back().fitted;
  }

  struct Result {
    bool possible = false;
    bool clear = false;              ///< nine of ten check runs made after the same runs are not as predicted
    std::optional<std::size_t> run;  ///< in which it was made; empty: in every run
    MistakeRanking ranking;
  };

  /// Makes the mistake, number `draw` of its kind, in the check run; judges the check run.
  [[nodiscard]] Result judge_mistake(MistakeKind kind, std::uint64_t draw) {
    begin(kind, draw);
    meant_ = planned_;
    before_ = job_.runs.back().fitted;
    const auto really = fitted_wrongly(kind);
    if (!really) return {};
    const std::uint64_t seed = bits();
    const auto next = next_;
    const auto read = [&](std::uint64_t scatter) {
      next_ = next;
      auto readings = readings_of(*really, seed + scatter);
      read_wrongly(kind, readings);
      return readings;
    };
    return judged(job_, planned_, read,
                  kind == MistakeKind::nothing ? std::optional<std::size_t>{} : job_.runs.size());
  }

  /// The same in a trial run, or in all: the trim is planned from what was then written down, and the check
  /// run is sound.
  [[nodiscard]] Result judge_earlier_mistake(MistakeKind kind, std::uint64_t draw) {
    begin(kind, draw + 5000);
    const std::size_t run = 1 + static_cast<std::size_t>(below(static_cast<int>(job_.rotor.planes.size())));
    meant_ = job_.runs[run].fitted;
    before_ = job_.runs[run - 1].fitted;
    const auto really = kind == MistakeKind::left_in ? still_in(run) : fitted_wrongly(kind);
    if (!really) return {};
    Job job = job_;
    const std::uint64_t seed = bits(), check_seed = bits();
    job.runs[run].readings = readings_of(*really, seed);
    const std::size_t other = static_cast<std::size_t>(below(static_cast<int>(run)));
    const auto sensor = static_cast<std::size_t>(below(static_cast<int>(job_.rotor.sensors.size())));
    if (kind == MistakeKind::runs_exchanged)
      std::swap(job.runs[run].readings, job.runs[other].readings);
    else if (kind == MistakeKind::phase_sense_everywhere)
      for (auto& each : job.runs) turn_phases(each.readings, sensor);
    else
      read_wrongly(kind, job.runs[run].readings);
    if (!fit_influence(job)) return {};
    const Fitted then = planned(job);
    extra_.assign(extra_.size(), 0.0);
    const auto read = [&](std::uint64_t scatter) {
      auto readings = readings_of(then, check_seed + scatter);
      if (kind == MistakeKind::phase_sense_everywhere) turn_phases(readings, sensor);
      return readings;
    };
    std::optional<std::size_t> made_in = kind == MistakeKind::runs_exchanged ? std::min(run, other) : run;
    if (kind == MistakeKind::phase_sense_everywhere) made_in.reset();
    return judged(job, then, read, made_in);
  }

 private:
  using Fitted = std::vector<FittedWeights>;
  struct Place {
    std::size_t plane;
    int slot;
  };

  void begin(MistakeKind kind, std::uint64_t draw) {
    next_ = 1000 * (draw + 1) + 100000 * static_cast<std::uint64_t>(kind);
    extra_.assign(job_.rotor.planes.size(), 0.0);
  }

  static Fitted planned(const Job& job) {
    const auto model = fit_influence(job);
    TrimRequest request;
    request.max_changes = 4;
    const auto trim = plan_trim(job, model.value(), request);
    return fitted_after(job, trim.value().trade_off.at(trim->chosen).changes);
  }

  static void add_check(Job& job, const Fitted& fitted, const std::vector<Reading>& readings) {
    job.runs.push_back(Run{"check", {}, fitted, {}, readings, {}});
    job.fitted_now = fitted;
  }

  /// Judges the check run of `fitted` that `read` gives for scatter 0; those for 1 to 10 only say whether
  /// such runs are not as predicted, whatever the cause.
  template <class Read>
  [[nodiscard]] static Result judged(Job job, const Fitted& fitted, const Read& read,
                                     std::optional<std::size_t> run) {
    const std::size_t check = job.runs.size();
    const auto model = fit_influence(job).value();
    add_check(job, fitted, read(0));
    Result result;
    result.possible = true;
    result.run = run;
    result.ranking = rank_mistakes(job, model, check);
    const double rejected = boost::math::quantile(boost::math::complement(
        boost::math::chi_squared(result.ranking.degrees_of_freedom), as_predicted_level));
    int off = 0;
    for (std::uint64_t scatter = 1; scatter <= 10; ++scatter) {
      job.runs.back().readings = read(scatter);
      const RunComparison all(job, model, check, {}, nullptr);
      off += all.judged(all.as_written({check})).misfit > rejected ? 1 : 0;
    }
    result.clear = off >= 9;
    return result;
  }

  void turn_phases(std::vector<Reading>& readings, std::size_t sensor) const {
    for (auto& one : readings)
      if (one.sensor == sensor) one.x = std::conj(*one.x / one.phase_factor) * one.phase_factor;
  }

  std::uint64_t bits() { return draws_.bits(next_++); }
  double uniform() { return draws_.uniform(next_++); }
  int below(int n) { return static_cast<int>(uniform() * n); }
  template <class T>
  const T& one_of(const std::vector<T>& all) {
    return all[static_cast<std::size_t>(below(static_cast<int>(all.size())))];
  }

  void add_run(const std::string& name, const Fitted& fitted) {
    extra_.assign(job_.rotor.planes.size(), 0.0);
    job_.runs.push_back(Run{name,
                            {},
                            fitted,
                            {},
                            readings_of(fitted, virtual_rotor::Draws(seed_, 78).bits(job_.runs.size())),
                            {}});
    if (!settle_places(job_, speeds_)) throw std::runtime_error("speed points");
  }

  [[nodiscard]] std::vector<Reading> readings_of(const Fitted& fitted, std::uint64_t seed) const {
    std::vector<std::complex<double>> unbalance;
    for (std::size_t p = 0; p < fitted.size(); ++p)
      unbalance.push_back(total_moment(job_.rotor.planes[p], fitted[p]) + extra_[p]);
    const auto run = virtual_rotor::virtual_run(rehearsal_->truth, unbalance, job_.speeds_rpm,
                                                rehearsal_->scatter, 1, seed);
    std::vector<Reading> readings;
    for (const auto& one : run.value()) {
      Reading reading;
      reading.speed = static_cast<std::size_t>(one.point);
      reading.rpm = one.speed_rpm;
      reading.sensor = static_cast<std::size_t>(one.sensor);
      const Sensor& sensor = job_.rotor.sensors[reading.sensor];
      reading.phase_factor = sensor.phase_factor();
      reading.x = in_sensor_unit(sensor, rehearsal_->truth.rotor().sensors[reading.sensor].quantity,
                                 one.value, one.speed_rpm);
      reading.amplitude = std::abs(*reading.x);
      readings.push_back(reading);
    }
    return readings;
  }

  /// Places whose piece is new in the run that the mistake is made in.
  [[nodiscard]] std::vector<Place> new_places() const {
    std::vector<Place> places;
    for (std::size_t p = 0; p < meant_.size(); ++p)
      for (const auto& [slot, piece] : meant_[p].slots) {
        const auto& before = before_[p].slots;
        if (const auto held = before.find(slot); held == before.end() || held->second != piece)
          places.push_back({p, slot});
      }
    return places;
  }

  /// The new pieces of one plane (or of all) moved; nothing when a slot cannot be used.
  std::optional<Fitted> moved(int first, int per_slot, bool by_half) {
    const auto places = new_places();
    if (places.empty()) return std::nullopt;
    const std::size_t only = one_of(places).plane;
    const bool all = uniform() < 0.3;
    Fitted really = meant_;
    for (const auto& one : places)
      if (all || one.plane == only) really[one.plane].slots.erase(one.slot);
    for (const auto& one : places) {
      if (!all && one.plane != only) continue;
      const auto& ring = *job_.rotor.planes[one.plane].slots;
      const int turned = by_half ? one.slot + ring.count / 2 : first + per_slot * one.slot;
      const int slot = ((turned - 1) % ring.count + ring.count) % ring.count + 1;
      const auto piece = meant_[one.plane].slots.at(one.slot);
      if (!ring.usable(slot) || !really[one.plane].slots.emplace(slot, piece).second) return std::nullopt;
    }
    return really;
  }

  std::optional<Fitted> changed_piece(MistakeKind kind) {
    const auto places = new_places();
    if (places.empty()) return std::nullopt;
    const auto one = one_of(places);
    Fitted really = meant_;
    auto& slots = really[one.plane].slots;
    if (kind == MistakeKind::missing) {
      slots.erase(one.slot);
    } else if (kind == MistakeKind::wrong_size) {
      const auto& other = one_of(job_.rotor.planes[one.plane].weights);
      if (other.id == slots.at(one.slot).weight_id) return std::nullopt;
      slots[one.slot] = {other.id, other.moment_g_mm};
    } else {
      const auto two = one_of(places);
      if (two.plane != one.plane || slots.at(two.slot) == slots.at(one.slot)) return std::nullopt;
      std::swap(slots.at(one.slot), slots.at(two.slot));
    }
    return really;
  }

  std::optional<Fitted> left_in() {
    Fitted really = planned_;
    const std::size_t p = static_cast<std::size_t>(below(static_cast<int>(planned_.size())));
    for (const auto& [slot, piece] : job_.runs[1 + p].fitted[p].slots) {
      if (planned_[p].slots.contains(slot)) return std::nullopt;
      really[p].slots[slot] = piece;
    }
    return really;
  }

  /// What the run before had and this one should not.
  std::optional<Fitted> still_in(std::size_t run) {
    Fitted really = meant_;
    bool any = false;
    for (std::size_t p = 0; p < really.size(); ++p)
      for (const auto& one : job_.runs[run - 1].fitted[p].slots) any |= really[p].slots.insert(one).second;
    return any ? std::optional(really) : std::nullopt;
  }

  std::optional<Fitted> in_wrong_plane() {
    const auto places = new_places();
    if (places.empty()) return std::nullopt;
    const std::size_t from = one_of(places).plane, to = 1 - from;
    Fitted really = meant_;
    const auto &a = *job_.rotor.planes[from].slots, &b = *job_.rotor.planes[to].slots;
    for (const auto& one : places) {
      if (one.plane != from) continue;
      const auto piece = really[from].slots.at(one.slot);
      really[from].slots.erase(one.slot);
      int nearest = 1;
      for (int slot = 2; slot <= b.count; ++slot)
        if (std::abs(a.angle(one.slot).direction() - b.angle(slot).direction()) <
            std::abs(a.angle(one.slot).direction() - b.angle(nearest).direction()))
          nearest = slot;
      if (!really[to].slots.emplace(nearest, Piece{{}, piece.moment_g_mm}).second) return std::nullopt;
    }
    return really;
  }

  /// What is really fitted; nothing where this draw of the mistake cannot be made.
  std::optional<Fitted> fitted_wrongly(MistakeKind kind) {
    switch (kind) {
      case MistakeKind::mirrored:
        return uniform() < 0.5 ? moved(2, -1, false) : moved(1, -1, false);  // 1 - k is the slot N + 1 - k
      case MistakeKind::shifted: {
        const int by = 1 + below(3);
        return moved(uniform() < 0.5 ? by : -by, 1, false);
      }
      case MistakeKind::opposite:
        return moved(0, 1, true);
      case MistakeKind::missing:
      case MistakeKind::wrong_size:
      case MistakeKind::swapped:
        return changed_piece(kind);
      case MistakeKind::left_in:
        return left_in();
      case MistakeKind::wrong_plane:
        return in_wrong_plane();
      case MistakeKind::rotor_changed: {
        const auto p = static_cast<std::size_t>(below(static_cast<int>(extra_.size())));
        extra_[p] = std::polar(200.0 + 800.0 * uniform(), 2.0 * M_PI * uniform());
        return meant_;
      }
      default:
        return meant_;
    }
  }

  void read_wrongly(MistakeKind kind, std::vector<Reading>& readings) {
    const auto sensor = static_cast<std::size_t>(below(static_cast<int>(job_.rotor.sensors.size())));
    const double a = uniform(), b = uniform();
    switch (kind) {
      case MistakeKind::phase_sense:
        for (auto& one : readings) one.x = std::conj(*one.x / one.phase_factor) * one.phase_factor;
        break;
      case MistakeKind::polarity:
        for (auto& one : readings)
          if (one.sensor == sensor) one.x = -*one.x;
        break;
      case MistakeKind::sensor_changed:
        for (auto& one : readings)
          if (one.sensor == sensor) one.x = *one.x * std::polar(1.2 + 0.4 * a, 0.6 * (b - 0.5));
        break;
      case MistakeKind::sensors_exchanged:
        for (std::size_t i = 0; i + 1 < readings.size(); i += 2) {  // front and turbine of one speed
          const Sensor &front = job_.rotor.sensors[0], &turbine = job_.rotor.sensors[1];
          const auto of_front = shown(front, *readings[i].x, job_.rotor.phase);
          const auto of_turbine = shown(turbine, *readings[i + 1].x, job_.rotor.phase);
          readings[i].x = from_shown(front, of_turbine, job_.rotor.phase);
          readings[i + 1].x = from_shown(turbine, of_front, job_.rotor.phase);
        }
        break;
      case MistakeKind::reference_shifted: {
        const double pitches = std::vector{0.5, 1.0, 1.0, 2.0, 3.0, 5.0}[static_cast<std::size_t>(6.0 * a)];
        const double turn = (b < 0.5 ? 1.0 : -1.0) * pitches * 2.0 * M_PI / job_.rotor.reference.teeth;
        for (auto& one : readings) one.x = *one.x * std::polar(1.0, turn);
        break;
      }
      case MistakeKind::time_delay: {
        const double seconds = (b < 0.5 ? 1.0 : -1.0) * (100e-6 + 1.9e-3 * a);
        for (auto& one : readings) one.x = *one.x * std::polar(1.0, seconds * one.rpm * M_PI / 30.0);
        break;
      }
      case MistakeKind::unit: {
        const double factor = std::vector{2.0,  0.5,        std::sqrt(2.0), std::sqrt(0.5),
                                          25.4, 1.0 / 25.4, 1000.0,         0.001}[static_cast<std::size_t>(
            8.0 * a)];
        for (auto& one : readings)
          if (b < 0.5 || one.sensor == sensor) one.x = *one.x * factor;
        break;
      }
      case MistakeKind::mistyped: {
        auto& one = readings[static_cast<std::size_t>(a * static_cast<double>(readings.size()))];
        *one.x *=
            b < 0.5 ? Phasor(10.0) : std::polar(1.0, radians(90.0));  // a decimal point, a phase of 9 or so
        break;
      }
      case MistakeKind::speed:
        for (std::size_t i = 0; i < 2; ++i) std::swap(readings[i].x, readings[i + 2].x);  // of two speeds
        break;
      case MistakeKind::none_of_these:
        for (auto& one : readings) one.x = *one.x * (1.0 + std::polar(0.7, 2.0 * M_PI * uniform()));
        break;
      default:
        break;
    }
    for (auto& one : readings) one.amplitude = std::abs(*one.x);
  }

  std::uint64_t seed_;
  virtual_rotor::Draws draws_;
  std::uint64_t next_ = 0;
  std::optional<Rehearsal> rehearsal_;
  Job job_;
  std::vector<SetSpeed> speeds_;
  Fitted planned_;
  Fitted meant_, before_;  ///< of the run that the mistake is made in: on its list, and fitted before
  std::vector<std::complex<double>> extra_;
};

/// How a kind of mistake fared over many trials.
struct MistakeTally {
  int trials = 0;
  int clear = 0;
  int first = 0;   ///< of the clear: its kind, in its run, in the answer ranked first
  int named = 0;   ///< of the clear: among those that the verdict names as the likeliest
  int group = 0;   ///< of the clear: sum of the number of mistakes not told apart
  int alarms = 0;  ///< not as predicted

  void add(MistakeKind kind, const MistakeTrial::Result& result) {
    if (!result.possible) return;
    ++trials;
    alarms += result.ranking.as_predicted() ? 0 : 1;
    if (!result.clear) return;
    ++clear;
    if (result.ranking.as_predicted()) return;  // the verdict then names none
    const auto& kinds = result.ranking.kinds;
    const auto end = kinds.begin() + static_cast<std::ptrdiff_t>(result.ranking.not_told_apart);
    const auto is_it = [&](const RankedMistake& one) {
      if (!names_a_cause(kind)) return !names_a_cause(one.kind);  // the verdict: cause unknown
      return one.kind == kind && one.run == result.run;
    };
    first += std::any_of(kinds.begin(), end, [&](const auto& one) { return one.answer == 0 && is_it(one); })
                 ? 1
                 : 0;
    named += std::any_of(kinds.begin(), end, is_it) ? 1 : 0;
    group += static_cast<int>(result.ranking.not_told_apart);
  }
};

}  // namespace trimwright::testing
