#include "slot_joint.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace trimwright::slots_detail {
namespace {

constexpr double kNone = -std::numeric_limits<double>::infinity();
constexpr int kSteps = 60;

}  // namespace

JointReach::JointReach(const Model& model) : model_(&model) {}

/// The n slots of a plane that are worth most at these prices; what they take beyond what they give back is
/// taken from `spare`, where that is given.
double JointReach::best_of_plane(const FreePlane& plane, Complex pull, const std::vector<double>& prices,
                                 std::vector<double>* spare) const {
  const PlaneModel& model = *plane.plane;
  std::vector<Offer> best(model.slots(), Offer{kNone, 0});
  for (std::uint32_t e = 0; e < model.entries.size(); ++e) {
    const Entry& entry = model.entries[e];
    double value = pull.real() * entry.change.real() + pull.imag() * entry.change.imag();
    for (const int piece : model_->pieces_in(entry.takes)) value -= prices[static_cast<std::size_t>(piece)];
    for (const int piece : model_->pieces_in(entry.returns)) value += prices[static_cast<std::size_t>(piece)];
    if (value > best[entry.slot].value) best[entry.slot] = {value, e};
  }
  const auto end = best.begin() + static_cast<std::ptrdiff_t>(plane.count);
  std::nth_element(best.begin(), end - 1, best.end(),
                   [](const Offer& a, const Offer& b) { return a.value > b.value; });
  double sum = 0.0;
  for (auto offer = best.begin(); offer != end; ++offer) {
    sum += offer->value + 1e-12 * std::abs(offer->value);
    if (spare == nullptr) continue;
    const Entry& entry = model.entries[offer->entry];
    for (const int piece : model_->pieces_in(entry.takes)) (*spare)[static_cast<std::size_t>(piece)] -= 1.0;
    for (const int piece : model_->pieces_in(entry.returns)) (*spare)[static_cast<std::size_t>(piece)] += 1.0;
  }
  return sum;
}

double JointReach::support(const NodeRows& node, const Holds& holds, const std::vector<double>& prices,
                           std::vector<double>* spare) const {
  double sum = 0.0;
  const std::vector<int>& left = node.ledger->left();
  for (std::size_t piece = 0; piece < prices.size(); ++piece) {
    const double paid = prices[piece] * left[piece];
    sum += paid + 1e-12 * std::abs(paid);
  }
  if (spare != nullptr) spare->assign(left.begin(), left.end());
  for (std::size_t j = 0; j < node.free; ++j) {
    sum += best_of_plane((*node.planes)[j], holds[j].pull, prices, spare);
  }
  return sum;
}

std::vector<double> JointReach::settle(const NodeRows& node, const Holds& holds,
                                       std::vector<double> prices) const {
  double highest = 0.0;  // no piece is worth more than the largest difference it makes
  for (std::size_t j = 0; j < node.free; ++j) {
    for (const Entry& entry : node.plane(j).entries)
      highest = std::max(highest, std::abs(holds[j].pull) * std::abs(entry.change));
  }
  std::vector<double> spare;
  std::vector<double> best = prices;
  double least = std::numeric_limits<double>::infinity();
  double step = 0.3 * highest;
  for (int i = 0; i < kSteps; ++i, step *= 0.92) {
    const double now = support(node, holds, prices, &spare);
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
