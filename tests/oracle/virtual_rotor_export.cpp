// Writes, as JSON on standard output, the demonstration rotor and a member of its family: their descriptions,
// their matrices, and what the library says of them, for virtual_rotor_scipy.py to check.
#include <iostream>
#include <nlohmann/json.hpp>

#include "virtual_rotor/demonstration.hpp"
#include "virtual_rotor/response.hpp"
#include "virtual_rotor/virtual_recording.hpp"
#include "virtual_rotor/whirl.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;
using nlohmann::json;

namespace {

json of(std::complex<double> z) { return {z.real(), z.imag()}; }

template <class Matrix>
json rows_of(const Matrix& m) {
  json rows = json::array();
  for (Eigen::Index i = 0; i < m.rows(); ++i) {
    json row = json::array();
    for (Eigen::Index k = 0; k < m.cols(); ++k) {
      if constexpr (std::is_same_v<typename Matrix::Scalar, double>) {
        row.push_back(m(i, k));
      } else {
        row.push_back(of(m(i, k)));
      }
    }
    rows.push_back(row);
  }
  return rows;
}

json modes_of(const std::vector<WhirlMode>& modes) {
  json list = json::array();
  for (const WhirlMode& mode : modes) list.push_back(of(mode.eigenvalue));
  return list;
}

json description(const VirtualRotor& rotor) {
  json d{{"youngs_modulus", rotor.material.youngs_modulus},
         {"poissons_ratio", rotor.material.poissons_ratio},
         {"density", rotor.material.density},
         {"pickup_deg", rotor.pickup.degrees}};
  for (const ShaftSection& s : rotor.shaft)
    d["shaft"].push_back({s.length, s.outer_diameter, s.inner_diameter});
  for (const Disc& disc : rotor.discs) {
    d["discs"].push_back({disc.at, disc.mass, disc.diametral_inertia, disc.polar_inertia});
  }
  for (const Support& s : rotor.supports) {
    d["supports"].push_back({{"at", s.at},
                             {"stiffness", rows_of(s.stiffness)},
                             {"damping", rows_of(s.damping)},
                             {"casing_mass", s.casing->mass},
                             {"casing_stiffness", rows_of(s.casing->stiffness)},
                             {"casing_damping", rows_of(s.casing->damping)}});
  }
  for (const BalancePlane& plane : rotor.planes) d["planes"].push_back(plane.at);
  for (const HiddenUnbalance& hidden : rotor.as_found)
    d["as_found"].push_back({hidden.at, of(hidden.moment)});
  for (const CasingSensor& s : rotor.sensors)
    d["sensors"].push_back({s.support, s.direction.degrees});  // velocity
  return d;
}

/// A run-up through the critical speed as recorded, 10 % of full speed a second.
json run_up(const AssembledRotor& assembled) {
  const double full = assembled.rotor().full_speed_rpm;
  RecordingSetup setup;
  setup.unbalance = {{400.0, 0.0}, {0.0, -200.0}};
  setup.speed.start_rpm = 0.45 * full;
  setup.speed.start_angle_deg = 77.0;
  setup.speed.ramp_to(0.75 * full, 3.0);
  setup.sample_rate = 1000.0;
  setup.vibration.resize(2);
  setup.vibration[1].sensor = 1;
  const VirtualRecording recording = VirtualRecording::of(assembled, setup).value();
  return {{"unbalance", {of(setup.unbalance[0]), of(setup.unbalance[1])}},
          {"from_rpm", setup.speed.start_rpm},
          {"to_rpm", 0.75 * full},
          {"seconds", 3.0},
          {"start_angle_deg", setup.speed.start_angle_deg},
          {"signals", rows_of(recording.block(0, recording.samples()))}};
}

json truth(const VirtualRotor& rotor) {
  const AssembledRotor assembled = assemble(rotor).value();
  const EquationsOfMotion& e = assembled.equations();
  json out{{"rotor", description(rotor)}, {"node_at", e.node_at}, {"M", rows_of(e.M)},
           {"C", rows_of(e.C)},           {"G", rows_of(e.G)},    {"K", rows_of(e.K)}};
  for (const double speed : {600.0, 2600.0, 3080.0, 4400.0, 5120.0}) {
    const SpeedResponse response = speed_response(assembled, speed);
    out["speeds"].push_back({{"rpm", speed},
                             {"influence", rows_of(response.influence)},
                             {"as_found", rows_of(response.as_found)},
                             {"whirl", modes_of(whirl_modes(e, rad_per_s(speed)))}});
  }
  out["critical"] = modes_of(critical_speeds(e));
  out["run_up"] = run_up(assembled);
  return out;
}

}  // namespace

int main() {
  const VirtualRotor nominal = demonstration_rotor();
  const json all{truth(nominal), truth(family_member(nominal, FamilySpread{}, 5))};
  std::cout << all.dump() << '\n';
}
