#include "walk.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "common_disc.hpp"

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kCandidatesAtOnce = 32768;
constexpr std::size_t kCutsKept = 6;
constexpr int kTightenSteps = 6;
constexpr std::size_t kRowsInCommon = 6;

}  // namespace

NodeRows ShareWalk::rows(std::size_t free) const {
  const Level& level = levels_[free];
  const JointReach* joint = model_.scarce() == 0 || share_->prices.empty() ? nullptr : &tables_.joint();
  return {&level.re, &level.im, &planes_, level.discs.data(), free, &ledger_, joint, &share_->prices};
}

std::size_t ShareWalk::changes_before(std::size_t free) const {
  std::size_t changes = 0;
  for (std::size_t j = 0; j + 1 < free; ++j) changes += share_->counts[j];
  return changes;
}

bool ShareWalk::run(Share& share) {
  share_ = &share;
  planes_ = free_planes(tables_, share);
  const std::size_t free = planes_.size();
  focuses_.clear();
  for (std::size_t j = 0; j < free; ++j) {
    focuses_.emplace_back(model_, *planes_[j].plane, tables_.plane(share.planes[j]).kinds, share.counts[j],
                          share.holds[j].pull, share.prices);
  }
  price_entries();
  if (levels_.size() < free + 1) levels_.resize(free + 1);
  Level& root = levels_[free];
  root.re = model_.residual_re;
  root.im = model_.residual_im;
  root.weights = share.weights;
  root.holds = share.holds;
  root.discs = share.discs;
  root.sum_holds.assign(free, Hold{});
  path_.clear();
  all_at_root_ = false;
  open_low2_ = share.low2;
  const bool finished = set_out(free) ? descend(free) : true;
  share.low2 = std::max(share.low2, finished ? contest_.limit2() : std::min(open_low2_, contest_.limit2()));
  return finished;
}

/// Bounds the node whose rows, weights and multipliers are set; false when nothing below is of interest.
bool ShareWalk::set_out(std::size_t free) {
  ++nodes_;
  Level& level = levels_[free];
  const double prune2 = contest_.prune2();
  if (!model_.least_squares && fixed_rows2(model_, *share_, free, level.re, level.im) > prune2) return false;
  const bool at_root = free == planes_.size();
  tighten(rows(free), model_.least_squares, prune2, at_root ? 0 : kTightenSteps, level.weights, level.holds,
          level.bound);
  if (level.bound.low() > prune2) return false;
  if (!contest_.watches_sum()) return true;
  level.ones = ArrayXd::Ones(level.re.size());
  tighten(rows(free), true, contest_.sum_prune2(), kTightenSteps, level.ones, level.sum_holds,
          level.sum_bound);
  return !(level.sum_bound.low() > contest_.sum_prune2());
}

double ShareWalk::radius_of(const Confined& confined) const {
  return confined.disc.radius(confined.by_sum ? contest_.sum_prune2() : contest_.prune2());
}

/// Of the discs the node's multipliers give for its next plane, the one with the smallest radius.
ShareWalk::Confined ShareWalk::confine(std::size_t free) const {
  const Level& level = levels_[free];
  Confined best{level.bound.held(), false};
  const auto consider = [&](const Confined& other) {
    if (radius_of(other) < radius_of(best)) best = other;
  };
  consider({level.bound.unheld(), false});
  if (contest_.watches_sum()) {
    consider({level.sum_bound.held(), true});
    consider({level.sum_bound.unheld(), true});
  }
  return best;
}

