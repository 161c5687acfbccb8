#pragma once

#include <vector>

#include "trimwright/error.hpp"

namespace trimwright::virtual_rotor {

/// Shaft speed against time: straight pieces, a dwell being one that keeps its speed.
struct SpeedProfile {
  struct Piece {
    double seconds = 0.0;
    double to_rpm = 0.0;
  };

  double start_rpm = 0.0;
  std::vector<Piece> pieces;
  double start_angle_deg = 0.0;  ///< shaft angle at the first sample; 0: the tooth is at the pickup
  /// A slow hunting of the speed on top: wander_rpm sin(2 pi t / wander_period_s).
  double wander_rpm = 0.0;
  double wander_period_s = 10.0;

  /// `SpeedProfile{1000}.ramp_to(3000, 20).dwell(10)`.
  SpeedProfile& ramp_to(double to_rpm, double seconds);
  SpeedProfile& dwell(double seconds);
};

/// The shaft's angle and speed at one instant.
struct ShaftState {
  double angle = 0.0;  ///< turned since the tooth passed the pickup [rad], not wrapped
  double speed = 0.0;  ///< [rad/s]
};

/// A checked profile: the angle is the exact integral of the speed.
class ShaftMotion {
 public:
  /// Fails for no piece, a piece of no length, a negative or endless speed, wander beyond the lowest speed.
  [[nodiscard]] static Result<ShaftMotion> of(const SpeedProfile& profile);

  [[nodiscard]] double duration() const { return starts_.back().time; }  ///< [s]
  [[nodiscard]] double lowest_speed() const { return lowest_; }          ///< [rad/s], wander included
  [[nodiscard]] double highest_speed() const { return highest_; }        ///< [rad/s], wander included
  /// Before the start and after the end the speed of the first or last instant goes on.
  [[nodiscard]] ShaftState at(double seconds) const;

 private:
  struct Start {
    double time, angle, speed, acceleration;
  };
  std::vector<Start> starts_;  ///< of each piece, and the end
  double wander_ = 0.0, wander_frequency_ = 0.0;
  double lowest_ = 0.0, highest_ = 0.0;
};

}  // namespace trimwright::virtual_rotor
