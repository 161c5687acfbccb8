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

/// How the vectors add up at every place that is predicted: what is there now, what each plane's change adds,
/// and what is expected, with the ellipse that holds nine readings in ten.
[[nodiscard]] Markup sum_plots(const PageView& view);

/// What the runs did to a sensor's readings: an arrow from the first run to each that changed weights.
/// Nothing where no run changed any.
[[nodiscard]] Markup trial_plot(const PageView& view, std::size_t sensor);

/// Influence vectors of every plane at a sensor, per 1000 g mm; of many planes at the highest speed alone.
[[nodiscard]] Markup influence_plot(const PageView& view, std::size_t sensor);

/// Slots changed against the largest predicted amplitude over its limit.
[[nodiscard]] Markup trade_off_plot(const PageView& view);

/// Shapes of the series in the plots.
[[nodiscard]] Markup series_legend(const PageView& view);

}  // namespace trimwright
