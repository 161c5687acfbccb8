#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "fitting_mistakes.hpp"
#include "trimwright/check.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// What every hypothesis starts from.
struct Situation {
  const Job& job;
  const InfluenceModel& model;
  const CheckRows& rows;
  Hypothesis as_written;

  [[nodiscard]] const InfluenceRow& row(Index i) const {
    return model.rows[rows.rows[static_cast<std::size_t>(i)].row];
  }
  [[nodiscard]] const Sensor& sensor(Index i) const { return job.rotor.sensors[row(i).sensor]; }
  [[nodiscard]] double rpm(Index i) const { return job.speeds_rpm[row(i).speed]; }
  [[nodiscard]] Index count() const { return static_cast<Index>(rows.rows.size()); }
  [[nodiscard]] Hypothesis of(MistakeKind kind, std::string what, double share = 1.0) const {
    Hypothesis one = as_written;
    one.kind = kind;
    one.what = std::move(what);
    one.share = share;
    return one;
  }
};

using List = std::vector<Hypothesis>;

/// Sensors that have rows.
std::vector<std::size_t> sensors_read(const Situation& now) {
  std::vector<std::size_t> sensors;
  for (Index i = 0; i < now.count(); ++i) sensors.push_back(now.row(i).sensor);
  std::sort(sensors.begin(), sensors.end());
  sensors.erase(std::unique(sensors.begin(), sensors.end()), sensors.end());
  return sensors;
}

void add_fitting(const Situation& now, List& list) {
  for (auto& mistake : fitting_mistakes(now.job, now.rows.run)) {
    auto one = now.of(mistake.kind, mistake.what, mistake.share);
    for (std::size_t p = 0; p < now.model.planes.size(); ++p)
      one.unbalance(static_cast<Index>(p)) += mistake.extra_moment[now.model.planes[p]];
    if (one.unbalance != now.as_written.unbalance) list.push_back(std::move(one));
  }
}

void add_phase_sense(const Situation& now, List& list) {
  const bool lag = now.job.rotor.phase == PhaseConvention::lag;
  auto one = now.of(MistakeKind::phase_sense,
                    lag ? "phase written as lead, not lag" : "phase written as lag, not lead");
  for (Index i = 0; i < now.count(); ++i) {
    const Phasor factor = now.rows.rows[static_cast<std::size_t>(i)].phase_factor;
    one.readings(i) = std::conj(one.readings(i) / factor) * factor;
  }
  list.push_back(std::move(one));
}

void add_polarity(const Situation& now, List& list) {
  for (const std::size_t s : sensors_read(now)) {
    auto one = now.of(MistakeKind::polarity, "sensor " + now.job.rotor.sensors[s].name + " turned over");
    for (Index i = 0; i < now.count(); ++i)
      if (now.row(i).sensor == s) one.readings(i) = -one.readings(i);
    list.push_back(std::move(one));
  }
}

/// What was written for one of the two sensors, taken as the other's. A reading whose partner is missing
/// says nothing.
Hypothesis exchanged(const Situation& now, std::size_t a, std::size_t b) {
  const auto convention = now.job.rotor.phase;
  auto one = now.of(MistakeKind::sensors_exchanged, "sensors " + now.job.rotor.sensors[a].name + " and " +
                                                        now.job.rotor.sensors[b].name + " exchanged");
  one.noise_sd = Eigen::VectorXd::Zero(now.count());
  std::map<std::pair<std::size_t, std::size_t>, Index> at;
  for (Index i = 0; i < now.count(); ++i) at[{now.row(i).speed, now.row(i).sensor}] = i;
  for (Index i = 0; i < now.count(); ++i) {
    if (now.row(i).sensor != a && now.row(i).sensor != b) continue;
    const auto partner = at.find({now.row(i).speed, now.row(i).sensor == a ? b : a});
    if (partner == at.end()) {
      one.noise_sd(i) = std::max(std::abs(one.readings(i)), 1e-12);
      continue;
    }
    const Index k = partner->second;
    const auto written = shown(now.sensor(k), now.as_written.readings(k), convention);
    one.readings(i) = from_shown(now.sensor(i), written, convention);
    one.log_volume +=
        2.0 * std::log(now.sensor(i).unit.peak_from_shown(1.0) / now.sensor(k).unit.peak_from_shown(1.0));
  }
  return one;
}

void add_exchanged(const Situation& now, List& list) {
  const auto sensors = sensors_read(now);
  for (std::size_t i = 0; i < sensors.size(); ++i)
    for (std::size_t k = i + 1; k < sensors.size(); ++k)
      list.push_back(exchanged(now, sensors[i], sensors[k]));
}