/// All that is known of where the next plane's moment must lie, for skipping partial sums.
Region ShareWalk::region_of(std::size_t free) const {
  Region region;
  if (share_->counts[free - 1] < 2) return region;
  region.watch(focuses_[free - 1].direction());
  const Level& level = levels_[free];
  const auto confine_to = [&](const NextDisc& disc, double prune2) {
    region.confine(disc.centre, disc.radius(prune2));
  };
  confine_to(level.bound.held(), contest_.prune2());
  confine_to(level.bound.unheld(), contest_.prune2());
  if (contest_.watches_sum()) {
    confine_to(level.sum_bound.held(), contest_.sum_prune2());
    confine_to(level.sum_bound.unheld(), contest_.sum_prune2());
  }
  if (free > 1 || model_.least_squares || share_->counts[0] < 3) return region;
  const PlaneModel& plane = *planes_[0].plane;
  const double limit = std::sqrt(contest_.prune2());
  for (Eigen::Index i = 0; i < level.re.size(); ++i) {
    const Complex response(plane.re[i], plane.im[i]);
    const double size = std::abs(response);
    if (size * share_->discs[0].radius <= 1e-6 * limit) continue;
    region.confine(-Complex(level.re[i], level.im[i]) / response, limit / size * (1.0 + 1e-9));
  }
  return region;
}

double ShareWalk::key_at(std::size_t free, Complex u) const {
  const DualBound& bound = levels_[free].bound;
  return std::max(bound.held().at(u), bound.unheld().at(u));
}

/// A lower bound of what is below a sum of the next plane, made of these entries: the other planes must make
/// do with the stock it leaves.
double ShareWalk::priced_key(std::size_t free, Complex u, const std::vector<std::uint32_t>& entries) const {
  double key = levels_[free].bound.priced().at(u);
  double size = std::abs(key);
  for (const std::uint32_t e : entries) {
    const double taken = takes_[free - 1][e];
    key += taken;
    size += std::abs(taken);
  }
  return key - 1e-12 * size;
}

void ShareWalk::price_entries() {
  takes_.assign(planes_.size(), {});
  if (share_->prices.empty()) return;
  for (std::size_t j = 0; j < planes_.size(); ++j) {
    const Kinds& kinds = tables_.plane(share_->planes[j]).kinds;
    const std::vector<double> cost = kind_prices(kinds, share_->prices);
    for (std::size_t e = 0; e < kinds.of_entry.size(); ++e) {
      const std::uint32_t slot = planes_[j].plane->entries[e].slot;
      takes_[j].push_back(cost[kinds.of_entry[e]] - Kinds::cost(kinds.returned[slot], share_->prices));
    }
  }
}

bool ShareWalk::sum_allows(std::size_t free, Complex u) const {
  if (!contest_.watches_sum()) return true;
  const DualBound& bound = levels_[free].sum_bound;
  return std::max(bound.held().at(u), bound.unheld().at(u)) <= contest_.sum_prune2();
}

bool ShareWalk::descend(std::size_t free) {
  if (free == 1) return leaf();
  Level& level = levels_[free];
  level.cuts.clear();
  level.oldest_cut = 0;
  return collect(free);
}

/// Lists the sums of the next plane that the node's bound allows, and follows them, in batches.
bool ShareWalk::collect(std::size_t free) {
  Level& level = levels_[free];
  level.candidates.clear();
  level.entries.clear();
  const Confined confined = confine(free);
  double radius = radius_of(confined);
  const Region region = region_of(free);
  const bool at_root = free == planes_.size();
  const SumQuery query{share_->counts[free - 1], confined.disc.centre, &radius, &region,
                       &focuses_[free - 1],      changes_before(free)};
  const bool listed = visit_sums(
      tables(free), query, ledger_, deadline_, [&](Complex sum, const std::vector<std::uint32_t>& entries) {
        double key = key_at(free, sum);
        if (level.bound.priced().known()) key = std::max(key, priced_key(free, sum, entries));
        if (key > contest_.prune2() || !sum_allows(free, sum)) return true;
        if (!keeps_limits(*planes_[free - 1].plane, sum)) return true;
        level.candidates.push_back({key, sum, static_cast<std::uint32_t>(level.entries.size())});
        level.entries.insert(level.entries.end(), entries.begin(), entries.end());
        if (level.candidates.size() < kCandidatesAtOnce) return true;
        if (!process(free)) return false;
        level.candidates.clear();
        level.entries.clear();
        radius = radius_of(confined);
        return radius >= 0.0;
      });
  if (!listed && deadline_.passed_now()) return false;
  if (effort_left_ == 0) return false;
  all_at_root_ = all_at_root_ || at_root;
  return process(free);
}

