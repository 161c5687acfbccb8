#include "virtual_rotor.hpp"

#include <cmath>
#include <numbers>
#include <numeric>
#include <string>

namespace trimwright::virtual_rotor {

namespace {

std::string indexed(const char* list, std::size_t i) { return list + ("[" + std::to_string(i) + "]"); }

tl::unexpected<Error> wrong(const std::string& key, const std::string& what, const std::string& expected) {
  return fail(what, expected, Location{{}, 0, key});
}

/// Finds the first complaint about a list of numbers, so that each type's check reads as one table.
class NumberCheck {
 public:
  explicit NumberCheck(std::string prefix) : prefix_(std::move(prefix)) {}

  NumberCheck& positive(const char* key, double value) {
    return require(std::isfinite(value) && value > 0.0, key, value, "a number above zero");
  }
  NumberCheck& not_negative(const char* key, double value) {
    return require(std::isfinite(value) && value >= 0.0, key, value, "zero or a number above it");
  }
  NumberCheck& finite(const char* key, double value) {
    return require(std::isfinite(value), key, value, "a finite number");
  }
  NumberCheck& require(bool good, const char* key, double value, const char* expected) {
    if (good || !found_) return *this;
    found_ = wrong(prefix_.empty() ? key : prefix_ + "." + key, std::to_string(value) + " is not possible",
                   expected);
    return *this;
  }
  /// The matrix is finite and, turned to any direction, does not push the shaft on (`above_zero`: holds it
  /// back).
  NumberCheck& restoring(const char* key, const Eigen::Matrix2d& value, bool above_zero) {
    const double xx = value(0, 0), yy = value(1, 1), xy = 0.5 * (value(0, 1) + value(1, 0));
    const double determinant = xx * yy - xy * xy;
    const bool good =
        above_zero ? xx > 0.0 && determinant > 0.0 : xx >= 0.0 && yy >= 0.0 && determinant >= 0.0;
    return require(value.allFinite() && good, key, value.allFinite() ? determinant : NAN,
                   above_zero ? "a symmetric part that is positive definite"
                              : "a symmetric part without negative directions");
  }
  [[nodiscard]] const Result<void>& result() const { return found_; }

