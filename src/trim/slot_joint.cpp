#include "slot_joint.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace trimwright::slots_detail {
namespace {

constexpr double kNone = -std::numeric_limits<double>::infinity();

}  // namespace

JointReach::JointReach(const Model& model) : model_(&model) {}

/// What each slot of a plane is worth at these prices.
void JointReach::add_offers(const NodeRows& node, std::size_t j, Complex pull,
                            const std::vector<double>& prices, std::vector<Offer>& offers) const {
  const PlaneModel& plane = node.plane(j);
  const std::size_t first = offers.size();
  offers.resize(first + plane.slots(), Offer{kNone, nullptr, j});
  for (const Entry& entry : plane.entries) {
    double value = pull.real() * entry.change.real() + pull.imag() * entry.change.imag();
    for (const int piece : model_->pieces_in(entry.takes)) value -= prices[static_cast<std::size_t>(piece)];
    for (const int piece : model_->pieces_in(entry.returns)) value += prices[static_cast<std::size_t>(piece)];
    Offer& offer = offers[first + entry.slot];
    if (value > offer.value) offer = {value, &entry, j};
  }
}

/// The sum of the best; what they take beyond what they give back is taken from `spare`, where that is given.
double JointReach::take_best(std::vector<Offer>& offers, std::size_t most, std::vector<double>* spare,
                             std::vector<Complex>* moments) const {
  const auto end = offers.begin() + static_cast<std::ptrdiff_t>(std::min(most, offers.size()));
  if (end == offers.begin()) return 0.0;
  std::nth_element(offers.begin(), end - 1, offers.end(),
                   [](const Offer& a, const Offer& b) { return a.value > b.value; });
  double sum = 0.0;
  for (auto offer = offers.begin(); offer != end; ++offer) {
    sum += offer->value + 1e-12 * std::abs(offer->value);
    if (moments != nullptr && offer->entry != nullptr) (*moments)[offer->plane] += offer->entry->change;
    if (spare == nullptr || offer->entry == nullptr) continue;
    for (const int piece : model_->pieces_in(offer->entry->takes))
      (*spare)[static_cast<std::size_t>(piece)] -= 1.0;
    for (const int piece : model_->pieces_in(offer->entry->returns))
      (*spare)[static_cast<std::size_t>(piece)] += 1.0;
  }
  return sum;
}

double JointReach::support(const NodeRows& node, const Holds& holds, const std::vector<double>& prices,
                           std::vector<double>* spare, std::vector<Complex>* moments) const {
  double sum = 0.0;
  if (moments != nullptr) moments->assign(node.free, 0.0);
  const std::vector<int>& left = node.ledger->left();
  for (std::size_t piece = 0; piece < prices.size(); ++piece) {
    const double paid = prices[piece] * left[piece];
    sum += paid + 1e-12 * std::abs(paid);
  }
  if (spare != nullptr) spare->assign(left.begin(), left.end());
  std::vector<Offer> offers;
  for (std::size_t j = 0; j < node.free; ++j) {
    add_offers(node, j, holds[j].pull, prices, offers);
    if (node.together > 0) continue;
    sum += take_best(offers, (*node.planes)[j].count, spare, moments);
    offers.clear();
  }
  if (node.together == 0) return sum;
  for (Offer& offer : offers) {
    if (offer.value < 0.0) offer = {0.0, nullptr, 0};
  }
  return sum + take_best(offers, node.together, spare, moments);
}

std::vector<double> JointReach::settle(const NodeRows& node, const Holds& holds, std::vector<double> prices,
                                       int steps) const {
  double highest = 0.0;  // no piece is worth more than the largest difference it makes
  for (std::size_t j = 0; j < node.free; ++j) {
    for (const Entry& entry : node.plane(j).entries)
      highest = std::max(highest, std::abs(holds[j].pull) * std::abs(entry.change));
  }
  std::vector<double> spare;
  std::vector<double> best = prices;
  double least = std::numeric_limits<double>::infinity();
  double step = 0.3 * highest;
  const double shrink = std::pow(0.0067, 1.0 / static_cast<double>(steps));
  for (int i = 0; i < steps; ++i, step *= shrink) {
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
