#include "share.hpp"

#include <algorithm>
#include <numeric>

#include "continuous.hpp"

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kCertificatesKept = 8;
constexpr std::size_t kCutsHandedOn = 24;

/// Where the sum of n changes in a plane can lie; radius negative: nowhere.
Disc disc_of(const PlaneTables& tables, const Ledger& ledger, std::size_t n) {
  std::vector<double> obtainable;
  const std::size_t most = tables.model->max_changes;
  ledger.obtainable(tables.plane, most > n ? most - n : 0, obtainable);
  Disc disc = tables.reach.disc(n, obtainable);
  for (const Disc& limit : tables.plane->limits) disc = meeting_disc(disc, limit);
  return disc;
}

/// Discs about the origin that hold every sum of so many changes, scarce or not.
std::vector<Disc> widest_discs(const Model& model, std::size_t changes) {
  std::vector<Disc> discs;
  for (const PlaneModel& plane : model.planes) {
    std::vector<double> sizes(plane.slots(), 0.0);
    for (const Entry& entry : plane.entries)
      sizes[entry.slot] = std::max(sizes[entry.slot], std::abs(entry.change));
    std::sort(sizes.rbegin(), sizes.rend());
    double radius = 1e-300;
    for (std::size_t n = 0; n < std::min(changes, sizes.size()); ++n) radius += sizes[n];
    discs.push_back({0.0, radius * (1.0 + 1e-9)});
  }
  return discs;
}

bool answers(const PlaneModel& plane) { return (plane.re != 0.0).any() || (plane.im != 0.0).any(); }

/// Calls `use(counts)` for all counts per plane with the given sum and no more than each plane's slots.
template <class Use>
void for_each_composition(const Model& model, std::size_t p, std::size_t left,
                          std::vector<std::size_t>& counts, Use&& use) {
  const std::size_t most = std::min(left, model.planes[p].slots());
  if (p + 1 == model.planes.size()) {
    counts[p] = left;
    if (left == most) use(counts);
    return;
  }
  for (std::size_t n = 0; n <= most; ++n) {
    counts[p] = n;
    for_each_composition(model, p + 1, left - n, counts, use);
  }
}

/// Planes with changes, in the order of the share: silent planes first (so fixed last: they add nothing
/// but choices), then those with most changes.
std::vector<std::size_t> order_planes(const Model& model, const std::vector<std::size_t>& counts) {
  std::vector<std::size_t> order;
  for (std::size_t p = 0; p < counts.size(); ++p) {
    if (counts[p] > 0) order.push_back(p);
  }
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const bool silent_a = !answers(model.planes[a]);
    const bool silent_b = !answers(model.planes[b]);
    if (silent_a != silent_b) return silent_a;
    return counts[a] > counts[b];
  });
  return order;
}

}  // namespace

std::vector<FreePlane> free_planes(const Tables& tables, const Share& share) {
  std::vector<FreePlane> planes;
  for (std::size_t j = 0; j < share.planes.size(); ++j) {
    const PlaneTables& plane = tables.plane(share.planes[j]);
    planes.push_back({plane.plane, &plane.reach, share.counts[j]});
  }
  return planes;
}

std::vector<Share> shares_of(const Model& model, const Tables& tables, std::size_t changes) {
  std::vector<Share> shares;
  std::vector<std::size_t> counts(model.planes.size(), 0);
  if (model.planes.empty() || model.hopeless) return shares;
  const Ledger ledger(model);
  if (!ledger.can_balance(changes)) return shares;
  std::vector<std::vector<Disc>> discs(model.planes.size());  // of each plane, of each number of changes
  for (std::size_t p = 0; p < discs.size(); ++p) {
    for (std::size_t n = 0; n <= std::min(changes, model.planes[p].slots()); ++n)
      discs[p].push_back(disc_of(tables.plane(p), ledger, n));
  }
  for_each_composition(model, 0, changes, counts, [&](const std::vector<std::size_t>& share_counts) {
    Share share;
    std::vector<std::size_t> of_plane;
    for (std::size_t p = 0; p < share_counts.size(); ++p) {
      const auto plane = static_cast<std::size_t>(model.planes[p].problem_plane);
      of_plane.resize(std::max(of_plane.size(), plane + 1), 0);
      of_plane[plane] = share_counts[p];
    }
    if (!model.rules.can_pay(of_plane)) return;
    for (std::size_t p = 0; p < share_counts.size(); ++p) {
      if (share_counts[p] == 0 && !keeps_limits(model.planes[p], 0.0)) return;
      if (ledger.has_rules() && ledger.rules().needed_in(model.planes[p].problem_plane) > share_counts[p])
        return;
    }
    for (const std::size_t p : order_planes(model, share_counts)) {
      const Disc& disc = discs[p][share_counts[p]];
      if (disc.radius < 0.0) return;
      share.planes.push_back(p);
      share.counts.push_back(share_counts[p]);
      share.discs.push_back({disc.centre, disc.radius * (1.0 + 1e-9) + 1e-300});
    }
    shares.push_back(std::move(share));
  });
  return shares;
}

