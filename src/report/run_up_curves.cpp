#include "run_up_curves.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace trimwright {
namespace {

/// Its run-ups and run-downs are told apart by their notes, as the table of a recording writes them.
void add_curves(const PageView& view, std::size_t run, bool newest, std::size_t sensor,
                std::vector<RunUpCurve>& curves) {
  std::map<std::string, std::vector<Reading>> by_note;
  for (const auto& one : view.job.runs[run].run_up)
    if (one.sensor == sensor) by_note[one.note].push_back(one);
  for (auto& [note, readings] : by_note) {
    std::stable_sort(readings.begin(), readings.end(),
                     [](const Reading& a, const Reading& b) { return a.rpm < b.rpm; });
    RunUpCurve curve{run, newest, {}, {}, {}};
    for (const auto& one : readings) {
      const auto s = shown(view.rotor().sensors[sensor], *one.x, view.rotor().phase);
      curve.rpm.push_back(one.rpm);
      curve.amplitude.push_back(s.amplitude);
      curve.phase_deg.push_back(curve.phase_deg.empty() ? s.phase_deg
                                                        : nearest_turn(s.phase_deg, curve.phase_deg.back()));
    }
    curves.push_back(std::move(curve));
  }
}

}  // namespace

double nearest_turn(double phase_deg, double other_deg) {
  return phase_deg + 360.0 * std::round((other_deg - phase_deg) / 360.0);
}

std::vector<RunUpCurve> run_up_curves(const PageView& view, std::size_t sensor) {
  std::vector<std::size_t> runs;
  for (std::size_t r = 0; r < view.job.runs.size(); ++r)
    if (!view.job.runs[r].set_aside && !view.job.runs[r].run_up.empty()) runs.push_back(r);
  std::vector<RunUpCurve> curves;
  if (runs.empty()) return curves;
  add_curves(view, runs.front(), false, sensor, curves);
  if (runs.size() > 1) add_curves(view, runs.back(), true, sensor, curves);
  return curves;
}

std::string run_up_class(const RunUpCurve& curve) {
  return curve.newest ? "run-up-line newest" : "run-up-line";
}

}  // namespace trimwright
