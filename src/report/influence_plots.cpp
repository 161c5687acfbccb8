#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "page_plots.hpp"
#include "plot_parts.hpp"

namespace trimwright {
namespace {

/// A vector's tip in the drawing, with what is written beside it.
struct Tip {
  Spot at;
  std::string label;
};

/// Vectors of one plane by speed, joined at their tips; a plane has a dash pattern of its own.
Markup plane_vectors(const std::vector<Tip>& tips, const PolarDrawing& drawing, const std::string& dashes,
                     LabelPlaces& places) {
  std::vector<Spot> trace;
  Markup vectors;
  Markup marks;
  for (const auto& tip : tips) {
    trace.push_back(tip.at);
    vectors += plot_line(drawing.centre, tip.at, "vector " + dashes);
    marks += placed(tip.at, "tip", element("circle", {{"class", "mark"}, {"r", 3.5}}));
    marks += plot_text(places.place(tip.at, tip.label.size(), plot_letter), "speed", tip.label);
  }
  return vectors + element("path", {{"class", "trace " + dashes}, {"d", path_through(trace)}}) + marks;
}

}  // namespace

Markup influence_plot(const PageView& view, std::size_t sensor) {
  const auto& s = view.rotor().sensors[sensor];
  double most = 0.0;
  for (const std::size_t i : rows_of(view, sensor))
    most = std::max(most,
                    1000.0 * s.unit.shown_from_peak(view.model.rows[i].coefficients.cwiseAbs().maxCoeff()));
  const PolarDrawing drawing{{200.0, 200.0}, 158.0, round_full(most)};
  const std::string convention = convention_words(view.rotor().phase);
  LabelPlaces places = places_in(drawing, convention);
  std::vector<std::vector<Tip>> tips(view.model.planes.size());
  std::string words;
  const auto rows = rows_of(view, sensor);
  const bool many = tips.size() > 2;  // planes: all their speeds in one drawing nobody could read
  for (std::size_t p = 0; p < tips.size(); ++p)
    for (const std::size_t i : rows) {
      const auto x = 1000.0 * view.model.rows[i].coefficients(static_cast<Eigen::Index>(p));
      const auto seen = shown(s, x, view.rotor().phase);
      const auto& speed = view.rows[i].speed_label;
      const std::string& plane = view.rotor().planes[view.model.planes[p]].name;
      if (!many || i == rows.back()) {
        tips[p].push_back(
            {drawing.at(seen.amplitude, seen.phase_deg), many ? plane : fmt::format("{}: {}", p + 1, speed)});
        places.keep_free(tips[p].back().at, 4.0);
      }
      words += fmt::format("Plane {} at {}: {} at {}. ", plane, speed, amplitude_words(seen.amplitude),
                           angle_words(seen.phase_deg, 0));
    }
  Markup vectors;
  for (std::size_t p = 0; p < tips.size(); ++p)
    vectors += plane_vectors(tips[p], drawing, fmt::format("plane{}", p % 6), places);
  return plot_figure({fmt::format("influence-{}", sensor), "polar", 400.0,
                      fmt::format("{}: {} per 1000 g mm at rotor angle 0{}", s.name, s.unit.text(),
                                  many ? ", at " + view.rows[rows.back()].speed_label : ""),
                      words},
                     {}, polar_grid(drawing, convention) + vectors);
}

}  // namespace trimwright
