#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>

#include "base/significant.hpp"
#include "fitting_mistakes.hpp"
#include "run_comparison.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using List = std::vector<Hypothesis>;

/// What every hypothesis about some runs starts from.
struct Situation {
  const RunComparison& all;
  std::vector<HeldReading> readings;
  Hypothesis as_written;

  Situation(const RunComparison& comparison, const std::vector<std::size_t>& runs)
      : all(comparison), readings(comparison.readings_of(runs)), as_written(comparison.as_written(runs)) {}

  [[nodiscard]] const Job& job() const { return all.job(); }
  [[nodiscard]] std::size_t run() const { return as_written.runs.front(); }
  [[nodiscard]] const HeldReading& at(Index i) const { return readings[static_cast<std::size_t>(i)]; }
  [[nodiscard]] const Sensor& sensor(Index i) const { return job().rotor.sensors[at(i).sensor]; }
  [[nodiscard]] Index count() const { return static_cast<Index>(readings.size()); }
  [[nodiscard]] double level(Index i) const { return all.level(at(i).row); }
  [[nodiscard]] Hypothesis of(MistakeKind kind, std::string what, double share = 1.0) const {
    Hypothesis one = as_written;
    one.kind = kind;
    one.what = std::move(what);
    one.share = share;
    return one;
  }
};

/// Values of some readings, each once, rising.
template <class Value>
auto each_once(const Situation& now, Value value) {
  std::vector<decltype(value(now.readings.front()))> all;
  for (const auto& one : now.readings) all.push_back(value(one));
  std::sort(all.begin(), all.end());
  all.erase(std::unique(all.begin(), all.end()), all.end());
  return all;
}

std::vector<std::size_t> sensors_read(const Situation& now) {
  return each_once(now, [](const HeldReading& one) { return one.sensor; });
}

/// Whether `run` still lists every piece that was put in wrongly.
bool still_lists(const Job& job, std::size_t run, const std::vector<PlacedPiece>& pieces) {
  return !pieces.empty() && std::all_of(pieces.begin(), pieces.end(), [&](const PlacedPiece& one) {
    return held(job.runs[run].fitted[one.plane], one.slot) == one.piece;
  });
}

/// What was fitted wrongly for a run may stay so in the runs after it that list it unchanged, or be put right
/// when they were fitted.
void add_fitting(const RunComparison& all, std::size_t run, List& list) {
  if (run == 0) return;
  const auto& planes = all.model().posterior->planes;
  const auto add = [&](const FittingMistake& mistake, const std::vector<std::size_t>& runs, double share) {
    auto one = Situation(all, runs).of(mistake.kind, mistake.what, share * mistake.share);
    for (std::size_t p = 0; p < planes.size(); ++p)
      one.unbalance.col(static_cast<Index>(p)).array() += mistake.extra_moment[planes[p]];
    if (one.unbalance != all.as_written(runs).unbalance) list.push_back(std::move(one));
  };
  for (const auto& mistake : fitting_mistakes(all.job(), run)) {
    std::vector<std::size_t> runs{run};
    for (const std::size_t r : all.runs()) {
      if (r <= run) continue;
      if (!still_lists(all.job(), r, mistake.pieces)) break;
      runs.push_back(r);
    }
    add(mistake, {run}, runs.size() > 1 ? 0.5 : 1.0);
    if (runs.size() > 1) add(mistake, runs, 0.5);
  }
}

void turn_phases(const Situation& now, Hypothesis& one, std::optional<std::size_t> only) {
  for (Index i = 0; i < now.count(); ++i) {
    if (only && now.at(i).sensor != *only) continue;
    const Phasor factor = now.at(i).phase_factor;
    one.readings(i) = std::conj(one.readings(i) / factor) * factor;
  }
}

/// "phase written as lead, not lag".
std::string turned_words(const Situation& now) {
  return now.job().rotor.phase == PhaseConvention::lag ? "phase written as lead, not lag"
                                                       : "phase written as lag, not lead";
}

