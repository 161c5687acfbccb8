#pragma once

#include <complex>
#include <optional>

#include "markup.hpp"
#include "page_view.hpp"
#include "plot_geometry.hpp"

namespace trimwright {

/// What acts in a plane [g mm, rotor angle], fillers included: as it stands, as it should be were weights to
/// come in every size and at every angle, and as planned.
struct PlaneMoments {
  std::complex<double> now;
  std::optional<std::complex<double>> wanted;  ///< empty: the trim leaves the plane alone
  std::complex<double> planned;
};
[[nodiscard]] PlaneMoments plane_moments(const PageView& view, std::size_t plane);

/// The three as arrows from the middle of a slot map; the longest reaches `radius`.
[[nodiscard]] Markup moment_disc(const PlaneMoments& moments, const RotorDrawing& drawing, double radius);

/// The same in words, with their marks.
/// `made`: the change has been made.
[[nodiscard]] Markup moments_list(const PlaneMoments& moments, bool made);

}  // namespace trimwright
