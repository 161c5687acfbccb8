#include "known_effect.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/name.hpp"
#include "influence/plane_moments.hpp"
#include "influence/prior_place.hpp"
#include "runs/reading_now.hpp"

namespace trimwright {
namespace {

/// The coefficients that the runs of `job` settle.
std::vector<PriorCoefficient> coefficients_of(const Job& job) {
  const auto settled = settle_and_fit(job);
  if (!settled) return {};
  std::vector<PriorCoefficient> all;
  for (const auto& row : settled->model.rows)
    for (std::size_t p = 0; p < settled->model.planes.size(); ++p) {
      const Sensor& sensor = job.rotor.sensors[row.sensor];
      all.push_back({job.speeds_rpm[row.speed], sensor.name, job.rotor.planes[settled->model.planes[p]].name,
                     sensor.unit.symbol, row.coefficients(static_cast<Eigen::Index>(p)), 1});
    }
  return all;
}

}  // namespace

std::vector<KnownEffect> effects_by_model(const Job& job, const InfluenceModel& model, std::size_t plane) {
  const auto at = std::find(model.planes.begin(), model.planes.end(), plane) - model.planes.begin();
  std::vector<KnownEffect> effects;
  if (at == static_cast<std::ptrdiff_t>(model.planes.size())) return effects;
  const auto u = of_planes(unbalance_now(job), model.planes);
  for (const auto& row : model.rows)
    effects.push_back({predict(row, u), row.coefficients(at), place_of(job, row.speed, row.sensor).limit});
  return effects;
}

std::vector<KnownEffect> effects_by_earlier(const Job& job, const EarlierEffects& earlier,
                                            std::size_t plane) {
  std::vector<KnownEffect> effects;
  for (const auto& place : places_to_run(job)) {
    const auto known = std::find_if(
        earlier.coefficients.begin(), earlier.coefficients.end(),
        [&](const auto& one) { return is_of_place(one, job, place.speed, place.sensor, plane); });
    const Reading* now = phasor_now(job, place);
    if (known != earlier.coefficients.end() && now != nullptr)
      effects.push_back({*now->x, known->mean, place.limit});
  }
  return effects;
}

double headroom_share(const std::vector<KnownEffect>& effects, std::complex<double> moment) {
  double most = 0.0;
  for (const auto& one : effects) {
    const double left = one.limit - std::abs(one.now), change = std::abs(one.per_moment * moment);
    most = std::max(most, left > 0.0 ? change / left : std::numeric_limits<double>::infinity());
  }
  return most;
}

std::complex<double> moment_wanted(const std::vector<KnownEffect>& effects) {
  std::complex<double> sum = 0.0;
  double squares = 0.0;
  for (const auto& one : effects) {
    sum -= std::conj(one.per_moment) * one.now / (one.limit * one.limit);
    squares += std::norm(one.per_moment / one.limit);
  }
  return squares > 0.0 ? sum / squares : 0.0;
}

std::optional<EarlierEffects> earlier_effects(const Job& job, const std::vector<FleetJob>& jobs) {
  std::optional<EarlierEffects> best;
  bool best_is_own = false;
  for (const auto& one : jobs) {
    const bool own = !job.serial.empty() && alike(one.job.serial, job.serial);
    if (!alike(one.job.rotor.name, job.rotor.name) || (best_is_own && !own)) continue;
    auto coefficients = coefficients_of(one.job);
    if (coefficients.empty()) continue;
    best = EarlierEffects{one.name, std::move(coefficients)};
    best_is_own = own;
  }
  return best;
}

}  // namespace trimwright