void add_phase_sense(const Situation& now, List& list) {
  const auto sensors = sensors_read(now);
  auto one = now.of(MistakeKind::phase_sense, turned_words(now), 2.0);
  turn_phases(now, one, {});
  list.push_back(std::move(one));
  for (std::size_t k = 0; sensors.size() > 1 && k < sensors.size(); ++k) {
    auto alone =
        now.of(MistakeKind::phase_sense, now.job().rotor.sensors[sensors[k]].name + ": " + turned_words(now));
    turn_phases(now, alone, sensors[k]);
    list.push_back(std::move(alone));
  }
}

void add_polarity(const Situation& now, List& list) {
  for (const std::size_t s : sensors_read(now)) {
    auto one = now.of(MistakeKind::polarity, "sensor " + now.job().rotor.sensors[s].name + " turned over");
    for (Index i = 0; i < now.count(); ++i)
      if (now.at(i).sensor == s) one.readings(i) = -one.readings(i);
    list.push_back(std::move(one));
  }
}

/// Readings taken as what was written for another: `partner` of each reading, or nothing where it keeps its
/// own. A reading whose partner is missing says nothing.
Hypothesis exchanged(
    const Situation& now, Hypothesis one,
    const std::function<std::optional<std::tuple<std::size_t, std::size_t, std::size_t>>(const HeldReading&)>&
        partner) {
  const auto convention = now.job().rotor.phase;
  std::map<std::tuple<std::size_t, std::size_t, std::size_t>, Index> at;  // run, speed, sensor
  for (Index i = 0; i < now.count(); ++i) at[{now.at(i).run, now.at(i).speed, now.at(i).sensor}] = i;
  for (Index i = 0; i < now.count(); ++i) {
    const auto other = partner(now.at(i));
    if (!other) continue;
    const auto found = at.find(*other);
    if (found == at.end()) {
      if (one.noise_sd.size() == 0) one.noise_sd = Eigen::VectorXd::Zero(now.count());
      one.noise_sd(i) = now.level(i);
      continue;
    }
    const Index k = found->second;
    one.readings(i) =
        from_shown(now.sensor(i), shown(now.sensor(k), now.as_written.readings(k), convention), convention);
    one.log_volume +=
        2.0 * std::log(now.sensor(i).unit.peak_from_shown(1.0) / now.sensor(k).unit.peak_from_shown(1.0));
  }
  return one;
}

using Partner = std::optional<std::tuple<std::size_t, std::size_t, std::size_t>>;

void add_exchanged_sensors(const Situation& now, List& list) {
  const auto sensors = sensors_read(now);
  for (std::size_t i = 0; i < sensors.size(); ++i)
    for (std::size_t k = i + 1; k < sensors.size(); ++k) {
      const std::size_t a = sensors[i], b = sensors[k];
      list.push_back(exchanged(
          now,
          now.of(MistakeKind::sensors_exchanged, "sensors " + now.job().rotor.sensors[a].name + " and " +
                                                     now.job().rotor.sensors[b].name + " exchanged"),
          [&](const HeldReading& one) -> Partner {
            if (one.sensor != a && one.sensor != b) return {};
            return std::tuple(one.run, one.speed, one.sensor == a ? b : a);
          }));
    }
}

void add_exchanged_speeds(const Situation& now, List& list) {
  const auto speeds = each_once(now, [](const HeldReading& one) { return one.speed; });
  for (std::size_t i = 0; i < speeds.size(); ++i)
    for (std::size_t k = i + 1; k < speeds.size(); ++k) {
      const std::size_t a = speeds[i], b = speeds[k];
      list.push_back(exchanged(now,
                               now.of(MistakeKind::speed,
                                      "readings of " + speed_words(now.job(), a) + " and " +
                                          speed_words(now.job(), b) + " exchanged",
                                      k == i + 1 ? 2.0 : 1.0),
                               [&](const HeldReading& one) -> Partner {
                                 if (one.speed != a && one.speed != b) return {};
                                 return std::tuple(one.run, one.speed == a ? b : a, one.sensor);
                               }));
    }
}

