#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// Polar plot of a sensor: before, expected with the circle outside which a reading is not as predicted, and
/// what was measured. `close_up` draws what is expected and measured only, at the scale of the targets.
[[nodiscard]] Markup polar_plot(const PageView& view, std::size_t sensor, bool close_up);

/// Amplitude against speed with limit and target, and phase against speed.
[[nodiscard]] Markup amplitude_plot(const PageView& view, std::size_t sensor);
[[nodiscard]] Markup phase_plot(const PageView& view, std::size_t sensor);

/// Influence vectors of every plane at a sensor, per 1000 g mm.
[[nodiscard]] Markup influence_plot(const PageView& view, std::size_t sensor);

/// Slots changed against the largest predicted amplitude over its limit.
[[nodiscard]] Markup trade_off_plot(const PageView& view);

/// Shapes of the series in the plots.
[[nodiscard]] Markup series_legend(const PageView& view);

}  // namespace trimwright
