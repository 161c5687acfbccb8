#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <cmath>
#include <map>

#include "base/date.hpp"
#include "base/text.hpp"
#include "convention_words.hpp"
#include "page_frame.hpp"
#include "page_tables.hpp"
#include "plot_parts.hpp"
#include "run_up_curves.hpp"
#include "trend_text.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

constexpr double trend_left = 52.0, trend_right = 388.0, trend_top = 26.0, trend_bottom = 230.0;

/// One reading of a place, whichever spell it is of.
struct TrackPoint {
  double day = 0.0;
  std::string when;
  ShownReading read;
  std::optional<ShownReading> expected;
  double sd = 0.0;  ///< as shown
};

/// A place through all spells.
struct Track {
  std::string name, unit, convention;
  ReadingState state;
  double rpm = 0.0, limit = 0.0;
  std::optional<double> target;
  std::vector<TrackPoint> points;
};

/// A day that the drawings mark.
struct Mark {
  double day = 0.0;
  std::string letter, words;
  bool change = false;
};

/// Days, with the time of day where it is written.
double days_of(const std::string& when) {
  const auto date = day_of(when);
  double day = date ? static_cast<double>(date->time_since_epoch().count()) : 0.0;
  const auto number_at = [&](std::size_t i) {
    return when.size() > i + 1 && std::isdigit(static_cast<unsigned char>(when[i])) != 0 &&
                   std::isdigit(static_cast<unsigned char>(when[i + 1])) != 0
               ? 10.0 * (when[i] - '0') + (when[i + 1] - '0')
               : 0.0;
  };
  day += number_at(11) / 24.0 + number_at(14) / 1440.0;
  return day;
}

std::string date_of(double day) {
  const std::chrono::year_month_day date{
      std::chrono::sys_days(std::chrono::days(static_cast<int>(std::floor(day))))};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                     static_cast<unsigned>(date.day()));
}

std::vector<Track> tracks_of(const Trend& trend) {
  std::vector<Track> tracks;
  for (const auto& spell : trend.spells)
    for (const auto& place : spell.places) {
      const Rotor& rotor = spell.job.rotor;
      const Sensor& sensor = rotor.sensors[place.place.sensor];
      const double rpm = spell.job.speeds_rpm[place.place.speed];
      auto track = std::find_if(tracks.begin(), tracks.end(), [&](const Track& one) {
        return one.unit == sensor.unit.text() && one.name.starts_with(sensor.name + " at ") &&
               one.state == state_at(spell.job, place.place.speed) &&
               one.convention == convention_words(rotor.phase) && same_speed(rotor, one.rpm, rpm);
      });
      if (track == tracks.end())
        track = tracks.insert(tracks.end(), {place_words(spell.job, place.place.speed, place.place.sensor),
                                             sensor.unit.text(),
                                             convention_words(rotor.phase),
                                             state_at(spell.job, place.place.speed),
                                             rpm,
                                             0.0,
                                             {},
                                             {}});
      track->limit = sensor.unit.shown_from_peak(place.place.limit);
      if (place.place.target) track->target = sensor.unit.shown_from_peak(*place.place.target);
      for (std::size_t t = 0; t < place.readings.size(); ++t) {
        const TrendReading& one = place.readings[t];
        if (!one.x) continue;
        TrackPoint point{
            days_of(spell.dates[t].when), spell.dates[t].when, shown(sensor, *one.x, rotor.phase), {}, 0.0};
        if (one.expected) {
          point.expected = shown(sensor, *one.expected, rotor.phase);
          point.sd = sensor.unit.shown_from_peak(one.sd);
        }
        track->points.push_back(std::move(point));
      }
    }
  return tracks;
}

