#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "page_plots.hpp"
#include "plot_parts.hpp"
#include "run_up_curves.hpp"

namespace trimwright {
namespace {

constexpr double plot_left = 52.0;
constexpr double plot_right = 388.0;
constexpr double plot_top = 14.0;

double speed_of(const PageView& view, std::size_t row) { return view.job.speeds_rpm[view.rows[row].speed]; }

Axis speed_axis(const PageView& view, const std::vector<std::size_t>& rows,
                const std::vector<RunUpCurve>& curves) {
  double low = speed_of(view, rows.front());
  double high = speed_of(view, rows.back());
  for (const auto& curve : curves) {
    low = std::min(low, curve.rpm.front());
    high = std::max(high, curve.rpm.back());
  }
  const double margin = high > low ? 0.06 * (high - low) : 0.05 * high;
  return {low - margin, high + margin, plot_left, plot_right};
}

Markup speed_ticks(const PageView& view, const Axis& axis, double bottom) {
  const auto& rotor = view.rotor();
  const double unit = rotor.speed_100_rpm ? *rotor.speed_100_rpm / 100.0 : 1.0;
  const double step = tick_step((axis.to - axis.from) / unit, 6);
  Markup ticks;
  for (double value = std::ceil(axis.from / unit / step) * step; value * unit <= axis.to; value += step) {
    const double x = axis.at(value * unit);
    ticks += plot_line({x, plot_top}, {x, bottom}, "grid");
    ticks += plot_text({x, bottom + 15.0}, "tick", fmt::format("{:g}", value));
  }
  return ticks + plot_text({0.5 * (plot_left + plot_right), bottom + 33.0}, "tick",
                           rotor.speed_100_rpm ? fmt::format("speed, % of {:.0f} rpm", *rotor.speed_100_rpm)
                                               : "speed, rpm");
}

Markup value_ticks(const Axis& axis, double step) {
  Markup ticks;
  for (double value = axis.from; value <= axis.to * (1.0 + 1e-9); value += step) {
    ticks += plot_line({plot_left, axis.at(value)}, {plot_right, axis.at(value)}, "grid");
    ticks += plot_text({plot_left - 6.0, axis.at(value)}, "tick end", fmt::format("{:.4g}", value));
  }
  return ticks;
}

/// Steps of limit or target as they hold by speed.
Markup level_steps(const PageView& view, std::size_t sensor, const Axis& x, const Axis& y, bool limits) {
  std::string path;
  double from = x.from;
  const auto& s = view.rotor().sensors[sensor];
  for (const auto& band : s.bands) {
    if (band.up_to_rpm <= x.from || from >= x.to) continue;
    const double to = std::min(band.up_to_rpm, x.to);
    const auto peak = limits ? std::optional(band.limit) : band.target;
    const double level = peak ? s.unit.shown_from_peak(*peak) : 0.0;
    if (peak && level <= y.to * (1.0 + 1e-9))
      path += fmt::format("M{:.1f},{:.1f}H{:.1f}", x.at(from), y.at(level), x.at(to));
    from = to;
  }
  return path.empty() ? Markup() : element("path", {{"class", limits ? "limit" : "target"}, {"d", path}});
}

double highest(const PageView& view, const std::vector<std::size_t>& rows,
               const std::vector<RunUpCurve>& curves) {
  double most = 0.0;
  for (const auto& curve : curves)
    most = std::max(most, *std::max_element(curve.amplitude.begin(), curve.amplitude.end()));
  double limit = 0.0;
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    most = std::max({most, row.before.amplitude, row.after.amplitude + row.differs_by.value_or(0.0),
                     row.target.value_or(0.0)});
    if (row.first_since_event) most = std::max(most, row.first_since_event->amplitude);
    if (row.measured) most = std::max(most, row.measured->amplitude);
    limit = std::max(limit, row.limit);
  }
  return with_near_limit(most, limit);
}

/// What was read while the speed changed: `values` of each curve against its speeds.
Markup curve_lines(const std::vector<RunUpCurve>& curves, const std::vector<double> RunUpCurve::*values,
                   const Axis& x, const Axis& y) {
  Markup lines;
  for (const auto& curve : curves) {
    std::vector<Spot> spots;
    for (std::size_t i = 0; i < curve.rpm.size(); ++i)
      spots.push_back({x.at(curve.rpm[i]), y.at((curve.*values)[i])});
    lines += element("polyline", {{"class", run_up_class(curve)}, {"points", polyline_points(spots)}});
  }
  return lines;
}

std::string row_list(const std::vector<std::size_t>& rows) { return fmt::format("{}", fmt::join(rows, " ")); }

}  // namespace