double fixed_rows2(const Model& model, const Share& share, std::size_t free, const ArrayXd& re,
                   const ArrayXd& im) {
  if (re.size() == 0) return 0.0;
  ArrayXd influence = ArrayXd::Zero(re.size());
  for (std::size_t j = 0; j < free; ++j) {
    const PlaneModel& plane = model.planes[share.planes[j]];
    influence += plane.re.abs() + plane.im.abs();
  }
  return (influence == 0.0).select(re.square() + im.square(), 0.0).maxCoeff();
}

TotalBound::TotalBound(const Model& model)
    : model_(model), joint_(model), ledger_(model), prices_(model.scarce(), 0.0), cut_prices_(prices_) {
  for (const PlaneModel& plane : model.planes) planes_.push_back({&plane, nullptr, 0});
}

double TotalBound::low2(const NodeRows& node, const ContinuousOptimum& optimum) {
  if (!(optimum.weights >= 0.0).all() || !optimum.weights.allFinite()) return 0.0;
  DualBound bound;
  bound.evaluate(node, optimum.weights, optimum.holds);
  return std::max(0.0, bound.low() - rounding2(model_));
}

double TotalBound::of_any() {
  if (model_.rows() == 0) return 0.0;
  const std::vector<Disc> discs = widest_discs(model_, model_.max_changes);
  const NodeRows node{&model_.residual_re, &model_.residual_im, &planes_,
                      discs.data(),        planes_.size(),      &ledger_};
  return low2(node,
              continuous_optimum(node, model_.least_squares, 1e-4, 1e-12 * model_.scale * model_.scale, {}));
}

/// A cut that the moments do not keep, or one without directions: sought by stepping towards them through
/// what can be reached (E. G. Gilbert, SIAM J. Control 4, 1966).
JointCut TotalBound::separating(const NodeRows& node, const std::vector<Complex>& moments) {
  constexpr int kMostSteps = 12;
  constexpr int kPriceSteps = 12;
  std::vector<Complex> within(moments.size(), 0.0);
  for (int step = 0; step < kMostSteps; ++step) {
    Holds holds;
    JointCut cut;
    double wanted = 0.0;
    for (std::size_t p = 0; p < moments.size(); ++p) {
      const Complex pull = moments[p] - within[p];
      holds.push_back({0.0, pull});
      cut.direction.push_back(pull);
      wanted += (std::conj(pull) * moments[p]).real();
    }
    cut_prices_ = joint_.settle(node, holds, cut_prices_, kPriceSteps);
    std::vector<Complex> reached;
    cut.height = joint_.support(node, holds, cut_prices_, nullptr, &reached);
    if (cut.height < wanted * (1.0 - 1e-3)) return cut;
    double along = 0.0;
    double length2 = 0.0;
    for (std::size_t p = 0; p < moments.size(); ++p) {
      const Complex move = reached[p] - within[p];
      along += (std::conj(move) * holds[p].pull).real();
      length2 += std::norm(move);
    }
    if (!(along > 0.0)) break;
    const double fraction = std::min(1.0, along / length2);
    for (std::size_t p = 0; p < moments.size(); ++p) within[p] += fraction * (reached[p] - within[p]);
  }
  return {};
}

double TotalBound::of_at_most(std::size_t changes, Deadline& deadline) {
  constexpr int kMostCuts = 40;
  constexpr int kPatience = 4;
  constexpr int kPriceSteps = 12;
  constexpr double kWorthIt = 2e-3;
  if (model_.rows() == 0) return 0.0;
  const std::vector<Disc> discs = widest_discs(model_, changes);
  NodeRows node{&model_.residual_re, &model_.residual_im, &planes_, discs.data(), planes_.size(), &ledger_};
  node.joint = &joint_;
  node.prices = &prices_;
  node.together = changes;
  std::vector<JointCut> cuts;
  for (const std::vector<Complex>& direction : directions_) {
    Holds holds;
    for (const Complex pull : direction) holds.push_back({0.0, pull});
    cuts.push_back({direction, joint_.support(node, holds, cut_prices_)});
  }
  double best = 0.0;
  double marked = 0.0;
  std::vector<Complex> start;
  for (int cut = 0; cut < kMostCuts && !deadline.passed_now(); ++cut) {
    const ContinuousOptimum optimum = continuous_optimum(node, model_.least_squares, 1e-3,
                                                         1e-12 * model_.scale * model_.scale, start, cuts);
    if (!(optimum.weights >= 0.0).all() || !optimum.weights.allFinite()) break;
    start = optimum.moments;
    prices_ = joint_.settle(node, optimum.holds, prices_, kPriceSteps);
    best = std::max(best, low2(node, optimum));
    JointCut next = separating(node, optimum.moments);
    if (next.direction.empty()) break;
    cuts.push_back(std::move(next));
    if ((cut + 1) % kPatience != 0) continue;
    if (!(best > marked * (1.0 + kWorthIt))) break;
    marked = best;
  }
  directions_.clear();
  for (std::size_t c = cuts.size() > kCutsHandedOn ? cuts.size() - kCutsHandedOn : 0; c < cuts.size(); ++c)
    directions_.push_back(cuts[c].direction);
  return best;
}