/// All phases of the run turned by an angle that is alike at all speeds.
void add_reference_shifted(const Situation& now, List& list) {
  const int teeth = now.job.rotor.reference.teeth;
  const auto add = [&](double pitches, double share, const std::string& what) {
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
  for (Index i = 0; i < now.count(); ++i) highest = std::max(highest, now.rpm(i));
  for (int step = -18; step <= 18; ++step) {
    if (step == 0) continue;
    const double at_highest = 5.0 * step;
    auto one = now.of(MistakeKind::time_delay,
                      fmt::format("phases {} by {:.0f}° at {:.0f} rpm and in proportion to speed ({:.0f} µs)",
                                  step > 0 ? "late" : "early", std::abs(at_highest), highest,
                                  std::abs(at_highest) / (6e-6 * highest)));
    for (Index i = 0; i < now.count(); ++i)
      one.readings(i) *= std::polar(1.0, radians(at_highest * now.rpm(i) / highest));
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

/// Of a unit mistake that makes amplitudes too small, beside one that makes them too large: a trim that does
/// better than the model could foresee reads like it.
constexpr double share_of_too_small = 0.01;

/// A run after a good trim reads little, as one written too small would: so an amplitude too small does not
/// make the scatter small as well, or a success would look like a mistake.
void add_unit(const Situation& now, List& list) {
  const auto sensors = sensors_read(now);
  const auto add = [&](const UnitMistake& unit, std::optional<std::size_t> only) {
    const std::string whose = only ? now.job.rotor.sensors[*only].name : std::string("all sensors");
    auto one = now.of(MistakeKind::unit, whose + ": amplitudes " + unit.what);
    one.row_scale = Eigen::VectorXd::Ones(now.count());
    if (unit.factor < 1.0) one.share = share_of_too_small;
    for (Index i = 0; i < now.count(); ++i) {
      if (only && now.row(i).sensor != *only) continue;
      one.readings(i) /= unit.factor;
      one.row_scale(i) = std::max(1.0, 1.0 / unit.factor);
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

/// Half the largest change of a plane's moment between runs: what an unknown change may well be.
double usual_change(const Situation& now, Index p) {
  const std::size_t plane = now.model.planes[static_cast<std::size_t>(p)];
  double most = 0.0;
  for (std::size_t r = 0; r <= now.rows.run; ++r)
    most = std::max(most, std::abs(run_unbalance(now.job, r)[plane] - run_unbalance(now.job, 0)[plane]));
  return 0.5 * most;
}

void add_rotor_changed(const Situation& now, List& list) {
  for (Index p = 0; p < now.as_written.unbalance.size(); ++p) {
    const std::string& name = now.job.rotor.planes[now.model.planes[static_cast<std::size_t>(p)]].name;
    for (const double size : {1.0, 0.25}) {
      auto one = now.of(MistakeKind::rotor_changed, "an unbalance nobody fitted, at or near " + name);
      one.moment_sd = Eigen::VectorXd::Zero(now.as_written.unbalance.size());
      one.moment_sd(p) = size * usual_change(now, p);
      list.push_back(std::move(one));
    }
  }
  auto warmer = now.of(MistakeKind::rotor_changed, "all levels changed alike (thermal state)");
  warmer.gain_sd = 0.15;
  list.push_back(std::move(warmer));
}

void add_none_of_these(const Situation& now, List& list) {
  for (const double size : {0.5, 0.15}) {
    auto one = now.of(MistakeKind::none_of_these, "nothing considered here explains the readings");
    one.noise_sd.resize(now.count());
    for (Index i = 0; i < now.count(); ++i) {
      const auto& fit = now.row(i).fit;
      double squares = 0.0;
      for (const auto& reading : fit) squares += std::norm(reading.read) / static_cast<double>(fit.size());
      one.noise_sd(i) = size * std::sqrt(squares);
    }
    list.push_back(std::move(one));
  }
}

/// Shares of a kind brought to a sum of 1.
void scale_shares(List& list) {
  std::map<MistakeKind, double> sum;
  for (const auto& one : list) sum[one.kind] += one.share;
  for (auto& one : list) one.share /= sum[one.kind];
}

}  // namespace

std::vector<Hypothesis> hypotheses(const Job& job, const InfluenceModel& model, const CheckRows& rows) {
  Hypothesis nothing;
  nothing.what = "as written down";
  nothing.unbalance = rows.unbalance;
  nothing.readings = rows.read();
  const Situation now{job, model, rows, nothing};
  List list{nothing};
  add_fitting(now, list);
  add_phase_sense(now, list);
  add_polarity(now, list);
  add_exchanged(now, list);
  add_reference_shifted(now, list);
  add_delay(now, list);
  add_unit(now, list);
  add_rotor_changed(now, list);
  add_none_of_these(now, list);
  scale_shares(list);
  return list;
}

}  // namespace trimwright
