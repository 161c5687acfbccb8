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
constexpr std::size_t kManyLeaves = 16;
constexpr std::size_t kManyNodes = 64;
constexpr std::size_t kMostBlocks = 64;
constexpr std::size_t kFirstLeaves = 64;
constexpr std::size_t kLargestLot = 1024;
constexpr std::uint64_t kWorthThreads = 50;  ///< nodes of a share, a millisecond or two

}  // namespace

NodeRows ShareWalk::rows(std::size_t free) const {
  const Node& node = levels_[free].node;
  const JointReach* joint = model_.scarce() == 0 || share().prices.empty() ? nullptr : &tables_.joint();
  return {&node.re, &node.im, &outset_->planes, node.discs.data(), free, &ledger_, joint, &share().prices};
}

std::size_t ShareWalk::changes_before(std::size_t free) const {
  std::size_t changes = 0;
  for (std::size_t j = 0; j + 1 < free; ++j) changes += share().counts[j];
  return changes;
}

bool ShareWalk::run(Share& share) {
  const std::size_t tables_only = patience_.accounts();
  Outset outset{&share, free_planes(tables_, share), {}, {}};
  const std::size_t free = outset.planes.size();
  for (std::size_t j = 0; j < free; ++j) {
    outset.focuses.emplace_back(model_, *outset.planes[j].plane, tables_.plane(share.planes[j]).kinds,
                                share.counts[j], share.holds[j].pull, share.prices, patience_);
  }
  outset.takes = priced_entries(outset);
  outset_ = &outset;
  if (levels_.size() < free + 1) levels_.resize(free + 1);
  Node& root = levels_[free].node;
  root.re = model_.residual_re;
  root.im = model_.residual_im;
  root.weights = share.weights;
  root.holds = share.holds;
  root.discs = share.discs;
  root.sum_holds.assign(free, Hold{});
  path_.clear();
  nodes_ = 0;
  all_at_root_ = false;
  open_low2_ = share.low2;
  const bool finished = set_out(free) ? descend(free) : true;
  share.low2 = std::max(share.low2, finished ? contest_.limit2() : std::min(open_low2_, contest_.limit2()));
  patience_.keep(tables_only);
  return finished;
}

/// Bounds the node whose rows, weights and multipliers are set; false when nothing below is of interest.
bool ShareWalk::set_out(std::size_t free) {
  ++nodes_;
  Node& node = levels_[free].node;
  const double prune2 = contest_.prune2();
  if (!model_.least_squares && fixed_rows2(model_, share(), free, node.re, node.im) > prune2) return false;
  const bool at_root = is_root(free);
  tighten(rows(free), model_.least_squares, prune2, at_root ? 0 : kTightenSteps, node.weights, node.holds,
          node.bound);
  if (node.bound.low() > prune2) return false;
  if (!contest_.watches_sum()) return true;
  node.ones = ArrayXd::Ones(node.re.size());
  tighten(rows(free), true, contest_.sum_prune2(), kTightenSteps, node.ones, node.sum_holds, node.sum_bound);
  return !(node.sum_bound.low() > contest_.sum_prune2());
}

double ShareWalk::radius_of(const Confined& confined) const {
  return confined.disc.radius(confined.by_sum ? contest_.sum_prune2() : contest_.prune2());
}

/// Of the discs the node's multipliers give for its next plane, the one with the smallest radius.
ShareWalk::Confined ShareWalk::confine(std::size_t free) const {
  const Node& node = levels_[free].node;
  Confined best{node.bound.held(), false};
  const auto consider = [&](const Confined& other) {
    if (radius_of(other) < radius_of(best)) best = other;
  };
  consider({node.bound.unheld(), false});
  if (contest_.watches_sum()) {
    consider({node.sum_bound.held(), true});
    consider({node.sum_bound.unheld(), true});
  }
  return best;
}

