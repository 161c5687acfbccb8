#include "trial_weights.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace trimwright {
namespace {

/// How often the weight (or stack) can still be fitted; 1 where the stock is not counted.
int pieces_left(const Job& job, std::size_t plane_index, const Weight& weight) {
  const Plane& plane = job.rotor.planes[plane_index];
  std::optional<int> least;
  for (const auto& single : plane.weights) {
    const int needs = Plane::count_of(weight, single.id);
    if (!single.stack_of.empty() || needs == 0 || !single.stock) continue;
    const int left = *single.stock - pieces_fitted(plane, job.fitted_now[plane_index], single.id);
    least = std::min(least.value_or(left / needs), left / needs);
  }
  return least.value_or(1);
}

std::string catalogue_ids(const Plane& plane) {
  std::string ids;
  for (const auto& weight : plane.weights) ids += (ids.empty() ? "" : ", ") + weight.id;
  return ids;
}

Result<std::vector<const Weight*>> weights_in_stock(const Job& job, std::size_t index,
                                                    const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[index];
  std::vector<const Weight*> weights;
  if (choice.weight_id) {
    const Weight* weight = plane.find_weight(*choice.weight_id);
    if (weight == nullptr)
      return fail("plane \"" + plane.name + "\" has no weight \"" + *choice.weight_id + "\"",
                  "one of: " + catalogue_ids(plane));
    if (pieces_left(job, index, *weight) < 1)
      return fail("no piece of weight \"" + weight->id + "\" is left in stock", "a weight in stock");
    return std::vector{weight};
  }
  for (const auto& weight : plane.weights)
    if (pieces_left(job, index, weight) > 0) weights.push_back(&weight);
  if (weights.empty())
    return fail("no weight of plane \"" + plane.name + "\" is left in stock", "a weight in stock");
  return weights;
}

Result<std::vector<int>> free_slots(const Job& job, std::size_t index, const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[index];
  if (choice.slot) {
    if (plane.slots->usable(*choice.slot)) return std::vector{*choice.slot};
    return fail(fmt::format("plane \"{}\" has no usable slot {}", plane.name, *choice.slot),
                fmt::format("1 to {} without the unusable ones", plane.slots->count));
  }
  std::vector<int> slots;
  for (int slot = 1; slot <= plane.slots->count; ++slot)
    if (plane.slots->usable(slot) && !job.fitted_now[index].slots.contains(slot)) slots.push_back(slot);
  if (slots.empty())
    return fail("every usable slot of plane \"" + plane.name + "\" holds a weight", "a slot named by you");
  return slots;
}

/// Whether a pair rule forbids a weight in `slot` beside what the others hold.
bool pairs_allow(const Plane& plane, const FittedWeights& fitted, int slot) {
  const auto partner_holds = [&](const auto& pair) {
    return fitted.slots.contains(pair.first == slot ? pair.second : pair.first);
  };
  const auto touches = [slot](const auto& pair) { return pair.first == slot || pair.second == slot; };
  for (const auto& pair : plane.rules.apart)
    if (touches(pair) && partner_holds(pair)) return false;
  for (const auto& pair : plane.rules.together)
    if (touches(pair) && !partner_holds(pair)) return false;
  return std::none_of(plane.rules.alike.begin(), plane.rules.alike.end(), touches);
}

/// Whether the plane's limits on slots, pieces and moments let this one change be made.
bool allowed(const Job& job, const SlotChange& change, const Weight& weight) {
  constexpr double rounding = 1.0 + 1e-12;
  const Plane& plane = job.rotor.planes[change.plane];
  const auto keeps = [&](double value, const std::optional<double>& most) {
    return value <= most.value_or(value) * rounding;
  };
  FittedWeights fitted = job.fitted_now[change.plane];
  const auto before = total_moment(plane, fitted);
  fitted.slots[change.slot] = *change.fit;
  const auto after = total_moment(plane, fitted);
  int pieces = 0;
  double mass = 0.0;
  for (int slot = 1; slot <= plane.slots->count; ++slot) {
    if (!plane.slots->usable(slot)) continue;
    const auto held = fitted.slots.find(slot);
    const Weight* one = held == fitted.slots.end() ? nullptr : plane.find_weight(held->second.weight_id);
    if (held != fitted.slots.end()) pieces += one ? one->pieces() : 1;
    mass += (held == fitted.slots.end() ? plane.filler.mass_g
             : one                      ? one->mass_g
                                        : std::nullopt)
                .value_or(0.0);
  }
  return weight.may_be_in(change.slot) && keeps(weight.moment_g_mm, plane.rules.max_slot_moment_g_mm) &&
         keeps(weight.mass_g.value_or(0.0), plane.rules.max_slot_mass_g) &&
         keeps(std::abs(after - before), plane.max_added_moment_g_mm) &&
         keeps(std::abs(after), plane.max_total_moment_g_mm) && keeps(mass, plane.rules.max_mass_g) &&
         pieces <= plane.rules.max_pieces.value_or(pieces) &&
         pairs_allow(plane, job.fitted_now[change.plane], change.slot);
}

}  // namespace

