#include "descent.hpp"

#include <algorithm>

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kMostTakenOut = 3;
constexpr double kWeightOfSmallRows = 0.05;
constexpr double kAccepted = 1.05;  ///< of the best objective: from there the search goes on

}  // namespace

Descent::Descent(const Model& model, std::size_t changes, Contest& contest, Deadline& deadline)
    : model_(model),
      changes_(changes),
      contest_(contest),
      deadline_(deadline),
      weights_(ArrayXd::Ones(static_cast<Eigen::Index>(model.rows()))) {}

/// Weights of the rows by how large they are.
void Descent::follow_rows(const Picks& picks) {
  if (model_.least_squares) return;
  rows_of(model_, picks, re_, im_);
  const ArrayXd squares = re_.square() + im_.square();
  const double largest = squares.maxCoeff();
  if (largest > 0.0) weights_ = (squares / largest).square() + kWeightOfSmallRows;
}

void Descent::take_out_some(Picks& picks) {
  const std::size_t most = std::min(picks.size(), kMostTakenOut);
  for (std::size_t left = most == 0 ? 0 : 1 + random_() % most; left > 0; --left)
    picks.erase(picks.begin() + static_cast<std::ptrdiff_t>(random_() % picks.size()));
}

/// Adds the change after which the weighted squares are smallest, among those that leave the rules to be kept
/// with the rest of the room. False when none makes them smaller and none is needed.
bool Descent::add_best(Picks& picks, std::size_t room) {
  rows_of(model_, picks, re_, im_);
  Ledger ledger(model_);
  for (const Pick& pick : picks) ledger.fit(model_.entry(pick));
  const double nothing = ledger.balanced() ? 0.0 : std::numeric_limits<double>::infinity();
  double best = nothing;
  Pick chosen;
  for (std::size_t p = 0; p < model_.planes.size(); ++p) {
    const PlaneModel& plane = model_.planes[p];
    // sum w |x + c d|^2 = sum w |x|^2 + 2 Re(g d) + a |d|^2
    const Complex g((weights_ * (re_ * plane.re + im_ * plane.im)).sum(),
                    (weights_ * (re_ * plane.im - im_ * plane.re)).sum());
    const double a = (weights_ * (plane.re.square() + plane.im.square())).sum();
    taken_.assign(plane.slots(), false);
    for (const Pick& pick : picks) {
      if (pick.plane == p) taken_[model_.entry(pick).slot] = true;
    }
    looked_at_ += plane.entries.size();
    for (std::uint32_t e = 0; e < plane.entries.size(); ++e) {
      const Entry& entry = plane.entries[e];
      const Complex d = entry.change;
      const double worse = 2.0 * (g.real() * d.real() - g.imag() * d.imag()) + a * std::norm(d);
      if (!(worse < best) || taken_[entry.slot]) continue;
      ledger.fit(entry);
      if (ledger.can_balance(room - 1)) {
        best = worse;
        chosen = {p, e};
      }
      ledger.undo(entry);
    }
  }
  if (!(best < nothing)) return false;
  picks.push_back(chosen);
  return true;
}

/// Adds changes while that helps; whether the rules of stock and pairs are kept then.
bool Descent::fill(Picks& picks) {
  while (picks.size() < changes_ && add_best(picks, changes_ - picks.size())) {
    if (deadline_.passed()) return false;
  }
  Ledger ledger(model_);
  for (const Pick& pick : picks) ledger.fit(model_.entry(pick));
  return ledger.balanced();
}

void Descent::run(int attempts, std::uint64_t candidates) {
  if (model_.rows() == 0 || model_.planes.empty() || model_.hopeless) return;
  const std::uint64_t end = candidates > ~looked_at_ ? ~std::uint64_t{0} : looked_at_ + candidates;
  Picks current = contest_.best();
  for (int attempt = 0; attempt < attempts && looked_at_ < end && !deadline_.passed(); ++attempt) {
    Picks picks = current;
    follow_rows(picks);
    take_out_some(picks);
    if (!fill(picks)) continue;
    sort_picks(model_, picks);
    if (!keeps_rules(model_, picks)) continue;
    contest_.improve(picks);
    const double value2 = model_.squared(score(model_, picks));
    current = value2 < contest_.best2() * kAccepted * kAccepted ? std::move(picks) : contest_.best();
  }
}

}  // namespace trimwright::slots_detail