/// All that is known of where the next plane's moment must lie, for skipping partial sums.
Region ShareWalk::region_of(std::size_t free) const {
  Region region;
  if (share().counts[free - 1] < 2) return region;
  region.watch(outset_->focuses[free - 1].direction());
  const Node& node = levels_[free].node;
  const auto confine_to = [&](const NextDisc& disc, double prune2) {
    region.confine(disc.centre, disc.radius(prune2));
  };
  confine_to(node.bound.held(), contest_.prune2());
  confine_to(node.bound.unheld(), contest_.prune2());
  if (contest_.watches_sum()) {
    confine_to(node.sum_bound.held(), contest_.sum_prune2());
    confine_to(node.sum_bound.unheld(), contest_.sum_prune2());
  }
  if (free > 1 || model_.least_squares || share().counts[0] < 3) return region;
  const PlaneModel& last = *plane(0).plane;
  const double limit = std::sqrt(contest_.prune2());
  for (Eigen::Index i = 0; i < node.re.size(); ++i) {
    const Complex response(last.re[i], last.im[i]);
    const double size = std::abs(response);
    if (size * share().discs[0].radius <= 1e-6 * limit) continue;
    region.confine(-Complex(node.re[i], node.im[i]) / response, limit / size * (1.0 + 1e-9));
  }
  return region;
}

double ShareWalk::key_at(std::size_t free, Complex u) const {
  const DualBound& bound = levels_[free].node.bound;
  return std::max(bound.held().at(u), bound.unheld().at(u));
}

/// A lower bound of what is below a sum of the next plane, made of these entries: the other planes must make
/// do with the stock it leaves.
double ShareWalk::priced_key(std::size_t free, Complex u, const std::vector<std::uint32_t>& entries) const {
  double key = levels_[free].node.bound.priced().at(u);
  double size = std::abs(key);
  for (const std::uint32_t e : entries) {
    const double taken = outset_->takes[free - 1][e];
    key += taken;
    size += std::abs(taken);
  }
  return key - 1e-12 * size;
}

std::vector<std::vector<double>> ShareWalk::priced_entries(const Outset& outset) const {
  const std::vector<double>& prices = outset.share->prices;
  std::vector<std::vector<double>> takes(outset.planes.size());
  if (prices.empty()) return takes;
  for (std::size_t j = 0; j < takes.size(); ++j) {
    const Kinds& kinds = tables_.plane(outset.share->planes[j]).kinds;
    const std::vector<double> cost = kind_prices(kinds, prices);
    for (std::size_t e = 0; e < kinds.of_entry.size(); ++e) {
      const std::uint32_t slot = outset.planes[j].plane->entries[e].slot;
      takes[j].push_back(cost[kinds.of_entry[e]] - Kinds::cost(kinds.returned[slot], prices));
    }
  }
  return takes;
}

bool ShareWalk::sum_allows(std::size_t free, Complex u) const {
  if (!contest_.watches_sum()) return true;
  const DualBound& bound = levels_[free].node.sum_bound;
  return std::max(bound.held().at(u), bound.unheld().at(u)) <= contest_.sum_prune2();
}

bool ShareWalk::descend(std::size_t free) {
  if (free == 1) return leaf();
  levels_[free].node.cuts = {};
  return collect(free);
}

void ShareWalk::Listed::clear() {
  candidates.clear();
  entries.clear();
}

