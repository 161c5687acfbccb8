#include "readings_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "convention_words.hpp"
#include "markup.hpp"
#include "page_assets.hpp"
#include "plot_geometry.hpp"
#include "plot_parts.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

constexpr double chart_left = 52.0, chart_right = 388.0, chart_top = 14.0, chart_bottom = 200.0;

/// A value at a place, with how far it may be off either way; `marked` ones stand out.
struct ChartPoint {
  double x = 0.0, y = 0.0, off = 0.0;
  bool marked = false;
};

struct Chart {
  std::string title, x_words;
  std::vector<ChartPoint> points;
  std::vector<TimeSpan> bands = {};  ///< stretches of x that stand out
  bool joined = false;               ///< a line through the points instead of a dot each
};

Axis chart_axis(double low, double high, double start, double end) {
  const double margin = high > low ? 0.05 * (high - low) : std::max(1e-9, 0.05 * std::abs(high));
  return {low - margin, high + margin, start, end};
}

Markup chart_ticks(const Axis& x, const Axis& y) {
  Markup ticks;
  const double across = tick_step(x.to - x.from, 6), up = tick_step(y.to - y.from, 5);
  for (double value = std::ceil(x.from / across) * across; value <= x.to; value += across) {
    ticks += plot_line({x.at(value), chart_top}, {x.at(value), chart_bottom}, "grid");
    ticks += plot_text({x.at(value), chart_bottom + 13.0}, "tick", fmt::format("{:.6g}", value));
  }
  for (double value = std::ceil(y.from / up) * up; value <= y.to; value += up) {
    ticks += plot_line({chart_left, y.at(value)}, {chart_right, y.at(value)}, "grid");
    ticks += plot_text({chart_left - 6.0, y.at(value)}, "tick end", fmt::format("{:.4g}", value));
  }
  return ticks;
}

Markup drawn(const Chart& chart, const std::string& id) {
  if (chart.points.empty()) return {};
  double low = chart.points.front().y, high = low, from = chart.points.front().x, to = from;
  for (const ChartPoint& point : chart.points) {
    low = std::min(low, point.y - point.off);
    high = std::max(high, point.y + point.off);
    from = std::min(from, point.x);
    to = std::max(to, point.x);
  }
  const Axis x = chart_axis(from, to, chart_left, chart_right),
             y = chart_axis(low, high, chart_bottom, chart_top);
  Markup drawing = chart_ticks(x, y);
  for (const TimeSpan& band : chart.bands)
    drawing += element("rect", {{"class", "target"},
                                {"x", x.at(band.begin_s)},
                                {"y", chart_top},
                                {"width", x.at(band.end_s) - x.at(band.begin_s)},
                                {"height", chart_bottom - chart_top},
                                {"fill-opacity", "0.15"}});
  std::vector<Spot> line;
  for (const ChartPoint& point : chart.points) {
    line.push_back({x.at(point.x), y.at(point.y)});
    if (chart.joined) continue;
    if (point.off > 0.0)
      drawing += plot_line({x.at(point.x), y.at(point.y - point.off)},
                           {x.at(point.x), y.at(point.y + point.off)}, "bar");
    drawing += placed(line.back(), point.marked ? "measured" : "before",
                      point.marked ? measured_marker() : before_marker());
  }
  if (chart.joined)
    drawing +=
        element("polyline", {{"class", "before"}, {"fill", "none"}, {"points", polyline_points(line)}});
  drawing += plot_text({0.5 * (chart_left + chart_right), chart_bottom + 29.0}, "tick", chart.x_words);
  return plot_figure({id, "levels", chart_bottom + 40.0, chart.title, chart.title}, {}, drawing);
}

std::vector<Chart> ring_charts(const Recording& recording) {
  const RingPicture& ring = recording.extraction.health.ring;
  Chart sizes{"Size of the teeth over their mean", "tooth, from the reference tooth on", {}};
  Chart places{"Teeth out of place [deg]", "tooth, from the reference tooth on", {}};
  for (int i = 0; i < ring.teeth(); ++i) {
    if (std::isfinite(ring.size[i])) {
      const double sd = ring.size_scatter / std::sqrt(std::max(1.0, ring.pulses[i]));
      sizes.points.push_back({1.0 * i, std::exp(ring.size[i]), 3.0 * sd, i == 0});
    }
    if (std::isfinite(ring.spacing[i])) {
      const double pitch_deg = 360.0 / ring.teeth();
      const double sd = ring.spacing_scatter / std::sqrt(std::max(1.0, ring.pulses[i]));
      places.points.push_back({1.0 * i, pitch_deg * ring.spacing[i], 3.0 * pitch_deg * sd, i == 0});
    }
  }
  return {sizes, places};
}

