#include "joint.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace trimwright::slots_detail {
JointReach::JointReach(const Model& model) {
  for (const PlaneModel& plane : model.planes) {
    kinds_.emplace_back(model, plane);
    double largest = 0.0;
    for (const Entry& entry : plane.entries) largest = std::max(largest, std::abs(entry.change));
    largest_change_.push_back(largest);
  }
}

/// Adds what the best option of a slot takes and gives back, and its change.
void JointReach::tell(const NodeRows& node, std::size_t j, Complex pull, std::size_t slot,
                      const std::vector<double>& prices, const Wanted& wanted) const {
  const PlaneModel& plane = node.plane(j);
  const Kinds& kinds = kinds_[plane.index];
  std::uint32_t best = plane.slot_begin[slot];
  double most = kNone;
  for (std::uint32_t e = best; e < plane.slot_begin[slot + 1]; ++e) {
    const Complex change = plane.entries[e].change;
    const double value = pull.real() * change.real() + pull.imag() * change.imag() -
                         Kinds::cost(kinds.needs[kinds.of_entry[e]], prices);
    if (!(value > most)) continue;
    most = value;
    best = e;
  }
  if (wanted.moments != nullptr) (*wanted.moments)[j] += plane.entries[best].change;
  if (wanted.spare == nullptr) return;
  for (const Need& need : kinds.needs[kinds.of_entry[best]]) (*wanted.spare)[need.of] -= need.amount;
  for (const Need& need : kinds.returned[slot]) (*wanted.spare)[need.of] += need.amount;
}

/// The sum of the best offers of all planes, none below zero, and where they stand.
double JointReach::best_together(const NodeRows& node, const std::vector<ArrayXd>& best,
                                 std::vector<std::vector<std::size_t>>& slots) const {
  Eigen::Index size = 0;
  for (const ArrayXd& of_plane : best) size += of_plane.size();
  ArrayXd all(size);
  Eigen::Index end = 0;
  for (const ArrayXd& of_plane : best) {
    all.segment(end, of_plane.size()) = of_plane;
    end += of_plane.size();
  }
  double sum = 0.0;
  for (std::size_t at : largest_of(all, node.together)) {
    const double value = all[static_cast<Eigen::Index>(at)];
    if (!(value > 0.0)) break;
    sum += value * (1.0 + 1e-12);
    std::size_t j = 0;
    for (; at >= static_cast<std::size_t>(best[j].size()); ++j)
      at -= static_cast<std::size_t>(best[j].size());
    slots[j].push_back(at);
  }
  return sum;
}

/// `best`: what the slots of each free plane offer at these prices.
double JointReach::support_at(const NodeRows& node, const Holds& holds, const std::vector<ArrayXd>& best,
                              const std::vector<double>& prices, const Wanted& wanted) const {
  double sum = 0.0;
  std::vector<double> left;
  node.ledger->left(left);
  for (std::size_t k = 0; k < prices.size(); ++k) {
    const double paid = prices[k] * left[k];
    sum += paid + 1e-12 * std::abs(paid);
  }
  std::vector<std::vector<std::size_t>> slots(node.free);
  for (std::size_t j = 0; j < node.free; ++j) {
    if (node.together > 0) continue;
    if (wanted.others != nullptr && j + 1 == node.free) *wanted.others = sum;
    slots[j] = largest_of(best[j], (*node.planes)[j].count);
    for (const std::size_t s : slots[j]) {
      const double value = best[j][static_cast<Eigen::Index>(s)];
      sum += value + 1e-12 * std::abs(value);
    }
  }
  if (node.together > 0) sum += best_together(node, best, slots);
  if (wanted.spare != nullptr) *wanted.spare = left;
  if (wanted.moments != nullptr) wanted.moments->assign(node.free, 0.0);
  if (wanted.spare == nullptr && wanted.moments == nullptr) return sum;
  for (std::size_t j = 0; j < node.free; ++j) {
    for (const std::size_t s : slots[j]) tell(node, j, holds[j].pull, s, prices, wanted);
  }
  return sum;
}

double JointReach::support(const NodeRows& node, const Holds& holds, const std::vector<double>& prices,
                           std::vector<double>* spare, std::vector<Complex>* moments, double* others) const {
  std::vector<ArrayXd> best;
  for (std::size_t j = 0; j < node.free; ++j)
    best.push_back(best_offers(kinds_[node.plane(j).index], holds[j].pull, prices));
  return support_at(node, holds, best, prices, {spare, moments, others});
}

std::vector<double> JointReach::settle(const NodeRows& node, const Holds& holds, std::vector<double> prices,
                                       int steps) const {
  double highest = 0.0;  // the largest difference that anything makes
  for (std::size_t j = 0; j < node.free; ++j) {
    highest = std::max(highest, std::abs(holds[j].pull) * largest_change_[node.plane(j).index]);
  }
  std::vector<SlotValues> values;
  for (std::size_t j = 0; j < node.free; ++j) values.emplace_back(kinds_[node.plane(j).index], holds[j].pull);
  std::vector<ArrayXd> offers(node.free);
  std::vector<double> spare;
  std::vector<double> best = prices;
  double least = std::numeric_limits<double>::infinity();
  double step = 0.3 * highest;
  const double shrink = std::pow(0.0067, 1.0 / static_cast<double>(steps));
  for (int i = 0; i < steps; ++i, step *= shrink) {
    for (std::size_t j = 0; j < node.free; ++j) offers[j] = values[j].best_at(prices);
    const double now = support_at(node, holds, offers, prices, {&spare, nullptr, nullptr});
    if (now < least) {
      least = now;
      best = prices;
    }
    double norm2 = 0.0;
    for (std::size_t k = 0; k < prices.size(); ++k) {
      if (prices[k] <= 0.0 && spare[k] > 0.0) spare[k] = 0.0;
      norm2 += spare[k] * spare[k];
    }
    if (norm2 == 0.0) break;  // nothing is wanted that is not there: as good as it gets
    const double length = step / std::sqrt(norm2);
    for (std::size_t k = 0; k < prices.size(); ++k) prices[k] = std::max(0.0, prices[k] - length * spare[k]);
  }
  return best;
}

}  // namespace trimwright::slots_detail