std::vector<Mark> marks_of(const Trend& trend) {
  std::vector<Mark> marks;
  for (const auto& spell : trend.spells) {
    if (!spell.trim.empty()) marks.push_back({days_of(spell.since), "", "Trim: " + spell.trim, false});
    for (const auto& date : spell.dates)
      if (!date.note.empty()) marks.push_back({days_of(date.when), "", date.when + ": " + date.note, false});
    for (const auto& change : spell.changes) {
      const double first = days_of(change.first);
      const double day = change.before.empty() ? first : 0.5 * (first + days_of(change.before));
      marks.push_back({day, "", change_words(change), true});
    }
  }
  std::stable_sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) { return a.day < b.day; });
  for (std::size_t i = 0; i < marks.size(); ++i) marks[i].letter = std::to_string(i + 1);
  return marks;
}

Axis day_axis(const Track& track, const std::vector<Mark>& marks) {
  double from = track.points.front().day, to = from;
  for (const auto& point : track.points) from = std::min(from, point.day), to = std::max(to, point.day);
  for (const auto& mark : marks) from = std::min(from, mark.day), to = std::max(to, mark.day);
  const double margin = 0.03 * std::max(1.0, to - from);
  return {from - margin, to + margin, trend_left, trend_right};
}

Markup day_ticks(const Axis& x, const std::vector<Mark>& marks) {
  Markup ticks;
  for (const double share : {0.0, 0.5, 1.0}) {
    const double day = x.from + share * (x.to - x.from);
    ticks += plot_line({x.at(day), trend_top}, {x.at(day), trend_bottom}, "grid");
    ticks += plot_text({x.at(day), trend_bottom + 15.0},
                       share == 0.0   ? "tick start"
                       : share == 1.0 ? "tick end"
                                      : "tick",
                       date_of(day));
  }
  double last = -100.0;
  for (const auto& mark : marks) {
    const double at = x.at(mark.day);
    ticks += plot_line({at, trend_top}, {at, trend_bottom}, mark.change ? "changed" : "happened");
    if (at - last < 12.0) continue;  // told in the list
    ticks += plot_text({at, trend_top - 10.0}, "tick", (mark.change ? "▲" : "") + mark.letter);
    last = at;
  }
  return ticks;
}

std::string track_words(const Track& track) {
  const TrackPoint &first = track.points.front(), &last = track.points.back();
  return fmt::format("From {} on {} to {} on {}. The table of readings says the same.",
                     reading_words(first.read), first.when, reading_words(last.read), last.when);
}

Markup dot(Spot at, std::string_view css_class, double radius) {
  return element("circle", {{"class", css_class}, {"cx", at.x}, {"cy", at.y}, {"r", radius}});
}

/// How the vector went: the readings joined in order of time, the first hollow and the last a square, and
/// what was expected last with twice its ±.
Markup track_plot(const Track& track, std::size_t number) {
  double most = track.target.value_or(0.0);
  for (const auto& point : track.points) most = std::max(most, point.read.amplitude);
  const PolarDrawing drawing{{200.0, 200.0}, 158.0, round_full(most)};
  Markup levels;
  if (track.target && *track.target <= drawing.full * (1.0 + 1e-9))
    levels += element("circle", {{"class", "target"},
                                 {"cx", drawing.centre.x},
                                 {"cy", drawing.centre.y},
                                 {"r", drawing.radius(*track.target)}});
  std::vector<Spot> spots;
  Markup dots;
  for (const auto& point : track.points) {
    spots.push_back(drawing.at(point.read.amplitude, point.read.phase_deg));
    dots += dot(spots.back(), "dated", 2.5);
  }
  Markup marks = placed(spots.front(), "before", before_marker());
  if (const auto& last = track.points.back(); last.expected)
    marks += placed(
        drawing.at(last.expected->amplitude, last.expected->phase_deg), "expected",
        element("circle", {{"class", "region"}, {"r", drawing.radius(2.0 * last.sd)}}) + expected_marker());
  marks += placed(spots.back(), "measured", measured_marker());
  return plot_figure({fmt::format("track-{}", number), "polar", 400.0, "How the vector went, " + track.unit,
                      track_words(track)},
                     {},
                     polar_grid(drawing, track.convention) + levels +
                         element("polyline", {{"class", "before-line"}, {"points", polyline_points(spots)}}) +
                         dots + marks);
}