/// All phases of the run turned by an angle that is alike at all speeds.
void add_reference_shifted(const Situation& now, List& list) {
  const int teeth = now.job().rotor.reference.teeth;
  const std::string told = turned_by_words(now.all, now.run());
  const auto add = [&](double pitches, double share, const std::string& form) {
    const std::string what = form + ": " + told;
    for (const double sign : {1.0, -1.0}) {
      if (sign < 0.0 && 2.0 * pitches == teeth) continue;
      auto one = now.of(MistakeKind::reference_shifted, what, share);
      one.readings *= std::polar(1.0, radians(sign * 360.0 * pitches / teeth));
      list.push_back(std::move(one));
    }
  };
  add(0.5, 1.0, "reference pulse of reversed polarity (half a tooth pitch)");
  for (int k = 1; 2 * k <= teeth; ++k)
    add(k, 1.0 / (k * k), fmt::format("reference {} {} out", k, k == 1 ? "tooth" : "teeth"));
}

/// Delays in steps of 5 degrees at the highest speed, up to 90.
void add_delay(const Situation& now, List& list) {
  double highest = 0.0;
  for (const auto& one : now.readings) highest = std::max(highest, one.rpm);
  for (int step = -18; step <= 18; ++step) {
    if (step == 0) continue;
    const double at_highest = 5.0 * step;
    auto one = now.of(MistakeKind::time_delay,
                      fmt::format("phases {} by {:.0f}° at {:.0f} rpm and in proportion to speed ({:.0f} µs)",
                                  step > 0 ? "late" : "early", std::abs(at_highest), highest,
                                  std::abs(at_highest) / (6e-6 * highest)));
    for (Index i = 0; i < now.count(); ++i)
      one.readings(i) *= std::polar(1.0, radians(at_highest * now.at(i).rpm / highest));
    list.push_back(std::move(one));
  }
}

struct UnitMistake {
  double factor;
  const char* what;
};

constexpr std::array unit_mistakes{
    UnitMistake{2.0, "twice too large (peak to peak for peak)"},
    UnitMistake{0.5, "half too small (peak for peak to peak)"},
    UnitMistake{std::numbers::sqrt2, "√2 too large (peak for rms)"},
    UnitMistake{std::numbers::sqrt2 / 2.0, "√2 too small (rms for peak)"},
    UnitMistake{2.0 * std::numbers::sqrt2, "2√2 too large (peak to peak for rms)"},
    UnitMistake{std::numbers::sqrt2 / 4.0, "2√2 too small (rms for peak to peak)"},
    UnitMistake{25.4, "25.4 times too large (mm for inch, µm for mil)"},
    UnitMistake{1.0 / 25.4, "25.4 times too small (inch for mm, mil for µm)"},
    UnitMistake{1000.0, "1000 times too large"},
    UnitMistake{0.001, "1000 times too small"}};

/// A reading written 1000 times too small scatters, as written, 1000 times less: undone it is held against
/// the usual scatter, and `log_volume` is of the written ones.
void add_unit(const Situation& now, List& list) {
  const auto sensors = sensors_read(now);
  const auto add = [&](const UnitMistake& unit, std::optional<std::size_t> only) {
    const std::string whose = only ? now.job().rotor.sensors[*only].name : std::string("all sensors");
    auto one = now.of(MistakeKind::unit, whose + ": amplitudes " + unit.what);
    for (Index i = 0; i < now.count(); ++i) {
      if (only && now.at(i).sensor != *only) continue;
      one.readings(i) /= unit.factor;
      one.log_volume -= 2.0 * std::log(unit.factor);
    }
    list.push_back(std::move(one));
  };
  for (const auto& unit : unit_mistakes) {
    add(unit, std::nullopt);
    if (sensors.size() > 1)
      for (const std::size_t s : sensors) add(unit, s);
  }
}

/// One amplitude or phase of the run that may be anything near the level usual there, or ten times that.
void add_mistyped(const Situation& now, List& list) {
  for (Index i = 0; i < now.count(); ++i)
    for (const double size : {1.0, 10.0}) {
      auto one = now.of(MistakeKind::mistyped,
                        place_words(now.job(), now.at(i).speed, now.at(i).sensor) + " mistyped or misread");
      one.noise_sd = Eigen::VectorXd::Zero(now.count());
      one.noise_sd(i) = size * now.level(i);
      one.mistyped_row = now.at(i).row;
      list.push_back(std::move(one));
    }
}

/// Half the largest change of a plane's moment between runs: what an unknown change may well be.
double usual_change(const Situation& now, Index p) {
  double most = 0.0;
  for (const std::size_t r : now.all.runs())
    most = std::max(most, std::abs(now.all.listed(r)(p) - now.all.listed(now.all.runs().front())(p)));
  return 0.5 * most;
}

