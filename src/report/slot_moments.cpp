#include "slot_moments.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "plot_parts.hpp"

namespace trimwright {
namespace {

Markup wanted_marker() { return element("circle", {{"class", "mark"}, {"r", 6.5}}); }

/// An arrow's line from the middle and its mark at the tip; the page's script moves the planned one.
Markup moment_arrow(std::complex<double> moment, std::string_view css_class, const Markup& marker,
                    const RotorDrawing& drawing, double per_g_mm) {
  const Spot tip = drawing.at(per_g_mm * std::abs(moment), RotorAngle::of(moment));
  return element(
      "g", {{"class", css_class}},
      element("line", {{"x1", drawing.centre.x}, {"y1", drawing.centre.y}, {"x2", tip.x}, {"y2", tip.y}}) +
          placed(tip, "at", marker));
}

std::string moment_text(std::complex<double> moment) {
  return std::abs(moment) < 0.5 ? std::string("none") : moment_words(moment, 0);
}

}  // namespace

PlaneMoments plane_moments(const PageView& view, std::size_t plane) {
  const Plane& p = view.rotor().planes[plane];
  PlaneMoments moments{total_moment(p, view.job.fitted_now[plane]), {}, total_moment(p, view.fitted[plane])};
  for (const auto& part : view.trim.correction.parts)
    if (part.plane == plane) moments.wanted = moments.now + part.moment_to_add;
  if (!view.trim.has_slots() && moments.wanted) moments.planned = *moments.wanted;
  return moments;
}

Markup moment_disc(const PlaneMoments& moments, const RotorDrawing& drawing, double radius) {
  const double longest = std::max(
      {std::abs(moments.now), std::abs(moments.planned), std::abs(moments.wanted.value_or(0.0)), 1.0});
  const double per_g_mm = (radius - 9.0) / longest;
  Markup arrows =
      element("circle", {{"class", "edge"}, {"cx", drawing.centre.x}, {"cy", drawing.centre.y}, {"r", 2.5}});
  if (moments.wanted) arrows += moment_arrow(*moments.wanted, "wanted", wanted_marker(), drawing, per_g_mm);
  arrows +=
      moment_arrow(moments.now, "now", element("circle", {{"class", "mark"}, {"r", 4.0}}), drawing, per_g_mm);
  arrows += moment_arrow(moments.planned, "planned", expected_marker(), drawing, per_g_mm);
  return element("g", {{"class", "disc"}, {"data-per-g-mm", fmt::format("{:.6g}", per_g_mm)}}, arrows);
}

Markup moments_list(const PlaneMoments& moments, bool made) {
  const auto entry = [](std::string_view css_class, const Markup& marker, std::string_view what,
                        std::complex<double> moment) {
    return element("li", {{"class", css_class}},
                   element("svg", {{"viewBox", "-9 -9 18 18"}, {"aria-hidden", "true"}}, marker) +
                       Markup::text(what) + element("span", {{"class", "amount"}}, moment_text(moment)));
  };
  Markup list = entry("now", element("circle", {{"class", "mark"}, {"r", 4.0}}),
                      made ? "moment before: " : "moment now: ", moments.now);
  if (moments.wanted) list += entry("wanted", wanted_marker(), "wanted: ", *moments.wanted);
  list += entry("planned", expected_marker(), "with these weights: ", moments.planned);
  return element("ul", {{"class", "moments"}}, list);
}

}  // namespace trimwright