/// A row of values against date: what was read, and what was expected with a band of twice its ± about it.
struct DatedValues {
  std::vector<double> read;
  std::vector<double> expected;  ///< NaN where nothing was
  std::vector<double> around;
};

Markup dated_values(const Track& track, const DatedValues& values, const Axis& x, const Axis& y) {
  Markup drawing;
  std::vector<Spot> expected;
  Markup dots;
  for (std::size_t i = 0; i < values.read.size(); ++i) {
    const double at = x.at(track.points[i].day);
    if (!std::isnan(values.expected[i])) {
      expected.push_back({at, y.at(values.expected[i])});
      drawing += plot_line({at, y.at(values.expected[i] - values.around[i])},
                           {at, y.at(values.expected[i] + values.around[i])}, "allowed");
    }
    dots += dot({at, y.at(values.read[i])}, "dated", 3.0);
  }
  if (!expected.empty())
    drawing += element("polyline", {{"class", "expected-line"}, {"points", polyline_points(expected)}});
  return drawing + dots;
}

Markup amplitude_track(const Track& track, const std::vector<Mark>& marks, std::size_t number) {
  DatedValues values;
  double most = track.target.value_or(0.0);
  for (const auto& point : track.points) {
    values.read.push_back(point.read.amplitude);
    values.expected.push_back(point.expected ? point.expected->amplitude : std::nan(""));
    values.around.push_back(2.0 * point.sd);
    most = std::max(most, point.read.amplitude);
  }
  most = with_near_limit(most, track.limit);
  const Axis x = day_axis(track, marks), y{0.0, round_full(most), trend_bottom, trend_top};
  Markup grid = day_ticks(x, marks);
  const double step = tick_step(y.to, 5);
  for (double value = 0.0; value <= y.to * (1.0 + 1e-9); value += step) {
    grid += plot_line({trend_left, y.at(value)}, {trend_right, y.at(value)}, "grid");
    grid += plot_text({trend_left - 6.0, y.at(value)}, "tick end", fmt::format("{:.4g}", value));
  }
  const auto level = [&](double at, std::string_view css_class) {
    return at <= y.to * (1.0 + 1e-9) ? plot_line({trend_left, y.at(at)}, {trend_right, y.at(at)}, css_class)
                                     : Markup();
  };
  grid += level(track.limit, "limit");
  if (track.target) grid += level(*track.target, "target");
  return plot_figure({fmt::format("trend-amplitude-{}", number), "speed", trend_bottom + 26.0,
                      "Amplitude, " + track.unit, track_words(track)},
                     {}, grid + dated_values(track, values, x, y));
}

Markup phase_track(const Track& track, const std::vector<Mark>& marks, std::size_t number) {
  DatedValues values;
  double last = track.points.front().read.phase_deg, low = 1e9, high = -1e9;
  for (const auto& point : track.points) {
    last = nearest_turn(point.read.phase_deg, last);
    values.read.push_back(last);
    values.expected.push_back(point.expected ? nearest_turn(point.expected->phase_deg, last) : std::nan(""));
    values.around.push_back(
        point.expected ? std::min(180.0, degrees(2.0 * point.sd / std::max(point.expected->amplitude, 1e-12)))
                       : 0.0);
    low = std::min(low, last);
    high = std::max(high, last);
  }
  low = 45.0 * std::floor(low / 45.0 - 0.2);
  high = std::max(low + 90.0, 45.0 * std::ceil(high / 45.0 + 0.2));
  const Axis x = day_axis(track, marks), y{low, high, trend_bottom, trend_top};
  const double step = high - low > 540.0 ? 180.0 : high - low > 200.0 ? 90.0 : 45.0;
  const Markup grid = day_ticks(x, marks) + phase_grid(y, step, trend_left, trend_right);
  return plot_figure({fmt::format("trend-phase-{}", number), "speed", trend_bottom + 26.0,
                      "Phase, degrees " + track.convention, track_words(track)},
                     {}, grid + dated_values(track, values, x, y));
}