/// Follows the listed candidates, most promising first.
bool ShareWalk::process(std::size_t free) {
  Level& level = levels_[free];
  std::sort(level.candidates.begin(), level.candidates.end(), [](const Candidate& a, const Candidate& b) {
    return a.key != b.key ? a.key < b.key : a.entries_at < b.entries_at;
  });
  for (std::size_t c = 0; c < level.candidates.size(); ++c) {
    const Candidate candidate = level.candidates[c];
    const double prune2 = contest_.prune2();
    if (candidate.key > prune2) break;
    const bool cut = std::any_of(level.cuts.begin(), level.cuts.end(),
                                 [&](const NextDisc& disc) { return disc.at(candidate.sum) > prune2; });
    if (cut || !sum_allows(free, candidate.sum)) continue;
    if (free == planes_.size() && all_at_root_)
      open_low2_ = std::max(open_low2_, candidate.key - rounding2(model_));
    if (deadline_.passed() || effort_left_ == 0) return false;
    --effort_left_;
    if (!follow(free, candidate)) return false;
  }
  return true;
}

/// Fixes one sum of the next plane and walks what is below.
bool ShareWalk::follow(std::size_t free, const Candidate& candidate) {
  Level& level = levels_[free];
  Level& child = levels_[free - 1];
  const PlaneModel& plane = *planes_[free - 1].plane;
  const std::size_t n = share_->counts[free - 1];
  const Complex u = candidate.sum;
  child.re = level.re + (plane.re * u.real() - plane.im * u.imag());
  child.im = level.im + (plane.re * u.imag() + plane.im * u.real());
  child.weights = level.weights;
  child.holds.assign(level.holds.begin(), level.holds.end() - 1);
  if (contest_.watches_sum()) child.sum_holds.assign(level.sum_holds.begin(), level.sum_holds.end() - 1);
  for (std::size_t i = 0; i < n; ++i) {
    const std::uint32_t e = level.entries[candidate.entries_at + i];
    path_.push_back({share_->planes[free - 1], e});
    ledger_.fit(plane.entries[e]);
  }
  bool finished = true;
  bool refused = false;  // by the bound, not by stock
  if (confine_to_stock(free - 1)) {
    refused = !set_out(free - 1);
    if (!refused) finished = descend(free - 1);
  }
  for (std::size_t i = 0; i < n; ++i) {
    ledger_.undo(plane.entries[path_.back().entry]);
    path_.pop_back();
  }
  if (refused) learn_cut(free);
  return finished;
}

/// Sets where the moments of the free planes can lie with what is left in stock; false when nowhere.
bool ShareWalk::confine_to_stock(std::size_t free) {
  std::vector<Disc>& discs = levels_[free].discs;
  discs.assign(levels_[free + 1].discs.begin(), levels_[free + 1].discs.end() - 1);
  if (model_.scarce() == 0) return true;
  for (std::size_t j = 0; j < free; ++j) {
    Disc disc = tables_.plane(share_->planes[j]).reach.disc(share_->counts[j], rows(free).obtainable(j));
    for (const Disc& limit : planes_[j].plane->limits) disc = meeting_disc(disc, limit);
    if (disc.radius < 0.0) return false;
    discs[j] = {disc.centre, disc.radius * (1.0 + 1e-9) + 1e-300};
  }
  return true;
}

/// Takes the multipliers that refused a child back to its parent: they refuse its brothers nearby as well.
void ShareWalk::learn_cut(std::size_t free) {
  if (model_.least_squares) return;
  Level& level = levels_[free];
  const Level& child = levels_[free - 1];
  Holds holds = child.holds;
  holds.push_back({});
  scratch_.evaluate(rows(free), child.weights, holds);
  const NextDisc& disc = scratch_.unheld();
  if (level.cuts.size() < kCutsKept) {
    level.cuts.push_back(disc);
  } else {
    level.cuts[level.oldest_cut] = disc;
    level.oldest_cut = (level.oldest_cut + 1) % kCutsKept;
  }
}

