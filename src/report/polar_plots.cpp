#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "convention_words.hpp"
#include "page_plots.hpp"
#include "plot_parts.hpp"
#include "run_up_curves.hpp"

namespace trimwright {
namespace {

double widest(const PageView& view, const std::vector<std::size_t>& rows, bool close_up) {
  double most = 0.0;
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    most =
        std::max({most, row.after.amplitude + row.differs_by.value_or(0.0), 1.1 * row.target.value_or(0.0)});
    if (row.measured) most = std::max(most, row.measured->amplitude);
    if (close_up) continue;
    most = std::max(most, row.before.amplitude);
    if (row.first_since_event) most = std::max(most, row.first_since_event->amplitude);
  }
  double limit = 0.0;
  for (const std::size_t i : rows) limit = std::max(limit, view.rows[i].limit);
  return close_up ? most : with_near_limit(most, limit);
}

/// Circles of the levels that fit into the drawing, each with its amplitude.
Markup level_circles(const PageView& view, const std::vector<std::size_t>& rows, const PolarDrawing& drawing,
                     bool close_up, LabelPlaces& places) {
  std::map<double, bool> levels;  // amplitude, whether a limit
  for (const std::size_t i : rows) {
    if (view.rows[i].target) levels.emplace(*view.rows[i].target, false);
    levels[view.rows[i].limit] = true;
  }
  Markup circles;
  double turned = 0.0;  // labels of levels close together stand side by side
  for (const auto& [level, is_limit] : levels) {
    if (level > drawing.full * (1.0 + 1e-9)) continue;
    circles += element("circle", {{"class", is_limit ? "limit" : "target"},
                                  {"cx", drawing.centre.x},
                                  {"cy", drawing.centre.y},
                                  {"r", drawing.radius(level)}});
    if (!is_limit && !close_up) continue;
    const std::string words = (is_limit ? "limit " : "target ") + amplitude_words(level);
    const Spot at = drawing.at(level, 195.0 + turned);
    circles += plot_text(at, "level", words);
    places.keep_free(at, words.size(), plot_letter);
    turned += 60.0;
  }
  return circles;
}

Markup series(const PageView& view, const std::vector<std::size_t>& rows, const PolarDrawing& drawing,
              bool close_up, LabelPlaces& places) {
  const auto spot = [&](const ShownReading& reading) {
    return drawing.at(reading.amplitude, reading.phase_deg);
  };
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    places.keep_free(spot(row.after), 6.0);
    if (row.measured) places.keep_free(spot(*row.measured), 6.0);
    if (close_up) continue;
    places.keep_free(spot(row.before), 6.0);
    if (row.first_since_event) places.keep_free(spot(*row.first_since_event), 6.0);
  }
  Markup moves;
  Markup marks;
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    const Spot after = spot(row.after);
    if (!close_up) {
      const Spot before = spot(row.before);
      moves += element("line", {{"class", "move"},
                                {"data-row", i},
                                {"x1", before.x},
                                {"y1", before.y},
                                {"x2", after.x},
                                {"y2", after.y}});
      const Spot label = places.place(before, row.speed_label.size(), plot_letter);
      marks += placed(
          before, "before",
          before_marker() + plot_text({label.x - before.x, label.y - before.y}, "speed", row.speed_label));
      if (row.first_since_event) marks += placed(spot(*row.first_since_event), "found", found_marker());
    }
    Markup inside;
    if (row.differs_by)
      inside += element("circle", {{"class", "region"}, {"r", drawing.radius(*row.differs_by)}});
    inside += expected_marker();
    if (close_up) {
      const Spot label = places.place(after, row.speed_label.size(), plot_letter);
      inside += plot_text({label.x - after.x, label.y - after.y}, "speed", row.speed_label);
    }
    marks += placed_row(after, "expected", i, inside);
    if (row.measured) marks += placed(spot(*row.measured), "measured", measured_marker());
  }
  return moves + marks;
}

std::string described(const PageView& view, const std::vector<std::size_t>& rows) {
  std::string words;
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    words += fmt::format("{} at {} to {} at {} at {}. ", amplitude_words(row.before.amplitude),
                         angle_words(row.before.phase_deg, 0), amplitude_words(row.after.amplitude),
                         angle_words(row.after.phase_deg, 0), row.speed_label);
  }
  return "Amplitude outward, phase clockwise from the top, from before to expected: " + words +
         "The table of expected readings says the same.";
}

}  // namespace

Markup polar_plot(const PageView& view, std::size_t sensor, bool close_up) {
  const auto rows = rows_of(view, sensor);
  const PolarDrawing drawing{{200.0, 200.0}, 158.0, round_full(widest(view, rows, close_up))};
  const auto& s = view.rotor().sensors[sensor];
  const std::string convention = convention_words(view.rotor().phase);
  LabelPlaces places = places_in(drawing, convention);
  const Markup levels = level_circles(view, rows, drawing, close_up, places);
  const std::string title = fmt::format("{}, {}: {}", s.name, s.unit.text(),
                                        close_up ? "expected, enlarged" : "before and expected");
  return plot_figure(
      {fmt::format("polar{}-{}", close_up ? "-close" : "", sensor), "polar", 400.0, title,
       described(view, rows)},
      {{"data-polar", std::to_string(sensor)},
       {"data-full", fmt::format("{}", drawing.full)},
       {"data-rim", fmt::format("{}", drawing.rim)}},
      polar_grid(drawing, convention) + levels + series(view, rows, drawing, close_up, places));
}

Markup series_legend(const PageView& view) {
  Markup list;
  if (view.first_run_since_event)
    list += legend_entry("found", found_marker(),
                         "read in run “" + view.job.runs[*view.first_run_since_event].name + "”");
  list += legend_entry("before", before_marker(), "now: the model with what is fitted now");
  list += legend_entry("expected", expected_marker(), "expected with these weights");
  if (view.verdict)
    list += legend_entry("measured", measured_marker(),
                         "measured after, run “" + view.job.runs[view.verdict->run].name + "”");
  list += legend_entry("expected", element("circle", {{"class", "region"}, {"r", 10.0}}),
                       "a reading outside this circle differs from what is expected");
  list += legend_entry("lines", element("line", {{"class", "limit"}, {"x1", -11.0}, {"x2", 11.0}}), "limit");
  list +=
      legend_entry("lines", element("line", {{"class", "target"}, {"x1", -11.0}, {"x2", 11.0}}), "target");
  std::vector<std::string> drawn;
  for (std::size_t s = 0; s < view.rotor().sensors.size(); ++s)
    for (const auto& curve : run_up_curves(view, s)) {
      const std::string line = run_up_class(curve);
      if (std::find(drawn.begin(), drawn.end(), line) != drawn.end()) continue;
      drawn.push_back(line);
      list += legend_entry("lines", element("line", {{"class", line}, {"x1", -11.0}, {"x2", 11.0}}),
                           "read while the speed changed, run “" + view.job.runs[curve.run].name + "”");
    }
  return element("ul", {{"class", "legend"}}, list);
}

}  // namespace trimwright