/// Lists the sums of the next plane that the node's bound allows, and follows them, in batches.
bool ShareWalk::collect(std::size_t free) {
  const Node& node = levels_[free].node;
  Listed& listed = levels_[free].listed;
  listed.clear();
  const Confined confined = confine(free);
  double radius = radius_of(confined);
  const Region region = region_of(free);
  const SumQuery query{share().counts[free - 1],    confined.disc.centre, &radius, &region,
                       &outset_->focuses[free - 1], changes_before(free)};
  const bool all = visit_sums(tables(free), query, ledger_, deadline_, patience_,
                              [&](Complex sum, const std::vector<std::uint32_t>& entries) {
                                double key = key_at(free, sum);
                                if (node.bound.priced().known())
                                  key = std::max(key, priced_key(free, sum, entries));
                                if (key > contest_.prune2() || !sum_allows(free, sum)) return true;
                                if (!keeps_limits(*plane(free - 1).plane, sum)) return true;
                                const auto at = static_cast<std::uint32_t>(listed.entries.size());
                                listed.candidates.push_back({key, sum, at});
                                listed.entries.insert(listed.entries.end(), entries.begin(), entries.end());
                                if (listed.candidates.size() < kCandidatesAtOnce) return true;
                                if (!process(free)) return false;
                                listed.clear();
                                radius = radius_of(confined);
                                return radius >= 0.0;
                              });
  if (!all && deadline_.passed_now()) return false;
  if (effort_left_ == 0) return false;
  all_at_root_ = all_at_root_ || is_root(free);
  return process(free);
}

/// Follows the listed candidates, most promising first.
bool ShareWalk::process(std::size_t free) {
  Listed& listed = levels_[free].listed;
  std::sort(listed.candidates.begin(), listed.candidates.end(), [](const Candidate& a, const Candidate& b) {
    return a.key != b.key ? a.key < b.key : a.entries_at < b.entries_at;
  });
  const bool many = listed.candidates.size() >= (free == 2 ? kManyLeaves : kManyNodes);
  if (many && crew_ != nullptr && !contest_.looks_for_tied()) return follow_in_lots(free);
  return follow_each(free, listed, 0, listed.candidates.size());
}

/// Candidates come by rising key: when one of the root is followed, none below its key is left.
void ShareWalk::note_open(std::size_t free, const Candidate& next) {
  if (is_root(free) && all_at_root_) open_low2_ = std::max(open_low2_, next.key - rounding2(model_));
}

bool ShareWalk::follow_each(std::size_t free, const Listed& listed, std::size_t from, std::size_t to) {
  for (std::size_t c = from; c < to; ++c) {
    const Candidate candidate = listed.candidates[c];
    const double prune2 = contest_.prune2();
    if (candidate.key > prune2) break;
    if (levels_[free].node.cuts.refuse(candidate.sum, prune2) || !sum_allows(free, candidate.sum)) continue;
    note_open(free, candidate);
    if (deadline_.passed() || effort_left_ == 0) return false;
    --effort_left_;
    if (!follow(free, listed, candidate)) return false;
  }
  return true;
}

/// Neighbouring candidates, and what following them has shown.
struct ShareWalk::Block {
  Block(std::size_t first, std::size_t end) : from(first), to(end) {}
  std::size_t from, to;
  bool finished = true;
  bool found = false;  ///< a better choice
  Picks best;
  Patience patience;
  Cuts cuts;
  std::uint64_t nodes = 0;
};

/// A walk of one's own below the same root.
struct ShareWalk::Helper {
  Contest contest;
  Deadline deadline;
  Patience patience;
  ShareWalk walk;

  explicit Helper(const ShareWalk& of)
      : contest(of.contest_),
        deadline(of.deadline_),
        patience(of.patience_),
        walk(of.model_, of.tables_, contest, deadline, patience, nullptr) {}
};

ShareWalk::ShareWalk(const Model& model, const Tables& tables, Contest& contest, Deadline& deadline,
                     Patience& patience, Crew* crew)
    : model_(model),
      tables_(tables),
      contest_(contest),
      deadline_(deadline),
      patience_(patience),
      crew_(crew),
      ledger_(model) {}
ShareWalk::~ShareWalk() = default;

