#include "day.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "trimwright/phasor.hpp"
#include "virtual_rotor/draws.hpp"
#include "virtual_rotor/response.hpp"

namespace trimwright {
namespace {

constexpr std::uint64_t slip_stream = 1004;

constexpr const char* calm_rotor = R"(trimwright: rotor 1
# The rotor to rehearse on. It is virtual: no such fan exists, and every number is invented.
name: Larkmere rehearsal fan
rotation: {sense: clockwise, seen_from: aft}
phase: lag
speed_100: 5120 rpm
speed_tolerance: 0.6 %
mass: 117 kg
reference: {teeth: 44, larger_tooth: 1, polarity: falling}
blades: {count: 29, blade_1_at: 0 deg, numbered: clockwise, seen_from: front}
planes:
  - name: spinner
    access: easy
    slots:
      count: 40
      slot_1_at: 4 deg with rotation
      numbered: clockwise
      seen_from: front
      unusable: [11, 12, 31]          # jacking points
    filler: {mass: 0.2 g, radius: 188 mm}
    weights:
      - {id: K2, mass: 2.2 g, radius: 188 mm, stock: 10}
      - {id: K3, mass: 2.9 g, radius: 188 mm, stock: 10}
      - {id: K4, mass: 4.4 g, radius: 188.5 mm, stock: 10}
      - {id: K5, mass: 5.3 g, radius: 188.5 mm, stock: 8}
      - {id: K7, mass: 7.4 g, radius: 189 mm, stock: 8}
    max_total_moment: 9000 g.mm
  - name: drum
    access: hard                      # the tail cone must come off
    slots: {count: 25, slot_1_at: 0 deg, numbered: counterclockwise, seen_from: aft}
    weights:
      - {id: D3, moment: 280 g.mm, stock: 8}
      - {id: D4, moment: 430 g.mm, stock: 8}
      - {id: D7, moment: 690 g.mm, stock: 8}
      - {id: D12, moment: 1180 g.mm, stock: 6}
sensors:
  - name: front
    measures: velocity
    unit: in/s peak
    phase_of: velocity
    direction: {positive: outward, mounted: top of the fan case}
    limits:
      - {up_to: 70 %, limit: 0.8 in/s, target: 0.2 in/s}
      - {up_to: 105 %, limit: 0.6 in/s, target: 0.15 in/s}
    repeatability: 0.006 in/s
  - name: turbine
    measures: velocity
    unit: mm/s rms
    phase_of: velocity
    direction: {positive: inward, mounted: top of the turbine frame}
    limits:
      - {up_to: 70 %, limit: 4 mm/s, target: 1 mm/s}
      - {up_to: 105 %, limit: 8 mm/s, target: 2.4 mm/s}
    repeatability: 0.1 mm/s
)";

/// How much runs differ on a day.
struct Scatter {
  const char *seating, *run, *reading, *repeatability, *reference;
};

Scatter scatter_of(RehearsalDay day) {
  // On wing 5 to 15 % and 5 to 20 degrees from run to run are ordinary (common practice, no published
  // source).
  if (day == RehearsalDay::on_wing) return {"25 g.mm", "5 %", "4 %", "0.25 mm/s", "0 deg"};
  if (day == RehearsalDay::loose_reference) return {"8 g.mm", "0.4 %", "0.2 %", "0.04 mm/s", "12 deg"};
  return {"8 g.mm", "0.4 %", "0.2 %", "0.04 mm/s", "0 deg"};
}

/// Which of `count` a draw from 0 to 1 takes.
std::size_t drawn_of(std::size_t count, double draw) {
  return std::min(static_cast<std::size_t>(draw * static_cast<double>(count)), count - 1);
}

/// Of one sensor in one run: turned over.
PlantedSlip turned_over(const Rehearsal& rehearsal, const std::vector<FittedWeights>& written, double draw) {
  PlantedSlip slip{{}, written, {}};
  const auto& sensors = rehearsal.rotor.sensors;
  slip.turned_over = drawn_of(sensors.size(), draw);
  slip.what = "sensor " + sensors[*slip.turned_over].name + " was turned over";
  return slip;
}

/// Of what was fitted: a piece left out, of another size, or in the next slot; nothing where none can be.
std::optional<PlantedSlip> fitted_wrongly(const Job& job, const std::vector<FittedWeights>& written, int kind,
                                          double draw) {
  const auto pieces = newly_fitted(job.runs.back().fitted, written);
  if (pieces.empty()) return std::nullopt;
  const PlacedPiece& one = pieces[drawn_of(pieces.size(), draw)];
  const int slot = one.slot;
  const Piece& piece = one.piece;
  const Plane& plane = job.rotor.planes[one.plane];
  PlantedSlip slip{{}, written, {}};
  auto& slots = slip.fitted[one.plane].slots;
  const std::string what = piece_words(piece, "the ");
  slots.erase(slot);
  if (kind == 0) {
    slip.what = fmt::format("{} slot {}: {} was not fitted", plane.name, slot, what);
    return slip;
  }
  if (kind == 1) {
    const auto other =
        std::max_element(plane.weights.begin(), plane.weights.end(), [&](const Weight& a, const Weight& b) {
          return std::abs(a.moment_g_mm - piece.moment_g_mm) < std::abs(b.moment_g_mm - piece.moment_g_mm);
        });
    if (other == plane.weights.end()) return std::nullopt;
    slots[slot] = {other->id, other->moment_g_mm};
    slip.what = fmt::format("{} slot {}: {} was fitted for {}", plane.name, slot, other->id, what);
    return slip;
  }
  const int next = slot % plane.slots->count + 1;
  if (!plane.slots->usable(next) || !slots.emplace(next, piece).second) return std::nullopt;
  slip.what = fmt::format("{} slot {}: {} sat in slot {}", plane.name, slot, what, next);
  return slip;
}

}  // namespace