Markup readings_of_track(const Track& track) {
  Markup rows;
  const auto number = [](const std::string& words) { return element("td", {{"class", "number"}}, words); };
  for (const auto& point : track.points) {
    const double off =
        point.expected ? std::abs(std::polar(point.read.amplitude, radians(point.read.phase_deg)) -
                                  std::polar(point.expected->amplitude, radians(point.expected->phase_deg)))
                       : 0.0;
    rows += element("tr", {},
                    element("th", {{"scope", "row"}}, point.when) + number(reading_words(point.read)) +
                        number(point.expected ? reading_words(*point.expected) : "–") +
                        number(point.expected ? amplitude_words(off) : "–") +
                        number(point.expected ? amplitude_words(point.sd) : "–"));
  }
  return page_table(track.name + ", " + track.unit,
                    {{"date"}, {"read", true}, {"expected", true}, {"off by", true}, {"±", true}}, rows);
}

Markup trend_legend() {
  return element(
      "ul", {{"class", "legend"}},
      legend_entry("", dot({0.0, 0.0}, "dated", 3.0), "read on a date") +
          legend_entry("before", before_marker(), "the first") +
          legend_entry("measured", measured_marker(), "the last") +
          legend_entry("expected", expected_marker(),
                       "expected of the last; the dashed circle and the bars: twice its ±") +
          legend_entry("lines", element("line", {{"class", "target"}, {"x1", -11.0}, {"x2", 11.0}}),
                       "target") +
          legend_entry("lines", element("line", {{"class", "limit"}, {"x1", -11.0}, {"x2", 11.0}}),
                       "limit, where it is near"));
}

Markup mark_list(const std::vector<Mark>& marks) {
  Markup items;
  for (const auto& mark : marks) items += element("li", {}, (mark.change ? "▲ " : "") + mark.words);
  return marks.empty()
             ? Markup()
             : element("h2", {}, "What happened, as numbered in the drawings") + element("ol", {}, items);
}

}  // namespace

std::string trend_page(const Trend& trend) {
  const Job& job = trend.spells.back().job;
  const auto marks = marks_of(trend);
  std::vector<std::string> warnings;
  Markup found;
  for (const auto& spell : trend.spells) {
    warnings.insert(warnings.end(), spell.notes.begin(), spell.notes.end());
    for (const auto& change : spell.changes)
      found += element("p", {}, element("b", {}, change_words(change))) +
               element("p", {}, significance_words(change));
    found += element("p", {}, basis_words(spell));
  }
  const Markup result = element(
      "section", {{"id", "result"}, {"aria-labelledby", "result-heading"}},
      element("h1", {{"id", "result-heading"}}, "Between trims: " + trend.rotor + ", " + trend.serial) +
          element("p", {{"class", "verdict"}}, trend_words(trend)) + found +
          cautions_part(cautions(), warnings, false));
  Markup drawings, tables;
  std::size_t number = 0;
  for (const auto& track : tracks_of(trend)) {
    drawings += element("h3", {}, track.name) +
                element("div", {{"class", "plots"}},
                        track_plot(track, number) + amplitude_track(track, marks, number) +
                            phase_track(track, marks, number));
    tables += readings_of_track(track);
    ++number;
  }
  const Markup tracks =
      element("section", {{"id", "tracks"}, {"aria-labelledby", "tracks-heading"}},
              mark_list(marks) + element("h2", {{"id", "tracks-heading"}}, "How each place went") +
                  trend_legend() + drawings);
  return page_document(job, "Trend",
                       masthead(job) + element("main", {{"id", "main"}, {"class", "whole"}},
                                               result + tracks +
                                                   element("div", {{"class", "more"}},
                                                           folded("readings", "Every figure",
                                                                  "amplitude and phase by date", tables))),
                       {});
}

}  // namespace trimwright