Markup amplitude_plot(const PageView& view, std::size_t sensor) {
  const auto rows = rows_of(view, sensor);
  const auto& s = view.rotor().sensors[sensor];
  const double bottom = 250.0;
  const auto curves = run_up_curves(view, sensor);
  const Axis x = speed_axis(view, rows, curves);
  const double full = round_full(highest(view, rows, curves));
  const Axis y{0.0, full, bottom, plot_top};
  Markup drawing = speed_ticks(view, x, bottom) + value_ticks(y, tick_step(full, 5));
  drawing += level_steps(view, sensor, x, y, true) + level_steps(view, sensor, x, y, false);
  drawing += curve_lines(curves, &RunUpCurve::amplitude, x, y);
  Markup marks;
  std::vector<Spot> before;
  std::vector<Spot> after;
  std::string words;
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    const double at = x.at(speed_of(view, i));
    before.push_back({at, y.at(row.before.amplitude)});
    after.push_back({at, y.at(row.after.amplitude)});
    marks += placed(before.back(), "before", before_marker());
    if (row.first_since_event)
      marks += placed({at, y.at(row.first_since_event->amplitude)}, "found", found_marker());
    const double bar = row.differs_by ? std::abs(y.at(*row.differs_by) - y.at(0.0)) : 0.0;
    marks += placed_row(
        after.back(), "expected", i,
        element("path",
                {{"class", "bar"},
                 {"d", fmt::format("M0,{:.1f}V{:.1f}", -bar, std::min(bar, bottom - after.back().y))}}) +
            expected_marker());
    if (row.measured) marks += placed({at, y.at(row.measured->amplitude)}, "measured", measured_marker());
    words += fmt::format("{}: {} before, {} expected, limit {}. ", row.speed_label,
                         amplitude_words(row.before.amplitude), amplitude_words(row.after.amplitude),
                         amplitude_words(row.limit));
  }
  drawing += element("polyline", {{"class", "before-line"}, {"points", polyline_points(before)}});
  drawing += element(
      "polyline",
      {{"class", "expected-line"}, {"data-rows", row_list(rows)}, {"points", polyline_points(after)}});
  return plot_figure({fmt::format("amplitude-{}", sensor), "speed", 292.0,
                      fmt::format("{}: amplitude, {}, against speed", s.name, s.unit.text()), words},
                     {{"data-amplitude", sensor},
                      {"data-full", fmt::format("{}", full)},
                      {"data-low", y.start},
                      {"data-high", y.end}},
                     drawing + marks);
}

namespace {

/// Phases of a series by speed, the first as near to `last` and each to the one before as whole turns allow.
std::vector<double> unwrapped(const std::vector<std::optional<ShownReading>>& series, double last) {
  std::vector<double> phases;
  for (const auto& one : series) {
    phases.push_back(one ? nearest_turn(one->phase_deg, last) : std::nan(""));
    if (one) last = phases.back();
  }
  return phases;
}

/// A run's phases against speed, joined where one follows the other.
struct PhaseSeries {
  std::string_view css_class, line_class;
  Markup marker;
  std::vector<double> phases;
};

/// From below the lowest phase to above the highest, a turn at least, in steps of 90 degrees.
Axis phase_axis(const std::vector<PhaseSeries>& all, const std::vector<RunUpCurve>& curves, double bottom) {
  double low = 360.0, high = 0.0;
  const auto hold = [&](const std::vector<double>& phases) {
    for (const double phase : phases)
      if (!std::isnan(phase)) low = std::min(low, phase), high = std::max(high, phase);
  };
  for (const auto& series : all) hold(series.phases);
  for (const auto& curve : curves) hold(curve.phase_deg);
  low = 90.0 * std::floor(low / 90.0);
  high = std::max(low + 360.0, 90.0 * std::ceil(high / 90.0));
  return {low, high, bottom, plot_top};
}

std::vector<PhaseSeries> phase_series(const PageView& view, const std::vector<std::size_t>& rows) {
  std::vector<std::optional<ShownReading>> found, before, after, measured;
  for (const std::size_t i : rows) {
    const auto& row = view.rows[i];
    found.push_back(row.first_since_event);
    before.emplace_back(row.before);
    after.emplace_back(row.after);
    measured.push_back(row.measured);
  }
  const double first = before.front()->phase_deg;
  const auto expected = unwrapped(after, first);
  return {{"before", "before-line", before_marker(), unwrapped(before, first)},
          {"found", "", found_marker(), unwrapped(found, first)},
          {"expected", "expected-line", expected_marker(), expected},
          {"measured", "", measured_marker(), unwrapped(measured, expected.front())}};
}

/// Curves by whole turns where the points of their run are drawn: what was found, or what was measured last.
std::vector<RunUpCurve> curves_beside(std::vector<RunUpCurve> curves, const std::vector<PhaseSeries>& all,
                                      double rpm) {
  for (auto& curve : curves) {
    const double measured = all.back().phases.front();
    const double phase_deg = curve.newest && !std::isnan(measured) ? measured : all.front().phases.front();
    std::size_t nearest = 0;
    for (std::size_t i = 1; i < curve.rpm.size(); ++i)
      if (std::abs(curve.rpm[i] - rpm) < std::abs(curve.rpm[nearest] - rpm)) nearest = i;
    const double turn = nearest_turn(curve.phase_deg[nearest], phase_deg) - curve.phase_deg[nearest];
    for (double& phase : curve.phase_deg) phase += turn;
  }
  return curves;
}

}  // namespace

