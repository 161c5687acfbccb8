#pragma once

#include <cstddef>
#include <span>
#include <vector>
#include "trimwright/error.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

/// The shaft's angle at one instant [rad], not wrapped, growing by 2 pi per revolution.
struct TrackPoint {
  double time_s = 0.0;
  double angle_rad = 0.0;
};

/// Shaft angle as a smooth function of time, through all its points.
///
/// Between neighbours it is a cubic with the slopes of the parabolas through three neighbouring points
/// (piecewise cubic Hermite; C. de Boor, A Practical Guide to Splines, chapter IV). A multiple of 2 pi is the
/// reference tooth's passage when the track's phase can be trusted.
class ToothTrack {
 public:
  /// Errors: fewer than two points, times not rising.
  [[nodiscard]] static Result<ToothTrack> through(std::vector<TrackPoint> points);

  [[nodiscard]] double begin_s() const { return points_.front().time_s; }
  [[nodiscard]] double end_s() const { return points_.back().time_s; }
  [[nodiscard]] std::span<const TrackPoint> points() const { return points_; }

  /// Angle [rad] and angular speed [rad/s] at `time_s`; outside the points the end piece is continued.
  [[nodiscard]] double angle_at(double time_s) const;
  [[nodiscard]] double speed_at(double time_s) const;

  /// angle = angle_rad + u (speed + u (c2 + u c3)), u seconds after the piece begins.
  struct Piece {
    double begin_s, end_s;
    double angle_rad, speed, c2, c3;

    [[nodiscard]] double angle(double u) const { return angle_rad + u * (speed + u * (c2 + u * c3)); }
    [[nodiscard]] double speed_after(double u) const { return speed + u * (2.0 * c2 + u * 3.0 * c3); }
  };
  [[nodiscard]] std::size_t pieces() const { return points_.size() - 1; }
  [[nodiscard]] Piece piece(std::size_t index) const;

 private:
  [[nodiscard]] std::size_t piece_holding(double time_s) const;

  std::vector<TrackPoint> points_;
  std::vector<double> slopes_;
};

}  // namespace trimwright
