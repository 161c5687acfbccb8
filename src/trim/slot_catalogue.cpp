#include "slot_catalogue.hpp"

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
  if (request.max_pieces) add_budget({}, *request.max_pieces, piece_count);
}

void SlotCatalogue::add_stock(const Plane& plane, const FittedWeights& fitted) {
  first_piece_.push_back(static_cast<int>(problem_.in_stock.size()));
  for (const auto& weight : plane.weights) {
    std::optional<int> left;
    if (weight.stack_of.empty() && weight.stock)
      left = *weight.stock - pieces_fitted(plane, fitted, weight.id);
    problem_.in_stock.push_back(left);
  }
}

/// Indices into the stock of the pieces a slot then holds; pieces of no catalogue come behind the stock.
std::vector<int> SlotCatalogue::pieces_of(std::size_t position, const std::optional<Piece>& content) {
  constexpr int kForeign = 1'000'000'000;
  if (!content) return {};
  const Plane& plane = planes_[position];
  const Weight* weight = catalogue_weight(plane, content);
  if (weight == nullptr) {
    const auto known = std::find(foreign_.begin(), foreign_.end(), content->moment_g_mm);
    const auto number = static_cast<int>(known - foreign_.begin());
    if (known == foreign_.end()) foreign_.push_back(content->moment_g_mm);
    return {kForeign + number};
  }
  const auto index = [&](const std::string& id) {
    return first_piece_[position] + static_cast<int>(plane.find_weight(id) - plane.weights.data());
  };
  if (weight->stack_of.empty()) return {index(weight->id)};
  std::vector<int> pieces;
  for (const auto& id : weight->stack_of) pieces.push_back(index(id));
  return pieces;
}

void SlotCatalogue::add_plane(const Job& job, const TrimRequest& request, std::size_t position) {
  const Plane& plane = job.rotor.planes[plane_index_[position]];
  planes_.push_back(plane);
  add_stock(plane, job.fitted_now[plane_index_[position]]);
  for (const int slot : slots_by_angle(*plane.slots)) add_slot(job, request, position, slot);
  add_pairs(position, plane.rules.apart, PairRule::apart);
  add_pairs(position, plane.rules.together, PairRule::together);
  add_pairs(position, plane.rules.alike, PairRule::alike);
  add_plane_budgets(position);
}

void SlotCatalogue::add_slot(const Job& job, const TrimRequest& request, std::size_t position, int slot) {
  const std::size_t index = plane_index_[position];
  const Plane& plane = planes_[position];
  const auto holds = held(job.fitted_now[index], slot);
  SearchSlot search{
      static_cast<int>(position), pieces_of(position, holds), {}, !allowed_in(plane, slot, holds)};
  Origin origin{index, slot, holds, {}};
  const auto offer = [&](const std::optional<Piece>& content) {
    if (content == holds || !allowed_in(plane, slot, content)) return;
    search.options.push_back(
        {slot_moment(plane, slot, content) - slot_moment(plane, slot, holds), pieces_of(position, content)});
    origin.options.push_back(content);
  };
  if (!holds || !request.keep_fitted) {
    offer(std::nullopt);
    for (const auto& weight : plane.weights) offer(Piece{weight.id, weight.moment_g_mm});
  }
  problem_.slots.push_back(std::move(search));
  origins_.push_back(std::move(origin));
}

/// Where a slot of a plane stands in the problem; an unusable one is added as it is named: it holds no
/// weight.
int SlotCatalogue::index_of(std::size_t position, int slot) {
  const auto found = std::find_if(origins_.begin(), origins_.end(), [&](const Origin& origin) {
    return origin.plane == plane_index_[position] && origin.slot == slot;
  });
  if (found != origins_.end()) return static_cast<int>(found - origins_.begin());
  problem_.slots.push_back({static_cast<int>(position), {}, {}, false});
  origins_.push_back({plane_index_[position], slot, {}, {}});
  return static_cast<int>(origins_.size()) - 1;
}

void SlotCatalogue::add_pairs(std::size_t position, const PlaneRules::Pairs& pairs, PairRule rule) {
  for (const auto& [first, second] : pairs)
    problem_.pairs.push_back({index_of(position, first), index_of(position, second), rule});
}

void SlotCatalogue::add_plane_budgets(std::size_t position) {
  const PlaneRules& rules = planes_[position].rules;
  if (rules.max_pieces) add_budget(position, *rules.max_pieces, piece_count);
  if (rules.max_mass_g) add_budget(position, *rules.max_mass_g, mass_of);
}

/// What the usable slots of one plane, or of all so far, hold: at most `limit` of `amount(plane, content)`.
template <class Amount>
void SlotCatalogue::add_budget(std::optional<std::size_t> position, double limit, Amount amount) {
  SlotBudget budget;
  budget.limit = limit;
  for (std::size_t s = 0; s < origins_.size(); ++s) {
    const auto here = static_cast<std::size_t>(problem_.slots[s].plane);
    if (!planes_[here].slots->usable(origins_[s].slot) || (position && *position != here)) continue;
    SlotBudget::Term term{static_cast<int>(s), amount(planes_[here], origins_[s].holds), {}};
    for (const auto& option : origins_[s].options) term.options.push_back(amount(planes_[here], option));
    budget.terms.push_back(std::move(term));
  }
  problem_.budgets.push_back(std::move(budget));
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
