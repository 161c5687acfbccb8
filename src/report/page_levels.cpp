#include "page_levels.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "plot_parts.hpp"

namespace trimwright {
namespace {

// A bar is as wide as its place; shares of that width in percent, heights in px. The page's script is told.
constexpr double limit_at = 80.0;
constexpr double most_shown = 1.2;  ///< times the limit; what is more has its number beside an arrow

std::string percent(double share) { return fmt::format("{:.2f}%", share); }
double share_of(double ratio) { return limit_at * std::clamp(ratio, 0.0, most_shown); }

Markup upright(std::string_view css_class, double share, double from, double to) {
  return element(
      "line",
      {{"class", css_class}, {"x1", percent(share)}, {"x2", percent(share)}, {"y1", from}, {"y2", to}});
}

/// From `low` to `high`, with ends, each over the limit.
Markup range_marks(double low, double high) {
  const double from = share_of(low), to = share_of(high);
  return element("g", {{"class", "range plan-only"}},
                 element("line", {{"x1", percent(from)}, {"x2", percent(to)}, {"y1", 12.0}, {"y2", 12.0}}) +
                     upright("end", from, 8.5, 15.5) + upright("end", to, 8.5, 15.5));
}

/// What is more than the bar shows, in figures.
std::string over_words(double ratio) {
  return ratio > most_shown ? fmt::format("{:.2f} × limit ▶", ratio) : std::string{};
}

/// One place: the parts of its bar over its limit.
struct LevelBar {
  std::optional<double> before, expected, low, high, target, measured;
};

/// `stop`: the figure of the limit, in the grey beyond it; empty where it stands elsewhere.
Markup bar_drawing(const LevelBar& bar, const std::string& words, const std::string& stop) {
  Markup inside = element("rect", {{"class", "beyond"},
                                   {"x", percent(limit_at)},
                                   {"width", percent(100.0 - limit_at)},
                                   {"height", 20.0}});
  if (bar.before)
    inside += element(
        "rect",
        {{"class", "before"}, {"y", 1.0}, {"height", 4.0}, {"width", percent(share_of(*bar.before))}});
  if (bar.expected)
    inside += element(
        "rect",
        {{"class", "expected"}, {"y", 8.0}, {"height", 8.0}, {"width", percent(share_of(*bar.expected))}});
  if (bar.low && bar.high) inside += range_marks(*bar.low, *bar.high);
  if (bar.target) inside += upright("target", share_of(*bar.target), 0.0, 20.0);
  inside += upright("limit", limit_at, 0.0, 20.0);
  if (bar.measured)
    inside += element("svg", {{"x", percent(share_of(*bar.measured))}, {"overflow", "visible"}},
                      element("path", {{"class", "measured"}, {"d", "M-4.5,7.5h9v9h-9z"}}));
  const double most =
      std::max({bar.before.value_or(0.0), bar.expected.value_or(0.0), bar.measured.value_or(0.0)});
  inside += element("text", {{"class", "over"}, {"x", "99.5%"}, {"y", 15.5}}, over_words(most));
  if (!stop.empty()) inside += element("text", {{"class", "stop"}, {"x", "99.5%"}, {"y", 15.0}}, stop);
  return element("svg", {{"class", "bar"}, {"role", "img"}, {"aria-label", words}}, inside);
}

/// What the check run read there, as the bar shows it: the largest, where there are several.
const CheckedReading* read_at(const PageView& view, const ExpectedReading& one) {
  const CheckedReading* largest = nullptr;
  if (view.verdict == nullptr) return largest;
  for (const auto& reading : view.verdict->readings)
    if (reading.speed == one.speed && reading.sensor == one.sensor &&
        reading.component == Component::once_per_rev &&
        (largest == nullptr || reading.amplitude > largest->amplitude))
      largest = &reading;
  return largest;
}

std::string bar_words(const PageView& view, const ExpectedReading& one, const Prediction* p,
                      const CheckedReading* read) {
  const Sensor& sensor = view.rotor().sensors[one.sensor];
  const auto shown_peak = [&](double peak) { return amplitude_words(sensor.unit.shown_from_peak(peak)); };
  std::string words = place_words(view.job, one.speed, one.sensor) + ", " + sensor.unit.text() + ": ";
  if (p == nullptr)
    words += one.expected ? "expected " + shown_peak(std::abs(*one.expected)) : "not predicted";
  if (p == nullptr && one.last_read) words += ", last read " + shown_peak(*one.last_read);
  if (p != nullptr)
    words += fmt::format("before {}, expected {}", shown_peak(std::abs(p->before)),
                         shown_peak(std::abs(p->after)));
  if (p != nullptr && p->reading)
    words +=
        fmt::format(", nine in ten from {} to {}", shown_peak(p->reading->low), shown_peak(p->reading->high));
  if (read != nullptr) words += ", measured " + shown_peak(read->amplitude);
  if (one.target) words += ", target " + shown_peak(*one.target);
  return words + ", limit " + shown_peak(one.stop_above);
}

/// The speed as people call it, with the rpm beside a percent or a name where the page has room.
Markup speed_beside_bar(const Job& job, std::size_t speed) {
  const std::string rpm = fmt::format("{:.0f}", job.speeds_rpm[speed]);
  const std::string words = short_speed_words(job, speed);
  const Markup beside = words.starts_with(rpm) ? Markup() : element("small", {}, " " + rpm + " rpm");
  return element("span", {{"class", "place"}, {"title", speed_words(job, speed)}},
                 Markup::text(words) + beside);
}

Markup level_line(const PageView& view, const ExpectedReading& one) {
  const Sensor& sensor = view.rotor().sensors[one.sensor];
  const Prediction* p = prediction_at(view.trim.predictions, one.speed, one.sensor);
  const PageRow* row = view.row_at(one.speed, one.sensor);
  const CheckedReading* read = read_at(view, one);
  const double limit = one.stop_above;
  LevelBar bar;
  if (one.target) bar.target = *one.target / limit;
  if (p != nullptr) {
    bar.before = std::abs(p->before) / limit;
    bar.expected = std::abs(p->after) / limit;
    if (p->reading) bar.low = p->reading->low / limit, bar.high = p->reading->high / limit;
  }
  const bool trial = view.plan.kind == BalancePlan::Kind::trial;
  if (trial && one.last_read) bar.before = *one.last_read / limit;
  if (trial && one.expected) bar.expected = std::abs(*one.expected) / limit;
  if (read != nullptr) bar.measured = read->amplitude / limit;
  const auto figure = [&](double peak, std::string_view css_class) {
    return element("span", {{"class", css_class}}, amplitude_words(sensor.unit.shown_from_peak(peak)));
  };
  const Markup place = speed_beside_bar(view.job, one.speed);
  const std::string stop = amplitude_words(sensor.unit.shown_from_peak(limit));
  const bool open = row == nullptr && read == nullptr;
  const Markup drawing = bar_drawing(bar, bar_words(view, one, p, read), trial || open ? "" : stop);
  if (trial)
    return element("li", {{"class", "level"}},
                   place + drawing + element("span", {{"class", "figure"}}, "stop above " + stop));
  if (open)
    return element("li", {{"class", "level open"}},
                   place + drawing +
                       element("span", {{"class", "watch"}},
                               view.verdict != nullptr ? fmt::format("✕ {}", not_read)
                                                       : "not predicted; stop above " + stop));
  if (row == nullptr)
    return element("li", {{"class", "level"}},
                   place + drawing + figure(read->amplitude, "figure") + result_marks(row_words(*read)));
  return element("li",
                 {{"class", read == nullptr ? "level" : "level judged"}, {"data-row", view.number(*row)}},
                 place + drawing +
                     (read == nullptr ? figure(std::abs(p->after), "figure live") +
                                            result_marks(level_words(std::abs(p->after), p->limit, p->target))
                                      : figure(read->amplitude, "figure") + result_marks(row_words(*read))));
}

/// The overall level there, where the next run is to read it too.
Markup overall_line(const PageView& view, const PlaceToRead& one) {
  const Sensor& sensor = view.rotor().sensors[one.sensor];
  const auto shown = [&](double peak) { return amplitude_words(sensor.unit.shown_from_peak(peak)); };
  std::string words =
      "overall level, to be read too; stop above " + shown(place_of(view.job, one.speed, one.sensor).limit);
  if (view.verdict != nullptr) {
    words = fmt::format("✕ overall level {}", not_read);
    for (const auto& reading : view.verdict->readings)
      if (reading.speed == one.speed && reading.sensor == one.sensor &&
          reading.component == Component::overall)
        words = "overall level " + shown(reading.amplitude) + ": " + row_words(reading);
  }
  return element("li", {}, place_words(view.job, one.speed, one.sensor) + ", " + words);
}

}  // namespace

Markup result_marks(const std::string& words) {
  const auto blank = words.find(' ');
  const bool well = words.starts_with("✓") && words.find(',') == std::string::npos;
  return element("span", {{"class", well ? "result" : "result ill"}},
                 well ? Markup::text(words.substr(0, blank)) +
                            element("span", {{"class", "unseen"}}, words.substr(blank))
                      : Markup::text(words));
}

Markup level_bars_of(const PageView& view) {
  Markup groups;
  for (std::size_t s = 0; s < view.rotor().sensors.size(); ++s) {
    Markup lines;
    for (const auto& one : view.plan.expected)
      if (one.sensor == s) lines += level_line(view, one);
    if (lines.empty()) continue;
    const Sensor& sensor = view.rotor().sensors[s];
    groups +=
        element("h3", {},
                Markup::text(sensor.name + " ") +
                    element("small", {},
                            sensor.unit.text() + (sensor.mounting.empty() ? "" : ", " + sensor.mounting))) +
        element("ul", {{"class", "bars"}}, lines);
  }
  const bool trial = view.plan.kind == BalancePlan::Kind::trial;
  Markup overall;
  for (const auto& one : readings_to_make(view.job))
    if (one.component == Component::overall && !trial) overall += overall_line(view, one);
  if (!overall.empty()) groups += element("ul", {{"class", "also"}}, overall);
  const bool ill = groups.html().find("\"result ill\"") != std::string::npos;
  return element("div",
                 {{"class", trial ? "bar-groups stops"
                            : ill ? "bar-groups ill"
                                  : "bar-groups"},
                  {"data-limit-at", limit_at},
                  {"data-most-shown", most_shown}},
                 groups);
}

Markup level_bars_key(const PageView& view) {
  const auto entry = [](const Markup& drawing, const std::string& words) {
    return element(
        "li", {}, element("svg", {{"class", "bar"}, {"aria-hidden", "true"}}, drawing) + Markup::text(words));
  };
  const auto box = [](std::string_view css_class, double y, double height) {
    return element("rect", {{"class", css_class}, {"y", y}, {"height", height}, {"width", "90%"}});
  };
  const bool trial = view.plan.kind == BalancePlan::Kind::trial;
  const bool foretold = std::any_of(view.plan.expected.begin(), view.plan.expected.end(),
                                    [](const ExpectedReading& one) { return one.expected.has_value(); });
  Markup list = entry(box("before", 8.0, 4.0), trial                     ? "last read"
                                               : view.verdict == nullptr ? "now"
                                                                         : "before");
  if (foretold) list += entry(box("expected", 6.0, 8.0), "expected");
  if (!trial)
    list +=
        element("li", {{"class", "plan-only"}},
                element("svg", {{"class", "bar"}, {"aria-hidden", "true"}},
                        element("g", {{"class", "range"}},
                                element("line", {{"x1", "5%"}, {"x2", "95%"}, {"y1", 10.0}, {"y2", 10.0}}) +
                                    upright("end", 5.0, 6.5, 13.5) + upright("end", 95.0, 6.5, 13.5))) +
                    Markup::text("nine readings in ten"));
  if (view.verdict != nullptr)
    list += entry(element("path", {{"class", "measured"}, {"d", "M8,5.5h9v9h-9z"}}),
                  "measured after, and its figure");
  list += entry(upright("target", 50.0, 0.0, 20.0), "target") +
          entry(upright("limit", 50.0, 0.0, 20.0), "limit, in figures beside it: stop the run above");
  return element("ul", {{"class", "bars-key"}}, list);
}

}  // namespace trimwright
