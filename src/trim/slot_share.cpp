#include "slot_share.hpp"

#include <algorithm>
#include <numeric>

#include "slot_continuous.hpp"

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kCertificatesKept = 8;

/// Where the sum of n changes in a plane can lie; radius negative: nowhere.
Disc disc_of(const PlaneTables& tables, std::size_t n) {
  Disc disc = tables.reach.disc(n);
  for (const Disc& limit : tables.plane->limits) disc = meeting_disc(disc, limit);
  return disc;
}

bool answers(const PlaneModel& plane) {
  return (plane.re != 0.0).any() || (plane.im != 0.0).any();
}

/// Calls `use(counts)` for all counts per plane with the given sum and no more than each plane's slots.
template <class Use>
void for_each_composition(const Model& model, std::size_t p, std::size_t left, std::vector<std::size_t>& counts,
                          Use&& use) {
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

std::vector<const PlaneModel*> planes_of(const Model& model, const Share& share) {
  std::vector<const PlaneModel*> planes;
  for (const std::size_t p : share.planes) planes.push_back(&model.planes[p]);
  return planes;
}

}  // namespace

std::vector<Share> shares_of(const Model& model, const Tables& tables, std::size_t changes) {
  std::vector<Share> shares;
  std::vector<std::size_t> counts(model.planes.size(), 0);
  if (model.planes.empty() || model.hopeless) return shares;
  for_each_composition(model, 0, changes, counts, [&](const std::vector<std::size_t>& share_counts) {
    Share share;
    for (std::size_t p = 0; p < share_counts.size(); ++p) {
      if (share_counts[p] == 0 && !keeps_limits(model.planes[p], 0.0)) return;
    }
    for (const std::size_t p : order_planes(model, share_counts)) {
      const Disc disc = disc_of(tables.plane(p), share_counts[p]);
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

void CertificatePool::remember(const Model& model, const Share& share) {
  Certificate certificate{share.weights, std::vector<double>(model.planes.size(), 0.0)};
  for (std::size_t j = 0; j < share.planes.size(); ++j) certificate.mu[share.planes[j]] = share.mu[j];
  known_.insert(known_.begin(), std::move(certificate));
  if (known_.size() > kCertificatesKept) known_.pop_back();
}

void CertificatePool::certify(const Model& model, Share& share, double limit2) {
  const std::vector<const PlaneModel*> planes = planes_of(model, share);
  const NodeRows node{&model.residual_re, &model.residual_im, &planes, share.discs.data(), planes.size()};
  DualBound bound;
  if (!model.least_squares) {
    share.low2 = std::max(share.low2, fixed_rows2(model, share, planes.size(), *node.re, *node.im));
  }
  share.mu.assign(planes.size(), 0.0);
  for (std::size_t c = 0; c < known_.size() && share.low2 <= limit2; ++c) {
    for (std::size_t j = 0; j < planes.size(); ++j) share.mu[j] = known_[c].mu[share.planes[j]];
    bound.evaluate(node, known_[c].weights, share.mu);
    share.low2 = std::max(share.low2, bound.low() - rounding2(model));
    if (share.low2 > limit2) std::rotate(known_.begin(), known_.begin() + static_cast<std::ptrdiff_t>(c),
                                         known_.begin() + static_cast<std::ptrdiff_t>(c) + 1);
  }
  if (share.low2 > limit2) return;
  const double rows = static_cast<double>(model.rows());
  if (model.least_squares) {
    share.weights = ArrayXd::Ones(model.residual_re.size());
    share.mu.assign(planes.size(), 0.0);
  } else {
    moments_.resize(model.planes.size(), 0.0);
    std::vector<Complex> start;
    for (const std::size_t p : share.planes) start.push_back(moments_[p]);
    ContinuousOptimum optimum = continuous_optimum(node, 1e-4, 1e-12 * model.scale * model.scale, start);
    share.weights = std::move(optimum.weights);
    share.mu = std::move(optimum.mu);
    for (std::size_t j = 0; j < planes.size(); ++j) moments_[share.planes[j]] = optimum.moments[j];
  }
  if (!share.weights.allFinite()) {
    share.weights = ArrayXd::Constant(model.residual_re.size(), 1.0 / rows);
    share.mu.assign(planes.size(), 0.0);
  }
  tighten(node, model.least_squares, std::numeric_limits<double>::infinity(), model.least_squares ? 20 : 0,
          share.weights, share.mu, bound);
  share.low2 = std::max(share.low2, bound.low() - rounding2(model));
  share.certified = true;
  remember(model, share);
}

}  // namespace trimwright::slots_detail