std::string rotor_text(RehearsalDay day) {
  std::string text = calm_rotor;
  if (day != RehearsalDay::on_wing) return text;
  for (const std::string stated : {"    repeatability: 0.006 in/s\n", "    repeatability: 0.1 mm/s\n"}) {
    const auto at = text.find(stated) + stated.size();
    text.insert(at, "    proportional: 7 %               # from run to run, as ordinary on wing\n");
  }
  return text;
}

std::string rehearsal_text(std::uint64_t seed, RehearsalDay day) {
  const Scatter scatter = scatter_of(day);
  return fmt::format(
      "trimwright: rehearsal 1\n"
      "# Whoever knows the seed can know the answer: trimwright rehearse truth tells it.\n"
      "seed: {}\n"
      "stops_at_limits: {:<11}# a run ends at the first speed at which a level passes its limit\n"
      "slip: {:<22}# one mistake, in one of the first runs or in none\n"
      "scatter:                     # one standard deviation each, per real component\n"
      "  seating: {:<18}# of every plane's moment, from run to run\n"
      "  run: {:<22}# of all levels of a run together\n"
      "  reading: {:<18}# of a reading, beside\n"
      "  repeatability: {:<12}# (recordings have noise of their own instead of these two)\n"
      "  speed: 0.1 %               # of the speed held\n"
      "  reference: {:<16}# by which all phases of a run are turned\n"
      "pickup:                      # of the reference teeth: its first element, in a recording\n"
      "  gap: 1 mm\n"
      "  lost: 0 %                  # pulses that debris on the tip hides,\n"
      "  altered: 0 %               # makes 0.3 to 1.7 times as high,\n"
      "  false: 0 %                 # or adds between teeth\n",
      seed, day == RehearsalDay::calm ? "no" : "yes", day == RehearsalDay::slip ? "one" : "none",
      scatter.seating, scatter.run, scatter.reading, scatter.repeatability, scatter.reference);
}

std::optional<PlantedSlip> planted_slip(const Rehearsal& rehearsal, const Job& job, std::size_t run,
                                        const std::vector<FittedWeights>& written) {
  if (!rehearsal.slip || run == 0 || job.runs.empty()) return std::nullopt;
  const virtual_rotor::Draws draws(rehearsal.seed, slip_stream);
  const auto in = 1 + static_cast<std::size_t>(4.0 * draws.uniform(0));
  if (run != in || in == 4) return std::nullopt;
  const int kind = static_cast<int>(4.0 * draws.uniform(1));
  if (kind < 3)
    if (auto slip = fitted_wrongly(job, written, kind, draws.uniform(2))) return slip;
  return turned_over(rehearsal, written, draws.uniform(3));
}

Completed completed(const Rehearsal& rehearsal, const Job& job, const std::vector<FittedWeights>& fitted) {
  const auto unbalance = unbalance_with(job, fitted);
  Completed done;
  for (const double percent : rehearsal_speeds_percent) {
    const double rpm = percent / 100.0 * rehearsal.truth.rotor().full_speed_rpm;
    const Eigen::VectorXcd levels =
        virtual_rotor::vibration(virtual_rotor::speed_response(rehearsal.truth, rpm), unbalance);
    for (std::size_t s = 0; rehearsal.stops_at_limits && s < rehearsal.rotor.sensors.size(); ++s) {
      const Sensor& sensor = rehearsal.rotor.sensors[s];
      const double level = std::abs(in_sensor_unit(sensor, rehearsal.truth.rotor().sensors[s].quantity,
                                                   levels(static_cast<Eigen::Index>(s)), rpm));
      if (level <= sensor.band_at(rpm)->limit) continue;
      done.stopped =
          fmt::format("it was stopped at {}: {} passed its limit of {} {}", speed_words(rehearsal.rotor, rpm),
                      sensor.name, amplitude_words(sensor.unit.shown_from_peak(sensor.band_at(rpm)->limit)),
                      sensor.unit.text());
      return done;
    }
    ++done.speeds;
  }
  return done;
}

virtual_rotor::VirtualRotor below_limits(const Rotor& written, const virtual_rotor::AssembledRotor& real) {
  auto rotor = real.rotor();
  double worst = 0.0;
  for (const double percent : rehearsal_speeds_percent) {
    const double rpm = percent / 100.0 * rotor.full_speed_rpm;
    const Eigen::VectorXcd levels = virtual_rotor::vibration(
        virtual_rotor::speed_response(real, rpm), std::vector<std::complex<double>>(written.planes.size()));
    for (std::size_t s = 0; s < written.sensors.size(); ++s)
      worst = std::max(worst, std::abs(in_sensor_unit(written.sensors[s], rotor.sensors[s].quantity,
                                                      levels(static_cast<Eigen::Index>(s)), rpm)) /
                                  written.sensors[s].band_at(rpm)->limit);
  }
  if (worst > most_as_found)
    for (auto& hidden : rotor.as_found) hidden.moment *= most_as_found / worst;
  return rotor;
}

}  // namespace trimwright