bool ShareWalk::row_check(Complex u) const {
  const Level& level = levels_[1];
  const PlaneModel& plane = *planes_[0].plane;
  const double limit2 = contest_.limit2() * (1.0 + 1e-11) + rounding2(model_);
  for (Eigen::Index i = 0; i < level.re.size(); ++i) {
    const double re = level.re[i] + plane.re[i] * u.real() - plane.im[i] * u.imag();
    const double im = level.im[i] + plane.re[i] * u.imag() + plane.im[i] * u.real();
    if (re * re + im * im > limit2) return false;
  }
  return true;
}

/// A disc that holds the last plane's moments at which the rows that are largest at `near` keep the limit.
/// Where the best is nearly reached it is far smaller than those of the quadratic bounds: its size falls with
/// the gap, theirs with its root.
Disc ShareWalk::common_to_rows(Complex near) const {
  const Level& level = levels_[1];
  const PlaneModel& plane = *planes_[0].plane;
  const double limit = std::sqrt(contest_.prune2());
  std::vector<std::pair<double, Disc>> rows;
  for (Eigen::Index i = 0; i < level.re.size(); ++i) {
    const Complex response(plane.re[i], plane.im[i]);
    const double size = std::abs(response);
    if (size * share_->discs[0].radius <= 1e-2 * limit) continue;
    const Complex centre = -Complex(level.re[i], level.im[i]) / response;
    rows.push_back({-size * std::abs(near - centre), {centre, limit / size}});
  }
  const std::size_t used = std::min(rows.size(), kRowsInCommon);
  std::partial_sort(rows.begin(), rows.begin() + static_cast<std::ptrdiff_t>(used), rows.end(),
                    [](const auto& a, const auto& b) { return a.first < b.first; });
  std::vector<Disc> discs;
  for (std::size_t i = 0; i < used; ++i) discs.push_back(rows[i].second);
  return discs.size() < 2 ? Disc{0.0, std::numeric_limits<double>::infinity()} : common_disc(discs);
}

/// The last plane: every sum in the disc is a choice.
bool ShareWalk::leaf() {
  const Confined confined = confine(1);
  Complex centre = confined.disc.centre;
  double radius = radius_of(confined);
  Region region = region_of(1);
  const bool by_rows = !model_.least_squares && share_->counts[0] >= 2;
  if (by_rows) {
    const Disc common = common_to_rows(centre);
    if (common.radius < radius) {
      centre = common.centre;
      radius = common.radius;
      region.confine(centre, radius);
    }
  }
  if (radius < 0.0) return true;
  const auto shrink = [&] {
    radius = std::min(radius, radius_of(confined) + std::abs(confined.disc.centre - centre));
    region = region_of(1);
    if (!by_rows) return;
    const Disc common = common_to_rows(centre);
    if (common.radius < 0.0) radius = -1.0;
    radius = std::min(radius, common.radius + std::abs(common.centre - centre));
    region.confine(common.centre, common.radius);
  };
  const SumQuery query{share_->counts[0], centre, &radius, &region, &focuses_[0], 0};
  return visit_sums(tables(1), query, ledger_, deadline_,
                    [&](Complex sum, const std::vector<std::uint32_t>& entries) {
                      if (effort_left_ == 0) return false;
                      --effort_left_;
                      if (key_at(1, sum) > contest_.prune2() || !sum_allows(1, sum)) return true;
                      if (!model_.least_squares && !row_check(sum)) return true;
                      const double before2 = contest_.limit2();
                      offer(entries);
                      if (contest_.limit2() < before2) {
                        shrink();
                      } else {
                        radius =
                            std::min(radius, radius_of(confined) + std::abs(confined.disc.centre - centre));
                      }
                      return !(contest_.limit2() < 0.0) && radius >= 0.0;
                    }) ||
         contest_.limit2() < 0.0 || radius < 0.0;
}

void ShareWalk::offer(const std::vector<std::uint32_t>& entries) {
  Picks picks = path_;
  for (const std::uint32_t e : entries) picks.push_back({share_->planes[0], e});
  contest_.offer(std::move(picks));
}

}  // namespace trimwright::slots_detail
