#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "markup.hpp"
#include "page_view.hpp"
#include "plot_geometry.hpp"

namespace trimwright {

/// Indices into PageView::rows of one sensor, by speed.
[[nodiscard]] std::vector<std::size_t> rows_of(const PageView& view, std::size_t sensor);

/// Markers at the origin of a group: a hollow circle, a filled diamond, a hollow square, a plus.
[[nodiscard]] Markup before_marker();
[[nodiscard]] Markup expected_marker();
[[nodiscard]] Markup measured_marker();
[[nodiscard]] Markup found_marker();

/// A group moved to `at`.
[[nodiscard]] Markup placed(Spot at, std::string_view css_class, const Markup& content);
/// The same, and the page's script finds it by its row.
[[nodiscard]] Markup placed_row(Spot at, std::string_view css_class, std::size_t row, const Markup& content);

[[nodiscard]] Markup plot_text(Spot at, std::string_view css_class, const std::string& words);
[[nodiscard]] Markup plot_line(Spot from, Spot to, std::string_view css_class);

/// A plot with its title and its words for those who do not see it; all drawings are 400 wide.
struct PlotFrame {
  std::string id;
  std::string css_class;
  double height = 400.0;
  std::string title;
  std::string words;
  bool words_shown = false;  ///< under the title, for everybody
};
[[nodiscard]] Markup plot_figure(const PlotFrame& frame, std::initializer_list<Attribute> data,
                                 const Markup& drawing);

/// Size of the texts in plots: 12 px where a plot is drawn as narrow as a phone.
inline constexpr double plot_letter = 14.5;

/// A text of a plot.
struct PlotLabel {
  Spot at;
  std::string_view css_class;
  std::string words;
};
/// What `polar_grid` writes: phases outside the rim, amplitudes along one spoke.
[[nodiscard]] std::vector<PlotLabel> polar_grid_labels(const PolarDrawing& drawing,
                                                       const std::string& convention);

/// Circles with their amplitudes, spokes with their phases.
[[nodiscard]] Markup polar_grid(const PolarDrawing& drawing, const std::string& convention);

/// Places for labels that keep off what the grid writes.
[[nodiscard]] LabelPlaces places_in(const PolarDrawing& drawing, const std::string& convention);

/// An arrow from `from` to `to`, with a head where it is long enough for one.
[[nodiscard]] Markup plot_arrow(Spot from, Spot to, std::string_view css_class);

/// A line of a legend: a mark as plots of `css_class` draw it, and what it stands for.
[[nodiscard]] Markup legend_entry(std::string_view css_class, const Markup& marker, const std::string& words);

/// Points of a polyline, "12.0,30.5 14.0,31.0", and of a path, "M12.0,30.5L14.0,31.0".
[[nodiscard]] std::string polyline_points(const std::vector<Spot>& spots);
[[nodiscard]] std::string path_through(const std::vector<Spot>& spots);

/// What an axis of amplitudes must reach: `most`, and the limit where it is near enough to be drawn.
[[nodiscard]] double with_near_limit(double most, double limit);

/// A line and a tick for every `step` degrees of an axis of phases that goes on over whole turns.
[[nodiscard]] Markup phase_grid(const Axis& phases, double step, double left, double right);

/// The smallest round number not below `value`, a few steps of `tick_step`.
[[nodiscard]] double round_full(double value);

}  // namespace trimwright
