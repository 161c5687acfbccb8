#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "run_comparison.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

constexpr double in_degrees = 180.0 / std::numbers::pi;

/// Of a sensor's ratio, and of one vector added, over the level usual: one standard deviation per component.
constexpr double shape_sizes[] = {0.5, 0.12};

/// "34° ± 2° more", as phases are written.
std::string more_or_less(const Job& job, double lead, double sd) {
  const double written = (job.rotor.phase == PhaseConvention::lead ? 1.0 : -1.0) * lead * in_degrees;
  return fmt::format("{:.0f}° ± {:.2g}° {}", std::abs(written), sd * in_degrees,
                     written < 0.0 ? "less" : "more");
}

Hypothesis turned_alike(const RunComparison& all, std::size_t run) {
  Hypothesis one = all.as_written({run});
  const ToldTurn turn = all.told_turn(one);
  one.kind = MistakeKind::reference_shifted;
  one.what = "every phase turned alike, the reference moved: " + turned_by_words(all, run);
  one.share = 2.0;  // as likely as a half tooth and a tooth together, either way (our own figure)
  one.any_turn = true;
  one.readings *= std::polar(1.0, -turn.angle);
  return one;
}

Hypothesis sensor_ratio(const RunComparison& all, std::size_t run, std::size_t sensor, double size) {
  Hypothesis one = all.as_written({run});
  const auto readings = all.readings_of({run});
  const Eigen::VectorXcd mean = all.expected(one);
  one.kind = MistakeKind::sensor_changed;
  one.shapes = Eigen::MatrixXcd::Zero(mean.size(), 1);
  for (Index i = 0; i < mean.size(); ++i)
    if (readings[static_cast<std::size_t>(i)].sensor == sensor) one.shapes(i, 0) = size * mean(i);
  const ToldUnknowns told = all.told(one);
  const Phasor ratio = 1.0 + size * told.value(0);
  const double sd = size * told.sd(0);
  one.what = fmt::format("sensor {} reads {:.2f} ± {:.1g} times what it did, its phase {}",
                         all.job().rotor.sensors[sensor].name, std::abs(ratio), sd,
                         more_or_less(all.job(), std::arg(ratio), sd / std::abs(ratio)));
  return one;
}

/// One vector a sensor, alike at all speeds.
Hypothesis vector_added(const RunComparison& all, std::size_t run, const std::set<std::size_t>& sensors,
                        double size) {
  Hypothesis one = all.as_written({run});
  const auto readings = all.readings_of({run});
  one.kind = MistakeKind::rotor_changed;
  one.what = "one vector added to all readings of a sensor, alike at all speeds (a bow, or a thermal state)";
  one.shapes = Eigen::MatrixXcd::Zero(one.readings.size(), static_cast<Index>(sensors.size()));
  Index column = 0;
  for (const std::size_t sensor : sensors) {
    double level = 0.0, count = 0.0;
    for (const auto& reading : readings)
      if (reading.sensor == sensor) level += all.level(reading.row), count += 1.0;
    for (Index i = 0; i < one.shapes.rows(); ++i)
      if (readings[static_cast<std::size_t>(i)].sensor == sensor)
        one.shapes(i, column) = size * level / count;
    ++column;
  }
  return one;
}

}  // namespace

std::string turned_by_words(const RunComparison& all, std::size_t run) {
  const ToldTurn turn = all.told_turn(all.as_written({run}));
  const bool first = all.runs().size() > 2 && run == all.runs().front();
  return "phases read " + more_or_less(all.job(), turn.angle, turn.sd) +
         (first ? " than in all runs since, which may be those turned" : "");
}

std::vector<Hypothesis> shape_hypotheses(const RunComparison& all, std::size_t run) {
  std::vector<Hypothesis> list{turned_alike(all, run)};
  std::set<std::size_t> sensors, speeds;
  for (const auto& reading : all.readings_of({run})) {
    sensors.insert(reading.sensor);
    speeds.insert(reading.speed);
  }
  for (const double size : shape_sizes) {
    for (const std::size_t sensor : sensors) list.push_back(sensor_ratio(all, run, sensor, size));
    if (run == all.check() && speeds.size() > 1) list.push_back(vector_added(all, run, sensors, size));
  }
  return list;
}

}  // namespace trimwright