void add_rotor_changed(const Situation& now, List& list) {
  const auto& planes = now.all.model().posterior->planes;
  for (std::size_t p = 0; p < planes.size(); ++p)
    for (const double size : {1.0, 0.25}) {
      auto one = now.of(MistakeKind::rotor_changed,
                        "an unbalance nobody fitted, at or near " + now.job().rotor.planes[planes[p]].name);
      one.moment_sd = Eigen::VectorXd::Zero(static_cast<Index>(planes.size()));
      one.moment_sd(static_cast<Index>(p)) = size * usual_change(now, static_cast<Index>(p));
      const Phasor moment = now.all.told(one).value(static_cast<Index>(p));
      one.what +=
          ", about " + moment_words(std::polar(to_significant(std::abs(moment), 2), std::arg(moment)), 0);
      list.push_back(std::move(one));
    }
  auto warmer = now.of(MistakeKind::rotor_changed, "all levels changed alike (thermal state)");
  warmer.gain_sd = 0.15;
  list.push_back(std::move(warmer));
}

/// All readings, or those of one sensor, each on its own.
void add_none_of_these(const Situation& now, List& list) {
  const auto sensors = sensors_read(now);
  const auto add = [&](double size, std::optional<std::size_t> only) {
    auto one = now.of(MistakeKind::none_of_these,
                      (only ? now.job().rotor.sensors[*only].name + ": " : std::string{}) +
                          "nothing considered here explains the readings");
    one.noise_sd = Eigen::VectorXd::Zero(now.count());
    for (Index i = 0; i < now.count(); ++i)
      if (!only || now.at(i).sensor == *only) one.noise_sd(i) = size * now.level(i);
    list.push_back(std::move(one));
  };
  for (const double size : {0.5, 0.15}) {
    add(size, {});
    for (std::size_t k = 0; sensors.size() > 1 && k < sensors.size(); ++k) add(size, sensors[k]);
  }
}

/// The readings of two runs, each taken for the other's.
void add_exchanged_runs(const RunComparison& all, List& list) {
  const auto& runs = all.runs();
  for (std::size_t i = 0; i < runs.size(); ++i)
    for (std::size_t k = i + 1; k < runs.size(); ++k) {
      const std::size_t a = runs[i], b = runs[k];
      const Situation now(all, {a, b});
      list.push_back(
          exchanged(now,
                    now.of(MistakeKind::runs_exchanged,
                           "its readings and those of run \"" + now.job().runs[b].name + "\" exchanged"),
                    [&](const HeldReading& one) -> Partner {
                      return std::tuple(one.run == a ? b : a, one.speed, one.sensor);
                    }));
    }
}

/// One sensor's phase read the other way in every run.
void add_turned_everywhere(const RunComparison& all, List& list) {
  const Situation now(all, all.runs());
  const auto sensors = sensors_read(now);
  for (std::size_t k = 0; sensors.size() > 1 && k < sensors.size(); ++k) {
    auto one = now.of(MistakeKind::phase_sense_everywhere,
                      now.job().rotor.sensors[sensors[k]].name + ": " + turned_words(now) + ", in every run");
    turn_phases(now, one, sensors[k]);
    list.push_back(std::move(one));
  }
}

}  // namespace

std::vector<Hypothesis> hypotheses_of(const RunComparison& all, std::size_t run) {
  List list;
  if (!all.is_foretold(run)) return list;
  const Situation now(all, {run});
  add_fitting(all, run, list);
  add_phase_sense(now, list);
  add_polarity(now, list);
  add_exchanged_sensors(now, list);
  add_exchanged_speeds(now, list);
  add_reference_shifted(now, list);
  add_delay(now, list);
  add_unit(now, list);
  add_mistyped(now, list);
  for (auto& shape : shape_hypotheses(all, run)) list.push_back(std::move(shape));
  if (run != all.check()) return list;
  add_rotor_changed(now, list);
  add_none_of_these(now, list);
  return list;
}

std::vector<Hypothesis> hypotheses_of_several(const RunComparison& all) {
  List list;
  add_exchanged_runs(all, list);
  add_turned_everywhere(all, list);
  return list;
}

}  // namespace trimwright
