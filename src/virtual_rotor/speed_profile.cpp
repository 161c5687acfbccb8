#include "speed_profile.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "equations.hpp"
#include "possible.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright::virtual_rotor {

namespace {

Result<void> check_wander(const SpeedProfile& profile, double lowest_rpm) {
  if (!not_negative(profile.wander_rpm) || profile.wander_rpm > lowest_rpm) {
    return wrong("speed.wander_rpm", profile.wander_rpm, "0 to the lowest speed");
  }
  if (!std::isfinite(profile.wander_period_s) || profile.wander_period_s <= 0.0) {
    return wrong("speed.wander_period_s", profile.wander_period_s, "a number above zero");
  }
  return {};
}

Result<void> check_profile(const SpeedProfile& profile) {
  if (!not_negative(profile.start_rpm)) {
    return wrong("speed.start_rpm", profile.start_rpm, "zero or a number above it");
  }
  if (!std::isfinite(profile.start_angle_deg)) {
    return wrong("speed.start_angle_deg", profile.start_angle_deg, "a finite number");
  }
  if (profile.pieces.empty())
    return fail("the profile has no piece", "a ramp or a dwell", Location{{}, 0, "speed"});
  double lowest = profile.start_rpm;
  for (std::size_t i = 0; i < profile.pieces.size(); ++i) {
    const SpeedProfile::Piece& piece = profile.pieces[i];
    const std::string key = "speed.pieces[" + std::to_string(i) + "]";
    if (!std::isfinite(piece.seconds) || piece.seconds <= 0.0) {
      return wrong(key + ".seconds", piece.seconds, "a number above zero");
    }
    if (!not_negative(piece.to_rpm)) return wrong(key + ".to_rpm", piece.to_rpm, "zero or a number above it");
    lowest = std::min(lowest, piece.to_rpm);
  }
  return check_wander(profile, lowest);
}

}  // namespace

SpeedProfile& SpeedProfile::ramp_to(double to_rpm, double seconds) {
  pieces.push_back({seconds, to_rpm});
  return *this;
}

SpeedProfile& SpeedProfile::dwell(double seconds) {
  return ramp_to(pieces.empty() ? start_rpm : pieces.back().to_rpm, seconds);
}

Result<ShaftMotion> ShaftMotion::of(const SpeedProfile& profile) {
  if (auto checked = check_profile(profile); !checked) return tl::unexpected<Error>(checked.error());
  ShaftMotion motion;
  motion.wander_ = rad_per_s(profile.wander_rpm);
  motion.wander_frequency_ = 2.0 * std::numbers::pi / profile.wander_period_s;
  Start start{0.0, radians(profile.start_angle_deg), rad_per_s(profile.start_rpm), 0.0};
  motion.lowest_ = motion.highest_ = start.speed;
  for (const SpeedProfile::Piece& piece : profile.pieces) {
    const double to = rad_per_s(piece.to_rpm);
    start.acceleration = (to - start.speed) / piece.seconds;
    motion.starts_.push_back(start);
    motion.lowest_ = std::min(motion.lowest_, to);
    motion.highest_ = std::max(motion.highest_, to);
    start = {start.time + piece.seconds, start.angle + 0.5 * (start.speed + to) * piece.seconds, to, 0.0};
  }
  motion.starts_.push_back(start);
  motion.lowest_ -= motion.wander_;
  motion.highest_ += motion.wander_;
  return motion;
}

ShaftState ShaftMotion::at(double seconds) const {
  const auto later = std::upper_bound(starts_.begin(), starts_.end(), seconds,
                                      [](double t, const Start& s) { return t < s.time; });
  const Start& start = later == starts_.begin() ? starts_.front() : *(later - 1);
  const double since = seconds - start.time;
  const double acceleration = since < 0.0 ? 0.0 : start.acceleration;
  ShaftState state{start.angle + (start.speed + 0.5 * acceleration * since) * since,
                   start.speed + acceleration * since};
  if (wander_ > 0.0) {
    state.angle += wander_ / wander_frequency_ * (1.0 - std::cos(wander_frequency_ * seconds));
    state.speed += wander_ * std::sin(wander_frequency_ * seconds);
  }
  return state;
}

}  // namespace trimwright::virtual_rotor
