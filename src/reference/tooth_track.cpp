#include "tooth_track.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace trimwright {
namespace {

double secant(const TrackPoint& a, const TrackPoint& b) {
  return (b.angle_rad - a.angle_rad) / (b.time_s - a.time_s);
}

/// Slopes at each point of the parabola through it and its neighbours; at the ends of the end parabola.
std::vector<double> parabola_slopes(const std::vector<TrackPoint>& points) {
  const std::size_t n = points.size();
  std::vector<double> slopes(n, secant(points[0], points[1]));
  if (n == 2) return slopes;
  for (std::size_t i = 1; i + 1 < n; ++i) {
    const double before = points[i].time_s - points[i - 1].time_s;
    const double after = points[i + 1].time_s - points[i].time_s;
    slopes[i] = (after * secant(points[i - 1], points[i]) + before * secant(points[i], points[i + 1])) /
                (before + after);
  }
  slopes[0] = 2.0 * secant(points[0], points[1]) - slopes[1];
  slopes[n - 1] = 2.0 * secant(points[n - 2], points[n - 1]) - slopes[n - 2];
  return slopes;
}

}  // namespace

Result<ToothTrack> ToothTrack::through(std::vector<TrackPoint> points) {
  if (points.size() < 2) return fail("a shaft angle needs at least two tooth passages");
  for (std::size_t i = 1; i < points.size(); ++i)
    if (!(points[i].time_s > points[i - 1].time_s))
      return fail(fmt::format("tooth passages not in order of time at {:.6f} s", points[i].time_s));
  ToothTrack track;
  track.slopes_ = parabola_slopes(points);
  track.points_ = std::move(points);
  return track;
}

ToothTrack::Piece ToothTrack::piece(std::size_t index) const {
  const TrackPoint &a = points_[index], &b = points_[index + 1];
  const double length = b.time_s - a.time_s;
  const double chord = secant(a, b);
  const double first = slopes_[index], last = slopes_[index + 1];
  return {a.time_s,
          b.time_s,
          a.angle_rad,
          first,
          (3.0 * chord - 2.0 * first - last) / length,
          (first + last - 2.0 * chord) / (length * length)};
}

std::size_t ToothTrack::piece_holding(double time_s) const {
  const auto after = std::upper_bound(points_.begin() + 1, points_.end() - 1, time_s,
                                      [](double time, const TrackPoint& p) { return time < p.time_s; });
  return static_cast<std::size_t>(after - points_.begin()) - 1;
}

double ToothTrack::angle_at(double time_s) const {
  const Piece p = piece(piece_holding(time_s));
  return p.angle(time_s - p.begin_s);
}

double ToothTrack::speed_at(double time_s) const {
  const Piece p = piece(piece_holding(time_s));
  return p.speed_after(time_s - p.begin_s);
}

}  // namespace trimwright
