#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "forecast/outlook.hpp"
#include "page_plots.hpp"
#include "plot_parts.hpp"
#include "trimwright/forecast.hpp"

namespace trimwright {
namespace {

/// What the planes' changes add at a place, in the order of the model's planes.
std::vector<Phasor> added_by_planes(const PageView& view, const InfluenceRow& row) {
  Eigen::VectorXcd change = unbalance_with(view.job, view.model.planes, view.fitted) -
                            unbalance_with(view.job, view.model.planes, view.job.fitted_now);
  if (!view.trim.has_slots())
    for (const auto& part : view.trim.correction.parts)
      for (std::size_t p = 0; p < view.model.planes.size(); ++p)
        if (view.model.planes[p] == part.plane) change(static_cast<Eigen::Index>(p)) = part.moment_to_add;
  std::vector<Phasor> added;
  for (Eigen::Index p = 0; p < change.size(); ++p) added.push_back(row.coefficients(p) * change(p));
  return added;
}

/// A place's vectors as they are shown.
struct VectorSum {
  std::vector<Phasor> corners;  ///< now, then with each plane's part added
  std::vector<std::string> names;
  std::vector<Phasor> ellipse;
};

Markup sum_drawing(const PageView& view, const PageRow& row, const VectorSum& sum) {
  const Sensor& sensor = view.sensor(row);
  const auto seen = [&](Phasor x) { return shown(sensor, x, view.rotor().phase); };
  double most = 1.05 * row.target.value_or(0.0);
  for (const Phasor x : sum.corners) most = std::max(most, seen(x).amplitude);
  for (const Phasor x : sum.ellipse) most = std::max(most, seen(x).amplitude);
  if (row.limit < 1.3 * most) most = std::max(most, row.limit);
  const PolarDrawing drawing{{200.0, 200.0}, 158.0, round_full(most)};
  const auto spot = [&](Phasor x) { return drawing.at(seen(x).amplitude, seen(x).phase_deg); };
  const std::string convention = convention_words(view.rotor().phase);
  LabelPlaces places = places_in(drawing, convention);
  Markup inside = polar_grid(drawing, convention);
  const auto circle = [&](double level, std::string_view css_class) {
    if (level > drawing.full * (1.0 + 1e-9)) return;
    inside +=
        element("circle", {{"class", css_class}, {"cx", 200.0}, {"cy", 200.0}, {"r", drawing.radius(level)}});
  };
  circle(row.limit, "limit");
  if (row.target) circle(*row.target, "target");
  std::vector<Spot> outline;
  for (const Phasor x : sum.ellipse) outline.push_back(spot(x));
  if (!outline.empty()) inside += element("path", {{"class", "ellipse"}, {"d", path_through(outline) + "Z"}});
  Spot from = drawing.centre;
  Markup labels;
  for (const Phasor x : sum.corners) places.keep_free(spot(x), 5.0);
  for (std::size_t i = 0; i < sum.corners.size(); ++i) {
    const Spot to = spot(sum.corners[i]);
    const Spot middle{0.5 * (from.x + to.x), 0.5 * (from.y + to.y)};
    if (std::hypot(to.x - from.x, to.y - from.y) > 8.0) {
      inside += plot_arrow(from, to, i == 0 ? "now-arrow" : fmt::format("part plane{}", i % 6));
      labels += plot_text(places.place(middle, sum.names[i].size(), plot_letter), "speed", sum.names[i]);
    }
    from = to;
  }
  inside += plot_arrow(drawing.centre, from, "sum") + labels;
  return inside;
}

VectorSum vector_sum(const PageView& view, const PageRow& row, const PhasorDistribution* next) {
  const auto number = view.number(row);
  VectorSum sum{{view.trim.predictions[number].before}, {"now"}, {}};
  const auto added = added_by_planes(view, view.model.rows[number]);
  for (std::size_t p = 0; p < added.size(); ++p) {
    if (std::abs(added[p]) < 1e-12 * std::abs(sum.corners.front())) continue;
    sum.corners.push_back(sum.corners.back() + added[p]);
    sum.names.push_back(view.rotor().planes[view.model.planes[p]].name);
  }
  if (next == nullptr) return sum;
  const auto& places = view.model.belief->rows;
  const auto found = std::find(places.begin(), places.end(), std::pair(row.speed, row.sensor));
  if (found != places.end())
    sum.ellipse = nine_in_ten_ellipse(*next, static_cast<std::size_t>(found - places.begin()));
  return sum;
}

std::string sum_words(const PageView& view, const PageRow& row, const VectorSum& sum) {
  std::string words = "now " + reading_words(row.before);
  for (std::size_t i = 1; i < sum.corners.size(); ++i)
    words +=
        fmt::format(" + {} {}", sum.names[i],
                    phasor_words(view.sensor(row), sum.corners[i] - sum.corners[i - 1], view.rotor().phase));
  return words + " = expected " + reading_words(row.after);
}

}  // namespace

Markup sum_plots(const PageView& view) {
  std::optional<PhasorDistribution> next;
  if (view.model.belief && view.trim.has_slots())
    next = next_readings_with(view.job, *view.model.belief, view.fitted);
  Markup plots;
  for (const auto& row : view.rows) {
    const VectorSum sum = vector_sum(view, row, next ? &*next : nullptr);
    const Sensor& sensor = view.sensor(row);
    plots += plot_figure(
        {fmt::format("sum-{}", view.number(row)), "polar", 400.0,
         fmt::format("{} at {}, {}", sensor.name, speed_words(view.job, row.speed), sensor.unit.text()),
         sum_words(view, row, sum), true},
        {}, sum_drawing(view, row, sum));
  }
  return element("div", {{"class", "plots close"}}, plots);
}

Markup trial_plot(const PageView& view, std::size_t sensor) {
  const auto& runs = view.model.runs.used;
  if (runs.empty()) return {};
  const Sensor& s = view.rotor().sensors[sensor];
  struct Move {
    ShownReading from, to;
    std::string label;
    std::size_t run;
  };
  std::vector<Move> moves;
  double most = 0.0;
  for (const std::size_t run : runs) {
    if (run == runs.front() || made_with(view.job.runs[run], view.job.runs[runs.front()].fitted)) continue;
    if (event_between(view.job, runs.front(), run)) continue;  // the arrow would show what happened, too
    for (const std::size_t i : rows_of(view, sensor)) {
      const auto from = shown_reading(view.job, runs.front(), view.rows[i].speed, sensor);
      const auto to = shown_reading(view.job, run, view.rows[i].speed, sensor);
      if (!from || !to) continue;
      moves.push_back({*from, *to, view.rows[i].speed_label, run});
      most = std::max({most, from->amplitude, to->amplitude});
    }
  }
  if (moves.empty()) return {};
  const PolarDrawing drawing{{200.0, 200.0}, 158.0, round_full(most)};
  const std::string convention = convention_words(view.rotor().phase);
  LabelPlaces places = places_in(drawing, convention);
  Markup inside = polar_grid(drawing, convention);
  const auto spot = [&](const ShownReading& x) { return drawing.at(x.amplitude, x.phase_deg); };
  for (const auto& move : moves) places.keep_free(spot(move.to), 6.0), places.keep_free(spot(move.from), 5.0);
  Markup labels;
  std::string words, key;
  std::size_t last = runs.front();
  std::size_t dash = 0;
  for (const auto& move : moves) {
    if (move.run != last) {
      ++dash;
      key += fmt::format("{}{}: {}", key.empty() ? "" : "; ", dash, view.job.runs[move.run].name);
    }
    last = move.run;
    inside += plot_arrow(spot(move.from), spot(move.to), fmt::format("part plane{}", (dash - 1) % 6));
    const std::string label = fmt::format("{}: {}", dash, move.label);
    labels += plot_text(places.place(spot(move.to), label.size(), plot_letter), "speed", label);
    words += fmt::format("{} at {}: {} to {}. ", view.job.runs[move.run].name, move.label,
                         reading_words(move.from), reading_words(move.to));
  }
  return plot_figure(
      {fmt::format("trial-{}", sensor), "polar", 400.0,
       fmt::format("{}, {}: from “{}” to {}", s.name, s.unit.text(), view.job.runs[runs.front()].name, key),
       words},
      {}, inside + labels);
}

}  // namespace trimwright
