#include "demonstration.hpp"

#include <cmath>
#include <numbers>

#include "draws.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright::virtual_rotor {

namespace {

Eigen::Matrix2d diagonal(double x, double y) { return Eigen::Vector2d(x, y).asDiagonal(); }

std::complex<double> moment(double g_mm, double degrees) { return std::polar(g_mm, radians(degrees)); }

/// Standard normal numbers one after the other.
class Sequence {
 public:
  explicit Sequence(std::uint64_t seed) : draws_(seed, 0) {}
  double normal() { return draws_.gaussian(next_++); }
  double factor(double spread) { return std::exp(spread * normal()); }

 private:
  Draws draws_;
  std::uint64_t next_ = 0;
};

void vary_support(Support& support, const FamilySpread& spread, Sequence& sequence) {
  support.stiffness *= sequence.factor(spread.support_stiffness);
  support.damping *= sequence.factor(spread.support_damping);
  if (!support.casing) return;
  support.casing->mass *= sequence.factor(spread.casing);
  support.casing->stiffness *= sequence.factor(spread.casing);
  support.casing->damping *= sequence.factor(spread.casing);
}

}  // namespace

VirtualRotor demonstration_rotor() {
  VirtualRotor rotor;
  rotor.name = "demonstrator fan shaft";
  rotor.full_speed_rpm = 5120.0;
  rotor.longest_element = 0.15;
  rotor.shaft = {{0.20, 0.110, 0.080}, {1.10, 0.104, 0.090}, {0.20, 0.100, 0.075}};
  rotor.discs = {{"fan", 0.06, 62.0, 2.5, 4.7, 0.0}, {"turbine", 1.44, 24.0, 0.5, 0.9, 0.0}};
  rotor.supports = {
      {"front", 0.24, diagonal(3.2e7, 3.5e7), diagonal(2.0e4, 2.0e4),
       Casing{55.0, diagonal(2.25e7, 2.45e7), diagonal(1.3e4, 1.3e4)}},
      {"aft", 1.26, diagonal(4.8e7, 5.2e7), diagonal(2.6e4, 2.6e4),
       Casing{24.0, diagonal(4.2e7, 4.6e7), diagonal(2.6e4, 2.6e4)}},
  };
  rotor.planes = {{"spinner", 0.02}, {"drum", 1.47}};
  rotor.sensors = {{"front", 0, {90.0}, Quantity::velocity, 0.15},
                   {"turbine", 1, {90.0}, Quantity::velocity, 0.15}};
  rotor.as_found = {{0.06, moment(2100.0, 128.0)}, {0.75, moment(700.0, 20.0)}, {1.44, moment(900.0, 303.0)}};
  rotor.pickup = {35.0};
  return rotor;
}

VirtualRotor family_member(const VirtualRotor& nominal, const FamilySpread& spread, std::uint64_t seed) {
  Sequence sequence(seed);
  VirtualRotor rotor = nominal;
  for (Support& support : rotor.supports) vary_support(support, spread, sequence);
  for (Disc& disc : rotor.discs) {
    const double factor = sequence.factor(spread.disc);
    disc.mass *= factor;
    disc.diametral_inertia *= factor;
    disc.polar_inertia *= factor;
  }
  for (CasingSensor& sensor : rotor.sensors) {
    sensor.direction.degrees += spread.sensor_direction_deg * sequence.normal();
  }
  if (!spread.new_unbalance) return rotor;
  for (HiddenUnbalance& hidden : rotor.as_found) {
    const double per_component = std::abs(hidden.moment) / std::numbers::sqrt2;
    const double real = sequence.normal(), imaginary = sequence.normal();
    hidden.moment = per_component * std::complex<double>(real, imaginary);
  }
  return rotor;
}

}  // namespace trimwright::virtual_rotor