/// Lots grow until a better choice is found: what their blocks could have known of each other is lost.
bool ShareWalk::follow_in_lots(std::size_t free) {
  const std::vector<Candidate>& candidates = levels_[free].listed.candidates;
  const std::size_t first_size = free == 2 ? kFirstLeaves : 1;
  std::size_t size = first_size;
  for (std::size_t from = 0; from < candidates.size();) {
    if (candidates[from].key > contest_.prune2()) break;
    note_open(free, candidates[from]);
    if (deadline_.passed_now()) return false;
    const std::size_t to = std::min(candidates.size(), from + size);
    const double before2 = contest_.limit2();
    if (!follow_lot(free, from, to)) return false;
    size = contest_.limit2() < before2 ? first_size : std::min(2 * size, kLargestLot);
    from = to;
  }
  return true;
}

bool ShareWalk::follow_lot(std::size_t free, std::size_t from, std::size_t to) {
  const std::size_t size = std::max<std::size_t>(1, (to - from) / kMostBlocks);
  std::vector<Block> blocks;
  for (std::size_t at = from; at < to; at += size) blocks.emplace_back(at, std::min(at + size, to));
  const bool alone = nodes_ < kWorthThreads || blocks.size() == 1;
  const std::size_t members = alone ? 1 : crew_->size();
  while (helpers_.size() < members) helpers_.push_back(std::make_unique<Helper>(*this));
  for (std::size_t member = 0; member < members; ++member) {
    ShareWalk& walk = helpers_[member]->walk;
    walk.outset_ = outset_;
    walk.path_ = path_;
    walk.ledger_ = ledger_;
    if (walk.levels_.size() < free + 1) walk.levels_.resize(free + 1);
  }
  if (alone) {
    for (Block& block : blocks) follow_block(*helpers_.front(), free, block);
  } else {
    crew_->each(blocks.size(),
                [&](std::size_t member, std::size_t b) { follow_block(*helpers_[member], free, blocks[b]); });
  }
  const Patience before = patience_;
  bool finished = true;
  for (Block& block : blocks) {
    finished = finished && block.finished;
    nodes_ += block.nodes;
    patience_.take(block.patience, before);
    if (block.found) contest_.offer(std::move(block.best));
  }
  levels_[free].node.cuts = std::move(blocks.back().cuts);
  return finished;
}

/// From what the walk as a whole knew when the lot began.
void ShareWalk::follow_block(Helper& helper, std::size_t free, Block& block) const {
  ShareWalk& walk = helper.walk;
  helper.contest = contest_;
  helper.patience = patience_;
  walk.nodes_ = 0;
  walk.levels_[free].node = levels_[free].node;
  block.finished = walk.follow_each(free, levels_[free].listed, block.from, block.to);
  block.found = helper.contest.limit2() < contest_.limit2();
  if (block.found) block.best = helper.contest.best();
  block.patience = helper.patience;
  block.cuts = walk.levels_[free].node.cuts;
  block.nodes = walk.nodes_;
}

/// Fixes one sum of the next plane and walks what is below.
bool ShareWalk::follow(std::size_t free, const Listed& listed, const Candidate& candidate) {
  const Node& node = levels_[free].node;
  Node& child = levels_[free - 1].node;
  const PlaneModel& next = *plane(free - 1).plane;
  const std::size_t n = share().counts[free - 1];
  const Complex u = candidate.sum;
  child.re = node.re + (next.re * u.real() - next.im * u.imag());
  child.im = node.im + (next.re * u.imag() + next.im * u.real());
  child.weights = node.weights;
  child.holds.assign(node.holds.begin(), node.holds.end() - 1);
  if (contest_.watches_sum()) child.sum_holds.assign(node.sum_holds.begin(), node.sum_holds.end() - 1);
  for (std::size_t i = 0; i < n; ++i) {
    const std::uint32_t e = listed.entries[candidate.entries_at + i];
    path_.push_back({share().planes[free - 1], e});
    ledger_.fit(next.entries[e]);
  }
  bool finished = true;
  bool refused = false;  // by the bound, not by stock
  if (confine_to_stock(free - 1)) {
    refused = !set_out(free - 1);
    if (!refused) finished = descend(free - 1);
  }
  for (std::size_t i = 0; i < n; ++i) {
    ledger_.undo(next.entries[path_.back().entry]);
    path_.pop_back();
  }
  if (refused) learn_cut(free);
  return finished;
}