Markup phase_plot(const PageView& view, std::size_t sensor) {
  const auto rows = rows_of(view, sensor);
  const auto& s = view.rotor().sensors[sensor];
  const double bottom = 250.0;
  const auto all = phase_series(view, rows);
  const auto curves = curves_beside(run_up_curves(view, sensor), all, speed_of(view, rows.front()));
  const Axis x = speed_axis(view, rows, curves);
  const Axis y = phase_axis(all, curves, bottom);
  Markup drawing = speed_ticks(view, x, bottom) + curve_lines(curves, &RunUpCurve::phase_deg, x, y) +
                   phase_grid(y, y.to - y.from > 540.0 ? 180.0 : 90.0, plot_left, plot_right);
  Markup marks;
  for (const auto& series : all) {
    std::vector<Spot> spots;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      if (std::isnan(series.phases[i])) continue;
      const Spot at{x.at(speed_of(view, rows[i])), y.at(series.phases[i])};
      spots.push_back(at);
      marks += series.css_class == "expected" ? placed_row(at, series.css_class, rows[i], series.marker)
                                              : placed(at, series.css_class, series.marker);
    }
    if (!series.line_class.empty())
      drawing += element(
          "polyline",
          {{"class", series.line_class}, {"data-rows", row_list(rows)}, {"points", polyline_points(spots)}});
  }
  std::string words;
  for (const std::size_t i : rows)
    words += fmt::format("{}: {} before, {} expected. ", view.rows[i].speed_label,
                         angle_words(view.rows[i].before.phase_deg, 0),
                         angle_words(view.rows[i].after.phase_deg, 0));
  return plot_figure(
      {fmt::format("phase-{}", sensor), "speed", 292.0,
       fmt::format("{}: phase, degrees {}, against speed", s.name, convention_words(view.rotor().phase)),
       words},
      {{"data-phase", sensor},
       {"data-from", y.from},
       {"data-to", y.to},
       {"data-low", y.start},
       {"data-high", y.end}},
      drawing + marks);
}

Markup trade_off_plot(const PageView& view) {
  const auto& table = view.trim.trade_off;
  double most = 1.0;
  for (const auto& row : table) most = std::max(most, row.worst_ratio);
  const double bottom = 250.0;
  const double full = round_full(most);
  const Axis y{0.0, full, bottom, plot_top};
  const Axis x{-0.5, static_cast<double>(table.back().changes.size()) + 0.5, plot_left, plot_right};
  Markup drawing = value_ticks(y, tick_step(full, 5));
  drawing += element("path", {{"class", "limit"},
                              {"d", fmt::format("M{:.1f},{:.1f}H{:.1f}", plot_left, y.at(1.0), plot_right)}});
  drawing += plot_text({plot_right - 4.0, y.at(1.0) - 9.0}, "level end", "limit");
  std::string words;
  for (std::size_t i = 0; i < table.size(); ++i) {
    const auto& row = table[i];
    const auto pieces = row.changes.size();
    const Spot at{x.at(static_cast<double>(pieces)), y.at(row.worst_ratio)};
    const bool chosen = i == view.trim.chosen;
    drawing += plot_line({at.x, y.at(0.0)}, at, chosen ? "stem chosen" : "stem");
    drawing += placed(at, chosen ? "expected" : "before", chosen ? expected_marker() : before_marker());
    drawing += plot_text({at.x, at.y - 14.0}, "speed",
                         fmt::format("{:.2f}{}", row.worst_ratio, row.recommended ? " ★" : ""));
    drawing += plot_text({at.x, bottom + 15.0}, "tick", std::to_string(pieces));
    words += fmt::format("{} changed: {:.3f}{}{}. ", pieces, row.worst_ratio, chosen ? ", this plan" : "",
                         row.recommended ? ", recommended" : "");
  }
  drawing += plot_text({0.5 * (plot_left + plot_right), bottom + 33.0}, "tick",
                       "slots changed (★ recommended, filled: this plan)");
  return plot_figure(
      {"trade-off", "speed", 292.0, "Largest expected amplitude over its limit, by slots changed", words}, {},
      drawing);
}

}  // namespace trimwright