double force_newton(double moment_g_mm, double rpm) {
  const double omega = 2.0 * std::numbers::pi * rpm / 60.0;
  return moment_g_mm * 1e-6 * omega * omega;  // kg m times rad^2/s^2
}

TrialCandidate candidate_of(const Job& job, const SlotChange& change) {
  TrialCandidate candidate{change, force_newton(change.fit->moment_g_mm, job.speeds_rpm.back()), {}, {}, {},
                           {}};
  if (job.rotor.mass_kg) candidate.force_share = candidate.force_n / (*job.rotor.mass_kg * gravity);
  return candidate;
}

Result<std::vector<SlotChange>> trial_changes(const Job& job, std::size_t plane_index,
                                              const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[plane_index];
  if (!plane.slots || plane.weights.empty())
    return fail("plane \"" + plane.name + "\" has no slots or no catalogue",
                "a plane with slots and weights");
  const auto slots = free_slots(job, plane_index, choice);
  if (!slots) return tl::unexpected(slots.error());
  const auto weights = weights_in_stock(job, plane_index, choice);
  if (!weights) return tl::unexpected(weights.error());
  const auto& fitted = job.fitted_now[plane_index].slots;
  std::vector<SlotChange> changes;
  for (const int slot : *slots)
    for (const Weight* weight : *weights) {
      SlotChange change{plane_index, slot, std::nullopt, Piece{weight->id, weight->moment_g_mm}};
      if (const auto held = fitted.find(slot); held != fitted.end()) change.remove = held->second;
      if (allowed(job, change, *weight) && change.remove != change.fit) changes.push_back(change);
    }
  if (changes.empty())
    return fail("the rules of plane \"" + plane.name + "\" allow no such trial weight",
                "another slot or weight, or looser rules");
  return changes;
}

Result<SlotChange> by_rule(const Job& job, const std::vector<SlotChange>& changes, const TrialChoice& choice,
                           const std::optional<RotorAngle>& towards) {
  std::vector<SlotChange> light = changes;
  if (!choice.weight_id) {
    if (!job.rotor.mass_kg)
      return fail("the trial weight cannot be advised: the rotor's mass is not known",
                  "mass in the rotor file, or a trial weight named by you");
    const double most = trial_force_share * *job.rotor.mass_kg * gravity;
    std::erase_if(light, [&](const SlotChange& one) {
      return force_newton(one.fit->moment_g_mm, job.speeds_rpm.back()) > most;
    });
    if (light.empty())
      return fail(
          fmt::format("every weight in stock pulls harder than {:.0f} N (10 % of the rotor's weight) at {}",
                      most, speed_words(job, job.speeds_rpm.size() - 1)),
          "a lighter weight in the catalogue, or a trial weight named by you");
  }
  const auto away = [&](const SlotChange& one) {
    const RotorAngle angle = job.rotor.planes[one.plane].slots->angle(one.slot);
    if (!towards) return angle.degrees();
    return std::abs(std::remainder(angle.degrees() - towards->degrees(), 360.0));
  };
  return *std::min_element(light.begin(), light.end(), [&](const auto& a, const auto& b) {
    return std::pair(-a.fit->moment_g_mm, away(a)) < std::pair(-b.fit->moment_g_mm, away(b));
  });
}

}  // namespace trimwright