/// Amplitude and phase of one sensor, at the dwells and in run-ups.
std::vector<Chart> sensor_charts(const Job& job, const Recording& recording, std::size_t sensor_index) {
  const Sensor& sensor = job.rotor.sensors[sensor_index];
  const auto phase = [&](Phasor x) { return shown(sensor, x, job.rotor.phase).phase_deg; };
  const std::string unit = " [" + sensor.unit.text() + "]", speed = "speed [rpm]";
  Chart amplitude{sensor.name + ", amplitude at the dwells" + unit, speed, {}};
  Chart angle{sensor.name + ", phase at the dwells [deg]", speed, {}};
  for (const RecordedReading& reading : recording.readings) {
    if (reading.sensor != sensor_index || !reading.amplitude_known) continue;
    const double sd = reading.sd.value_or(0.0);
    amplitude.points.push_back({reading.rpm, sensor.unit.shown_from_peak(reading.amplitude),
                                3.0 * sensor.unit.shown_from_peak(sd), true});
    if (reading.x)
      angle.points.push_back(
          {reading.rpm, phase(*reading.x), 3.0 * degrees(sd / std::abs(*reading.x)), true});
  }
  Chart swept{sensor.name + ", amplitude in run-ups and run-downs" + unit, speed, {}};
  Chart turned{sensor.name + ", phase in run-ups and run-downs [deg]", speed, {}};
  for (const RecordedSweepPoint& point : recording.sweep) {
    if (point.sensor != sensor_index) continue;
    swept.points.push_back({point.rpm, sensor.unit.shown_from_peak(std::abs(point.x)),
                            3.0 * sensor.unit.shown_from_peak(point.sd)});
    turned.points.push_back({point.rpm, phase(point.x), 3.0 * degrees(point.sd / std::abs(point.x))});
  }
  return {amplitude, angle, swept, turned};
}

Markup recording_charts(const Job& job, const Recording& recording, std::size_t number) {
  std::vector<Chart> charts;
  Chart speed{"Speed [rpm] and the dwells", "time [s]", {}, {}, true};
  for (const SpeedAt& one : recording.extraction.speeds) speed.points.push_back({one.time_s, one.rpm});
  for (const DwellReading& dwell : recording.extraction.dwells) speed.bands.push_back(dwell.span);
  charts.push_back(speed);
  for (const Chart& one : ring_charts(recording)) charts.push_back(one);
  for (const RecordedSensor& sensor : recording.sensors)
    for (const Chart& one : sensor_charts(job, recording, sensor.sensor)) charts.push_back(one);
  Markup figures = element("h2", {}, recording.file);
  for (std::size_t i = 0; i < charts.size(); ++i)
    figures += drawn(charts[i], fmt::format("recording-{}-{}", number, i));
  return element("section", {}, figures);
}

}  // namespace

std::string readings_page(const Job& job, const RecordedRun& run, const std::string& text) {
  const std::string title = "Readings: " + job.rotor.name + ", " + run.run;
  Markup body = element("h1", {}, title);
  for (std::size_t i = 0; i < run.recordings.size(); ++i) body += recording_charts(job, run.recordings[i], i);
  body += element("pre", {}, text);
  const Markup head =
      element("meta", {{"charset", "utf-8"}}) +
      element("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}}) +
      element("meta", {{"http-equiv", "Content-Security-Policy"},
                       {"content", "default-src 'none'; style-src 'unsafe-inline'"}}) +
      element("title", {}, title) + element("style", {}, Markup::own(page_css));
  return "<!doctype html>\n" +
         element("html", {{"lang", "en"}}, element("head", {}, head) + element("body", {}, body)).html() +
         "\n";
}

}  // namespace trimwright