 private:
  std::string prefix_;
  Result<void> found_;
};

Result<void> check_shaft(const VirtualRotor& rotor) {
  NumberCheck whole("");
  whole.positive("full_speed_rpm", rotor.full_speed_rpm)
      .positive("material.youngs_modulus", rotor.material.youngs_modulus)
      .positive("material.density", rotor.material.density)
      .positive("longest_element", rotor.longest_element)
      .finite("pickup", rotor.pickup.degrees);
  const double nu = rotor.material.poissons_ratio;
  whole.require(nu > -1.0 && nu <= 0.5, "material.poissons_ratio", nu, "a number between -1 and 0.5");
  if (!whole.result()) return whole.result();
  if (rotor.shaft.empty()) return wrong("shaft", "there is no section", "at least one");
  for (std::size_t i = 0; i < rotor.shaft.size(); ++i) {
    const ShaftSection& s = rotor.shaft[i];
    NumberCheck section(indexed("shaft", i));
    section.positive("length", s.length)
        .positive("outer_diameter", s.outer_diameter)
        .not_negative("inner_diameter", s.inner_diameter)
        .require(s.inner_diameter < s.outer_diameter, "inner_diameter", s.inner_diameter,
                 "less than the outer diameter");
    if (!section.result()) return section.result();
  }
  if (shaft_length(rotor) / rotor.longest_element > 500.0) {
    return wrong("longest_element", std::to_string(rotor.longest_element) + " m makes more than 500 elements",
                 "a longer one");
  }
  return {};
}

Result<void> check_station(const VirtualRotor& rotor, const std::string& key, double at) {
  if (at >= 0.0 && at <= shaft_length(rotor) * (1.0 + 1e-12)) return {};
  return wrong(key + ".at", std::to_string(at) + " m is not on the shaft",
               "0 to " + std::to_string(shaft_length(rotor)) + " m");
}

Result<void> check_disc(const Disc& disc, const std::string& key) {
  NumberCheck numbers(key);
  numbers.not_negative("mass", disc.mass)
      .not_negative("diametral_inertia", disc.diametral_inertia)
      .not_negative("polar_inertia", disc.polar_inertia)
      .not_negative("drag", disc.drag)
      .require(disc.polar_inertia <= 2.0 * disc.diametral_inertia * (1.0 + 1e-9), "polar_inertia",
               disc.polar_inertia, "at most twice the diametral inertia (a flat disc)");
  return numbers.result();
}

Result<void> check_support(const Support& support, const std::string& key) {
  NumberCheck numbers(key);
  numbers.restoring("stiffness", support.stiffness, true).restoring("damping", support.damping, false);
  if (support.casing) {
    numbers.positive("casing.mass", support.casing->mass)
        .restoring("casing.stiffness", support.casing->stiffness, true)
        .restoring("casing.damping", support.casing->damping, false);
  }
  return numbers.result();
}

Result<void> check_sensor(const VirtualRotor& rotor, const CasingSensor& sensor, const std::string& key) {
  if (sensor.support < 0 || static_cast<std::size_t>(sensor.support) >= rotor.supports.size()) {
    return wrong(key + ".support", "there is no support " + std::to_string(sensor.support),
                 "0 to " + std::to_string(rotor.supports.size() - 1));
  }
  if (!rotor.supports[static_cast<std::size_t>(sensor.support)].casing) {
    return wrong(key + ".support", "that support has no casing to carry a sensor", "a support with a casing");
  }
  NumberCheck numbers(key);
  numbers.finite("direction", sensor.direction.degrees).not_negative("repeatability", sensor.repeatability);
  return numbers.result();
}

}  // namespace

double shaft_length(const VirtualRotor& rotor) {
  return std::accumulate(rotor.shaft.begin(), rotor.shaft.end(), 0.0,
                         [](double sum, const ShaftSection& s) { return sum + s.length; });
}

double turning_mass(const VirtualRotor& rotor) {
  double mass = 0.0;
  for (const ShaftSection& s : rotor.shaft) {
    const double area =
        std::numbers::pi / 4.0 * (s.outer_diameter * s.outer_diameter - s.inner_diameter * s.inner_diameter);
    mass += rotor.material.density * area * s.length;
  }
  for (const Disc& disc : rotor.discs) mass += disc.mass;
  return mass;
}

Result<void> check(const VirtualRotor& rotor) {
  if (auto shaft = check_shaft(rotor); !shaft) return shaft;
  if (rotor.supports.size() < 2) return wrong("supports", "the shaft is not held", "at least two supports");
  Result<void> found;
  const auto note = [&found](const Result<void>& next) {
    if (found && !next) found = next;
  };
  for (std::size_t i = 0; i < rotor.discs.size(); ++i) {
    note(check_station(rotor, indexed("discs", i), rotor.discs[i].at));
    note(check_disc(rotor.discs[i], indexed("discs", i)));
  }
  for (std::size_t i = 0; i < rotor.supports.size(); ++i) {
    note(check_station(rotor, indexed("supports", i), rotor.supports[i].at));
    note(check_support(rotor.supports[i], indexed("supports", i)));
  }
  for (std::size_t i = 0; i < rotor.planes.size(); ++i) {
    note(check_station(rotor, indexed("planes", i), rotor.planes[i].at));
  }
  for (std::size_t i = 0; i < rotor.as_found.size(); ++i) {
    const std::string key = indexed("as_found", i);
    note(check_station(rotor, key, rotor.as_found[i].at));
    note(NumberCheck(key).finite("moment", std::abs(rotor.as_found[i].moment)).result());
  }
  for (std::size_t i = 0; i < rotor.sensors.size(); ++i) {
    note(check_sensor(rotor, rotor.sensors[i], indexed("sensors", i)));
  }
  return found;
}

}  // namespace trimwright::virtual_rotor
