#include "trial_weights.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <tuple>

#include "base/free_fall.hpp"

namespace trimwright {
namespace {

std::vector<std::size_t> every_plane(const Rotor& rotor) {
  std::vector<std::size_t> planes(rotor.planes.size());
  std::iota(planes.begin(), planes.end(), std::size_t{0});
  return planes;
}

Result<std::vector<const Weight*>> weights_in_stock(const Job& job, std::size_t index,
                                                    const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[index];
  const auto in_stock = [&](const Weight& weight) {
    return left_in_stock(plane, job.fitted_now[index], weight).value_or(1) > 0;
  };
  std::vector<const Weight*> weights;
  if (choice.weight_id) {
    const auto piece = catalogue_piece(plane, *choice.weight_id);
    if (!piece) return tl::unexpected(piece.error());
    weights = {catalogue_weight(plane, *piece)};
    if (!in_stock(*weights.front()))
      return fail("no piece of weight \"" + piece->weight_id + "\" is left in stock", "a weight in stock");
    return weights;
  }
  for (const auto& weight : plane.weights)
    if (in_stock(weight)) weights.push_back(&weight);
  if (weights.empty())
    return fail("no weight of plane \"" + plane.name + "\" is left in stock", "a weight in stock");
  return weights;
}

Result<std::vector<int>> free_slots(const Job& job, std::size_t index, const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[index];
  if (choice.slot) {
    if (auto usable = check_slot(plane, *choice.slot); !usable) return tl::unexpected(usable.error());
    return std::vector{*choice.slot};
  }
  std::vector<int> slots;
  for (int slot = 1; slot <= plane.slots->count; ++slot)
    if (plane.slots->usable(slot) && !job.fitted_now[index].slots.contains(slot)) slots.push_back(slot);
  if (slots.empty())
    return fail("every usable slot of plane \"" + plane.name + "\" holds a weight", "a slot named by you");
  return slots;
}

/// Centrifugal force of a moment [N].
double force_newton(double moment_g_mm, double rpm) {
  const double omega = 2.0 * std::numbers::pi * rpm / 60.0;
  return moment_g_mm * 1e-6 * omega * omega;  // kg m times rad^2/s^2
}

}  // namespace

TrialCandidate candidate_of(const Job& job, const SlotChange& change) {
  TrialCandidate candidate{change, force_newton(change.fit->moment_g_mm, job.speeds_rpm.back()), {}, {}, {},
                           {}};
  if (job.rotor.mass_kg) candidate.force_share = candidate.force_n / (*job.rotor.mass_kg * free_fall);
  return candidate;
}

Result<std::vector<SlotChange>> trial_changes(const Job& job, std::size_t plane_index,
                                              const TrialChoice& choice, FittingLimits limits) {
  const Plane& plane = job.rotor.planes[plane_index];
  if (!plane.slots || plane.weights.empty())
    return fail("plane \"" + plane.name + "\" has no slots or no catalogue",
                "a plane with slots and weights");
  const auto slots = free_slots(job, plane_index, choice);
  if (!slots) return tl::unexpected(slots.error());
  const auto weights = weights_in_stock(job, plane_index, choice);
  if (!weights) return tl::unexpected(weights.error());
  if (limits.planes.empty()) limits.planes = every_plane(job.rotor);
  std::vector<SlotChange> changes;
  std::optional<Error> broken;
  for (const int slot : *slots)
    for (const Weight* weight : *weights) {
      const SlotChange change{plane_index, slot, held(job.fitted_now[plane_index], slot),
                              Piece{weight->id, weight->moment_g_mm}};
      const auto then = fitted_after(job, {change});
      if (const auto kept = check_fitting(job.rotor, limits, job.fitted_now, then); !kept) {
        broken = kept.error();
      } else if (change.remove != change.fit) {
        changes.push_back(change);
      }
    }
  if (!changes.empty()) return changes;
  if (broken) return fail("no such trial weight is allowed: " + broken->what, broken->expected);
  return fail("the slot holds that weight already", "another slot or weight");
}

std::vector<std::size_t> speeds_above_limit(const Job& job) {
  std::vector<std::size_t> speeds;
  for (const auto& finding : readiness(job).findings)
    if (finding.concern == ReadinessConcern::above_limit &&
        std::find(speeds.begin(), speeds.end(), *finding.speed) == speeds.end())
      speeds.push_back(*finding.speed);
  return speeds;
}

std::complex<double> moment_added(const Job& job, const SlotChange& change) {
  const Plane& plane = job.rotor.planes[change.plane];
  return slot_moment(plane, change.slot, change.fit) - slot_moment(plane, change.slot, change.remove);
}

Result<SlotChange> by_force(const Job& job, const std::vector<SlotChange>& changes,
                            const TrialChoice& choice) {
  std::vector<SlotChange> light = changes;
  if (!choice.weight_id) {
    if (!job.rotor.mass_kg)
      return fail("the trial weight cannot be advised: the rotor's mass is not known",
                  "mass in the rotor file, or a weight named by you, that the manual allows (--plane \"" +
                      job.rotor.planes[changes.front().plane].name + "\" --weight \"" +
                      changes.front().fit->weight_id + "\")");
    std::erase_if(light, [&](const SlotChange& one) {
      return *candidate_of(job, one).force_share > trial_force_share;
    });
    if (light.empty())
      return fail(
          fmt::format(
              "every weight in stock pulls harder than {:.0f} N ({:.0f} % of the rotor's weight) at {}",
              trial_force_share * *job.rotor.mass_kg * free_fall, 100.0 * trial_force_share,
              speed_words(job, job.speeds_rpm.size() - 1)),
          "a lighter weight in the catalogue, or a trial weight named by you");
  }
  const auto angle = [&](const SlotChange& one) {
    return job.rotor.planes[one.plane].slots->angle(one.slot).degrees();
  };
  return *std::min_element(light.begin(), light.end(), [&](const auto& a, const auto& b) {
    return std::pair(-a.fit->moment_g_mm, angle(a)) < std::pair(-b.fit->moment_g_mm, angle(b));
  });
}

SlotChange by_headroom(const Job& job, const std::vector<SlotChange>& changes,
                       const std::vector<KnownEffect>& effects, std::complex<double> wanted) {
  const auto judged = [&](const SlotChange& one) {
    const auto added = moment_added(job, one);
    const double share = headroom_share(effects, added), size = std::abs(added) / std::abs(wanted);
    const bool fits = share <= trial_headroom_share && size <= 1.0;
    const double degrees = job.rotor.planes[one.plane].slots->angle(one.slot).degrees();
    const double away = std::abs(std::remainder(degrees - RotorAngle::of(wanted).degrees(), 360.0));
    return std::tuple(!fits, fits ? -size : std::max(share / trial_headroom_share, size), away);
  };
  return *std::min_element(changes.begin(), changes.end(),
                           [&](const auto& a, const auto& b) { return judged(a) < judged(b); });
}

}  // namespace trimwright
