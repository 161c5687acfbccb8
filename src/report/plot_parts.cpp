#include "plot_parts.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"

namespace trimwright {

std::vector<std::size_t> rows_of(const PageView& view, std::size_t sensor) {
  std::vector<std::size_t> rows;
  for (std::size_t i = 0; i < view.rows.size(); ++i)
    if (view.rows[i].sensor == sensor) rows.push_back(i);
  return rows;
}

Markup before_marker() { return element("circle", {{"class", "mark"}, {"r", 5.0}}); }
Markup expected_marker() { return element("path", {{"class", "mark"}, {"d", "M0-6.5L6.5 0 0 6.5-6.5 0Z"}}); }
Markup measured_marker() { return element("path", {{"class", "mark"}, {"d", "M-5-5H5V5H-5Z"}}); }
Markup found_marker() { return element("path", {{"class", "mark"}, {"d", "M-5 0H5M0-5V5"}}); }

Markup placed(Spot at, std::string_view css_class, const Markup& content) {
  return element("g",
                 {{"class", css_class}, {"transform", fmt::format("translate({:.1f} {:.1f})", at.x, at.y)}},
                 content);
}

Markup placed_row(Spot at, std::string_view css_class, std::size_t row, const Markup& content) {
  return element("g",
                 {{"class", css_class},
                  {"data-row", row},
                  {"transform", fmt::format("translate({:.1f} {:.1f})", at.x, at.y)}},
                 content);
}

Markup plot_text(Spot at, std::string_view css_class, const std::string& words) {
  return element("text", {{"class", css_class}, {"x", at.x}, {"y", at.y + 4.0}}, words);
}

Markup plot_line(Spot from, Spot to, std::string_view css_class) {
  return element("line", {{"class", css_class}, {"x1", from.x}, {"y1", from.y}, {"x2", to.x}, {"y2", to.y}});
}

Markup plot_figure(const PlotFrame& frame, std::initializer_list<Attribute> data, const Markup& drawing) {
  Markup attributes;
  const std::string title_id = frame.id + "-title";
  const std::string words_id = frame.id + "-words";
  const Markup inside = element("title", {{"id", title_id}}, frame.title) +
                        element("desc", {{"id", words_id}}, frame.words) + element("g", data, drawing);
  const Markup svg = element("svg",
                             {{"class", "plot " + frame.css_class},
                              {"viewBox", fmt::format("0 0 400 {:.0f}", frame.height)},
                              {"role", "img"},
                              {"aria-labelledby", title_id},
                              {"aria-describedby", words_id}},
                             inside);
  const Markup shown_words = frame.words_shown ? element("small", {}, frame.words) : Markup();
  return element("figure", {}, element("figcaption", {}, Markup::text(frame.title) + shown_words) + svg);
}

std::vector<PlotLabel> polar_grid_labels(const PolarDrawing& drawing, const std::string& convention) {
  std::vector<PlotLabel> labels;
  for (int spoke = 0; spoke < 12; ++spoke) {
    const Spot rim = drawing.at(drawing.full, 30.0 * spoke);
    const Spot outside{drawing.centre.x + (rim.x - drawing.centre.x) * 1.1,
                       drawing.centre.y + (rim.y - drawing.centre.y) * 1.09};
    labels.push_back({outside, "tick", fmt::format("{}°{}", 30 * spoke, spoke == 0 ? " " + convention : "")});
  }
  const double step = tick_step(drawing.full, 5);
  for (double value = step; value <= drawing.full * (1.0 + 1e-9); value += step)
    labels.push_back({drawing.at(value, 105.0), "tick value", fmt::format("{:.4g}", value)});
  return labels;
}

Markup polar_grid(const PolarDrawing& drawing, const std::string& convention) {
  Markup grid;
  const double step = tick_step(drawing.full, 5);
  for (double value = step; value <= drawing.full * (1.0 + 1e-9); value += step)
    grid += element("circle", {{"class", "grid"},
                               {"cx", drawing.centre.x},
                               {"cy", drawing.centre.y},
                               {"r", drawing.radius(value)}});
  for (int spoke = 0; spoke < 12; ++spoke)
    grid += plot_line(drawing.centre, drawing.at(drawing.full, 30.0 * spoke), "grid");
  for (const auto& label : polar_grid_labels(drawing, convention))
    grid += plot_text(label.at, label.css_class, label.words);
  return grid;
}

LabelPlaces places_in(const PolarDrawing& drawing, const std::string& convention) {
  LabelPlaces places(400.0, 400.0);
  for (const auto& label : polar_grid_labels(drawing, convention))
    places.keep_free(label.at, label.words.size(), plot_letter);
  return places;
}

Markup plot_arrow(Spot from, Spot to, std::string_view css_class) {
  const double length = std::hypot(to.x - from.x, to.y - from.y);
  if (length < 1.0) return {};
  const Spot along{(to.x - from.x) / length, (to.y - from.y) / length};
  const double head = std::min(11.0, 0.6 * length);
  const Spot neck{to.x - head * along.x, to.y - head * along.y};
  const double half = 0.4 * head;
  const std::string shape = path_through({to,
                                          {neck.x - half * along.y, neck.y + half * along.x},
                                          {neck.x + half * along.y, neck.y - half * along.x}}) +
                            "Z";
  return element("g", {{"class", css_class}},
                 plot_line(from, neck, "arrow") + element("path", {{"class", "arrow-head"}, {"d", shape}}));
}

Markup legend_entry(std::string_view css_class, const Markup& marker, const std::string& words) {
  const Markup picture = element("svg",
                                 {{"class", "plot key"},
                                  {"viewBox", "0 0 24 24"},
                                  {"width", 24.0},
                                  {"height", 24.0},
                                  {"aria-hidden", "true"}},
                                 placed({12.0, 12.0}, css_class, marker));
  return element("li", {}, picture + Markup::text(words));
}

namespace {

std::string joined_spots(const std::vector<Spot>& spots, const char* between) {
  std::vector<std::string> points;
  for (const auto& spot : spots) points.push_back(fmt::format("{:.1f},{:.1f}", spot.x, spot.y));
  return fmt::format("{}", fmt::join(points, between));
}

}  // namespace

std::string polyline_points(const std::vector<Spot>& spots) { return joined_spots(spots, " "); }

std::string path_through(const std::vector<Spot>& spots) {
  return spots.empty() ? std::string() : "M" + joined_spots(spots, "L");
}

double with_near_limit(double most, double limit) {
  constexpr double near = 1.6;  // times what is drawn
  return limit <= near * most ? std::max(most, limit) : most;
}

Markup phase_grid(const Axis& phases, double step, double left, double right) {
  Markup grid;
  for (double value = phases.from; value <= phases.to + 1e-9; value += step) {
    grid += plot_line({left, phases.at(value)}, {right, phases.at(value)}, "grid");
    grid +=
        plot_text({left - 6.0, phases.at(value)}, "tick end", fmt::format("{:.0f}", rounded_angle(value, 0)));
  }
  return grid;
}

double round_full(double value) {
  if (!(value > 0.0)) return 1.0;
  const double step = tick_step(value, 5);
  return step * std::ceil(value / step - 1e-9);
}

}  // namespace trimwright