/// Sets where the moments of the free planes can lie with what is left in stock; false when nowhere.
bool ShareWalk::confine_to_stock(std::size_t free) {
  std::vector<Disc>& discs = levels_[free].node.discs;
  discs.assign(levels_[free + 1].node.discs.begin(), levels_[free + 1].node.discs.end() - 1);
  if (model_.scarce() == 0) return true;
  for (std::size_t j = 0; j < free; ++j) {
    Disc disc = tables_.plane(share().planes[j]).reach.disc(share().counts[j], rows(free).obtainable(j));
    for (const Disc& limit : plane(j).plane->limits) disc = meeting_disc(disc, limit);
    if (disc.radius < 0.0) return false;
    discs[j] = {disc.centre, disc.radius * (1.0 + 1e-9) + 1e-300};
  }
  return true;
}

/// Takes the multipliers that refused a child back to its parent: they refuse its brothers nearby as well.
void ShareWalk::learn_cut(std::size_t free) {
  if (model_.least_squares) return;
  const Node& child = levels_[free - 1].node;
  Holds holds = child.holds;
  holds.push_back({});
  scratch_.evaluate(rows(free), child.weights, holds);
  levels_[free].node.cuts.learn(scratch_.unheld());
}

void ShareWalk::Cuts::learn(const NextDisc& disc) {
  if (discs.size() < kCutsKept) {
    discs.push_back(disc);
  } else {
    discs[oldest] = disc;
    oldest = (oldest + 1) % kCutsKept;
  }
}

bool ShareWalk::Cuts::refuse(Complex u, double limit2) const {
  return std::any_of(discs.begin(), discs.end(), [&](const NextDisc& disc) { return disc.at(u) > limit2; });
}

bool ShareWalk::row_check(Complex u) const {
  const Node& node = levels_[1].node;
  const PlaneModel& last = *plane(0).plane;
  const double limit2 = contest_.limit2() * (1.0 + 1e-11) + rounding2(model_);
  for (Eigen::Index i = 0; i < node.re.size(); ++i) {
    const double re = node.re[i] + last.re[i] * u.real() - last.im[i] * u.imag();
    const double im = node.im[i] + last.re[i] * u.imag() + last.im[i] * u.real();
    if (re * re + im * im > limit2) return false;
  }
  return true;
}

/// A disc that holds the last plane's moments at which the rows that are largest at `near` keep the limit.
/// Where the best is nearly reached it is far smaller than those of the quadratic bounds: its size falls with
/// the gap, theirs with its root.
Disc ShareWalk::common_to_rows(Complex near) const {
  const Node& node = levels_[1].node;
  const PlaneModel& last = *plane(0).plane;
  const double limit = std::sqrt(contest_.prune2());
  std::vector<std::pair<double, Disc>> rows;
  for (Eigen::Index i = 0; i < node.re.size(); ++i) {
    const Complex response(last.re[i], last.im[i]);
    const double size = std::abs(response);
    if (size * share().discs[0].radius <= 1e-2 * limit) continue;
    const Complex centre = -Complex(node.re[i], node.im[i]) / response;
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
  const bool by_rows = !model_.least_squares && share().counts[0] >= 2;
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
  const SumQuery query{share().counts[0], centre, &radius, &region, &outset_->focuses[0], 0};
  return visit_sums(tables(1), query, ledger_, deadline_, patience_,
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
  for (const std::uint32_t e : entries) picks.push_back({share().planes[0], e});
  contest_.offer(std::move(picks));
}

}  // namespace trimwright::slots_detail