void CertificatePool::remember(const Model& model, const Share& share) {
  Certificate certificate{share.weights, Holds(model.planes.size()), share.prices};
  for (std::size_t j = 0; j < share.planes.size(); ++j) certificate.holds[share.planes[j]] = share.holds[j];
  known_.insert(known_.begin(), std::move(certificate));
  if (known_.size() > kCertificatesKept) known_.pop_back();
}

/// Whether multipliers of another share already rule this one out.
bool CertificatePool::known_to_fail(NodeRows node, const Model& model, Share& share, double limit2) {
  DualBound bound;
  Holds holds(share.planes.size());
  for (std::size_t c = 0; c < known_.size(); ++c) {
    for (std::size_t j = 0; j < holds.size(); ++j) holds[j] = known_[c].holds[share.planes[j]];
    node.prices = &known_[c].prices;
    bound.evaluate(node, known_[c].weights, holds);
    share.low2 = std::max(share.low2, bound.low() - rounding2(model));
    if (share.low2 <= limit2) continue;
    const auto here = known_.begin() + static_cast<std::ptrdiff_t>(c);
    std::rotate(known_.begin(), here, here + 1);
    return true;
  }
  return false;
}

void CertificatePool::certify(const Model& model, const Tables& tables, Share& share, double limit2) {
  const std::vector<FreePlane> planes = free_planes(tables, share);
  const Ledger ledger(model);
  share.prices.assign(model.scarce(), 0.0);
  const JointReach* joint = model.scarce() == 0 ? nullptr : &tables.joint();
  const NodeRows node{
      &model.residual_re, &model.residual_im, &planes, share.discs.data(), planes.size(), &ledger, joint,
      &share.prices};
  if (!model.least_squares) {
    share.low2 = std::max(share.low2, fixed_rows2(model, share, planes.size(), *node.re, *node.im));
  }
  if (model.rows() == 0) {
    share.holds.assign(planes.size(), {});
    share.certified = true;
    return;
  }
  if (share.low2 > limit2 || known_to_fail(node, model, share, limit2)) return;
  moments_.resize(model.planes.size(), 0.0);
  std::vector<Complex> start;
  for (const std::size_t p : share.planes) start.push_back(moments_[p]);
  ContinuousOptimum optimum =
      continuous_optimum(node, model.least_squares, 1e-4, 1e-12 * model.scale * model.scale, start);
  if (!(optimum.weights >= 0.0).all() || !optimum.weights.allFinite()) {
    optimum.weights.setConstant(model.least_squares ? 1.0 : 1.0 / static_cast<double>(model.rows()));
    optimum.holds.assign(planes.size(), {});
  }
  share.weights = std::move(optimum.weights);
  share.holds = std::move(optimum.holds);
  for (std::size_t j = 0; j < planes.size(); ++j) moments_[share.planes[j]] = optimum.moments[j];
  DualBound bound;
  tighten(node, model.least_squares, std::numeric_limits<double>::infinity(), 0, share.weights, share.holds,
          bound);
  share.low2 = std::max(share.low2, bound.low() - rounding2(model));
  if (joint != nullptr) share_stock(node, model, share, limit2);
  share.certified = true;
  remember(model, share);
}

/// Tightens the certificate of a share whose planes compete for scarce pieces: while the planes together
/// cannot follow the pulls, what they can do together becomes one more side of the continuous problem.
void CertificatePool::share_stock(NodeRows node, const Model& model, Share& share, double limit2) {
  constexpr int kMostCuts = 6;
  constexpr double kWorthIt = 1e-3;
  Share trial = share;
  node.prices = &trial.prices;
  std::vector<JointCut> cuts;
  std::vector<Complex> start;
  for (int round = 0; round < kMostCuts && !(share.low2 > limit2); ++round) {
    trial.prices = node.joint->settle(node, trial.holds, trial.prices);
    DualBound bound;
    bound.evaluate(node, trial.weights, trial.holds);
    const double low2 = bound.low() - rounding2(model);
    const double before = share.low2;
    if (low2 > share.low2) {
      share.low2 = low2;
      share.weights = trial.weights;
      share.holds = trial.holds;
      share.prices = trial.prices;
    }
    double supports = 0.0;
    JointCut cut;
    for (std::size_t j = 0; j < node.free; ++j) {
      cut.direction.push_back(trial.holds[j].pull);
      if (trial.holds[j].pull != 0.0) supports += node.support(j, trial.holds[j].pull);
    }
    cut.height = node.joint->support(node, trial.holds, trial.prices);
    if (!(cut.height < supports * (1.0 - kWorthIt))) return;
    if (round > 1 && !(share.low2 > before * (1.0 + kWorthIt))) return;
    cuts.push_back(std::move(cut));
    const ContinuousOptimum optimum =
        continuous_optimum(node, model.least_squares, 1e-4, 1e-12 * model.scale * model.scale, start, cuts);
    if (!(optimum.weights >= 0.0).all() || !optimum.weights.allFinite()) return;
    trial.weights = optimum.weights;
    trial.holds = optimum.holds;
    start = optimum.moments;
  }
}

}  // namespace trimwright::slots_detail
