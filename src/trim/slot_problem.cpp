#include "slot_problem.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numeric>

namespace trimwright {
namespace {

/// Usable slots by rotor angle, so that ties fall alike however the slots are numbered. Angles are rounded
/// first: the same slot may come out a rounding error below 360 in one numbering and at 0 in another.
std::vector<int> slots_by_angle(const SlotRing& ring) {
  std::vector<int> slots;
  for (int slot = 1; slot <= ring.count; ++slot)
    if (ring.usable(slot)) slots.push_back(slot);
  const auto key = [&](int slot) {
    const auto microdegrees = std::llround(ring.angle(slot).degrees() * 1e6);
    return microdegrees % 360000000;
  };
  std::sort(slots.begin(), slots.end(), [&](int a, int b) { return key(a) < key(b); });
  return slots;
}

std::optional<Piece> held(const FittedWeights& fitted, int slot) {
  const auto found = fitted.slots.find(slot);
  return found == fitted.slots.end() ? std::nullopt : std::optional(found->second);
}

int count_fitted(const FittedWeights& fitted, const std::string& id) {
  return static_cast<int>(std::count_if(fitted.slots.begin(), fitted.slots.end(),
                                        [&](const auto& entry) { return entry.second.weight_id == id; }));
}

}  // namespace

SlotCatalogue::SlotCatalogue(const Job& job, const TrimRequest& request, const TrimRows& rows)
    : plane_index_(rows.planes) {
  const auto scaled = scaled_rows(rows, request.penalty);
  problem_.residual = scaled.residual;
  problem_.response = scaled.response;
  problem_.moment_limits = scaled.moment_limits;
  problem_.max_changes = request.max_changes;
  problem_.objective = request.objective;
  for (std::size_t position = 0; position < rows.planes.size(); ++position) add_plane(job, request, position);
}

void SlotCatalogue::add_plane(const Job& job, const TrimRequest& request, std::size_t position) {
  const std::size_t index = plane_index_[position];
  const Plane& plane = job.rotor.planes[index];
  const FittedWeights& fitted = job.fitted_now[index];
  planes_.push_back(plane);
  const int first_piece = static_cast<int>(problem_.in_stock.size());
  for (const auto& weight : plane.weights)
    problem_.in_stock.push_back(weight.stock ? std::optional(*weight.stock - count_fitted(fitted, weight.id))
                                             : std::nullopt);
  const auto piece_index = [&](const std::optional<Piece>& piece) {
    if (!piece || piece->weight_id.empty()) return -1;
    return first_piece + static_cast<int>(plane.find_weight(piece->weight_id) - plane.weights.data());
  };

  for (const int slot : slots_by_angle(*plane.slots)) {
    const auto holds = held(fitted, slot);
    if (holds && request.keep_fitted) continue;
    SearchSlot search{static_cast<int>(position), piece_index(holds), {}};
    Origin origin{index, slot, holds, {}};
    const auto offer = [&](const std::optional<Piece>& piece) {
      if (piece == holds) return;
      search.options.push_back(
          {slot_moment(plane, slot, piece) - slot_moment(plane, slot, holds), piece_index(piece)});
      origin.options.push_back(piece);
    };
    offer(std::nullopt);
    for (const auto& weight : plane.weights) offer(Piece{weight.id, weight.moment_g_mm});
    problem_.slots.push_back(std::move(search));
    origins_.push_back(std::move(origin));
  }
}

std::vector<SlotChange> SlotCatalogue::changes(const SlotChoice& choice) const {
  std::vector<SlotChange> changes;
  for (const auto& change : choice.changes) {
    const auto& origin = origins_[static_cast<std::size_t>(change.slot)];
    changes.push_back(
        {origin.plane, origin.slot, origin.holds, origin.options[static_cast<std::size_t>(change.option)]});
  }
  std::sort(changes.begin(), changes.end(), [](const SlotChange& a, const SlotChange& b) {
    return std::pair(a.plane, a.slot) < std::pair(b.plane, b.slot);
  });
  return changes;
}

Eigen::VectorXcd SlotCatalogue::added_moment(const SlotChoice& choice) const {
  return added_moment(changes(choice));
}

Eigen::VectorXcd SlotCatalogue::added_moment(const std::vector<SlotChange>& changes) const {
  Eigen::VectorXcd added = Eigen::VectorXcd::Zero(static_cast<Eigen::Index>(planes_.size()));
  for (const auto& change : changes) {
    const auto position = static_cast<std::size_t>(
        std::find(plane_index_.begin(), plane_index_.end(), change.plane) - plane_index_.begin());
    assert(position < planes_.size());
    const Plane& plane = planes_[position];
    added(static_cast<Eigen::Index>(position)) +=
        slot_moment(plane, change.slot, change.fit) - slot_moment(plane, change.slot, change.remove);
  }
  return added;
}

}  // namespace trimwright
