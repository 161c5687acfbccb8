#include "trimwright/reference/revolution_block.hpp"

#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "block_teeth.hpp"

namespace trimwright {
namespace {

constexpr double most_dropped = 0.1;            ///< of the pulses of a block
constexpr double speed_allowance = 0.02;        ///< beyond the declared range
constexpr double most_irregular = 0.12;         ///< rms [pitches]
constexpr double most_irregular_single = 0.05;  ///< rms of a revolution, one tooth only
constexpr double older_evidence_weight = 0.7;
constexpr double half_says_otherwise = 2.0;  ///< margin at which half a block's own place must agree
constexpr double least_shared = 0.3;         ///< of the larger half's excess, in the other half
constexpr double least_often_larger = 0.6;   ///< of the revolutions
constexpr double slow_flank = 0.62;          ///< of the revolution, one tooth only: the wrong crossing

/// Sizes per place of the pulses' halves before and after the crossing.
struct HalfSizes {
  PlaceSizes before, after;
};

/// The larger pulse lies across two neighbouring crossings, half in each.
bool halves_lie_apart(const HalfSizes& sizes) {
  const LargerToothLimits limits{4.0, 1.03};
  const Standout before = sizes.before.standout(), after = sizes.after.standout();
  const int places = static_cast<int>(sizes.before.mean.size());
  return is_clear(before, limits) && is_clear(after, limits) && before.place == (after.place + 1) % places;
}

/// Size at `place` over the mean of the others, less one.
double excess_at(const Eigen::ArrayXd& mean, int place) {
  double others = 0.0, count = 0.0;
  for (Eigen::Index i = 0; i < mean.size(); ++i) {
    if (i == place || !std::isfinite(mean[i])) continue;
    others += mean[i];
    count += 1.0;
  }
  return mean[place] * count / others - 1.0;
}

bool halves_share_the_excess(const HalfSizes& sizes, int place) {
  const double before = excess_at(sizes.before.mean, place);
  const double after = excess_at(sizes.after.mean, place);
  return std::min(before, after) >= least_shared * std::max(before, after);
}

bool half_block_disputes(const FoldedSizes& half, int place) {
  const Standout standout = place_sizes(half).standout();
  return standout.margin >= half_says_otherwise && standout.place != place;
}

/// The larger tooth is larger in every revolution; a place where every second or third pulse is larger
/// belongs to a ring with a multiple of the declared teeth.
bool larger_in_most_revolutions(const FoldedSizes& fold, const Standout& standout) {
  const Eigen::ArrayXd mean = place_sizes(fold).mean;
  const double threshold = 0.5 * mean[standout.place] * (1.0 + 1.0 / standout.over_second);
  double larger = 0.0, present = 0.0;
  for (const double size : fold.col(standout.place)) {
    if (!std::isfinite(size)) continue;
    present += 1.0;
    if (size > threshold) larger += 1.0;
  }
  return larger >= least_often_larger * present;
}

PlaceSizes turned(const PlaceSizes& sizes, std::int64_t by) {
  PlaceSizes result = sizes;
  const auto n = sizes.mean.size();
  for (Eigen::Index i = 0; i < n; ++i) result.mean[(i + by % n + n) % n] = sizes.mean[i];
  return result;
}

}  // namespace

std::string_view describe(ReferenceVerdict verdict) {
  switch (verdict) {
    case ReferenceVerdict::trusted:
      return "trusted";
    case ReferenceVerdict::not_regular:
      return "pulses not regular";
    case ReferenceVerdict::too_many_dropped:
      return "too many pulses missing";
    case ReferenceVerdict::speed_out_of_range:
      return "speed outside the declared range";
    case ReferenceVerdict::no_larger_tooth:
      return "no larger tooth stands out";
    case ReferenceVerdict::place_disputed:
      return "place of the larger tooth in doubt";
    case ReferenceVerdict::polarity_reversed:
      return "polarity looks reversed";
  }
  return "unknown";
}

RevolutionBlocks::RevolutionBlocks(const ToothRing& ring, const BlockRules& rules)
    : ring_(ring), rules_(rules), spacing_errors_(ring.teeth) {
  rules_.revolutions = std::max(4, rules_.revolutions);
}

std::optional<double> RevolutionBlocks::open_since_s() const {
  if (open_.empty()) return std::nullopt;
  return open_.front().pulse.time_s;
}

void RevolutionBlocks::push(const CountedTooth& tooth, std::vector<RevolutionBlock>& blocks) {
  if (tooth.count_lost_before) {
    open_.clear();
    evidence_.reset();
    after_lost_count_ = true;
  }
  open_.push_back(tooth);
  const std::int64_t in_block = static_cast<std::int64_t>(rules_.revolutions) * ring_.teeth;
  if (tooth.count - open_.front().count < in_block) return;
  blocks.push_back(closed_block());
  after_lost_count_ = false;
  open_.assign(1, tooth);
}

RevolutionBlock RevolutionBlocks::closed_block() {
  const std::int64_t first_count = open_.front().count;
  const BlockTeeth teeth = block_teeth(open_, rules_.revolutions * ring_.teeth);
  RevolutionBlock block = measured(teeth, ring_.teeth);
  block.after_lost_count = after_lost_count_;
  judge(block, teeth, first_count);
  int first_place = 0;
  if (block.verdict == ReferenceVerdict::trusted) {
    first_place = (ring_.teeth - block.larger.place) % ring_.teeth;
    spacing_errors_.learn(teeth.times_s, teeth.present, first_place);
    block.sizes = turned({block.sizes, 0.0, 0.0}, first_place).mean;
    block.track = track_of(teeth, ring_.teeth, first_place, &spacing_errors_);
  } else {
    block.track = track_of(teeth, ring_.teeth, first_place, nullptr);
  }
  return block;
}

void RevolutionBlocks::judge(RevolutionBlock& block, const BlockTeeth& teeth, std::int64_t first_count) {
  const double dropped_part = static_cast<double>(block.dropped) / static_cast<double>(teeth.before.size());
  const bool single = ring_.teeth == 1;
  if (single && block.width > slow_flank)
    block.verdict = ReferenceVerdict::polarity_reversed;
  else if (block.irregularity > (single ? most_irregular_single : most_irregular))
    block.verdict = ReferenceVerdict::not_regular;
  else if (dropped_part > most_dropped)
    block.verdict = ReferenceVerdict::too_many_dropped;
  else if (block.speed_rpm < ring_.lowest_rpm * (1.0 - speed_allowance) ||
           block.speed_rpm > ring_.highest_rpm * (1.0 + speed_allowance))
    block.verdict = ReferenceVerdict::speed_out_of_range;
  else if (single)
    block.verdict = ReferenceVerdict::trusted;
  else
    judge_place(block, teeth, first_count);
}

void RevolutionBlocks::judge_place(RevolutionBlock& block, const BlockTeeth& teeth,
                                   std::int64_t first_count) {
  const FoldedSizes fold = folded(teeth.swings(), ring_.teeth);
  const PlaceSizes own = place_sizes(fold);
  block.sizes = own.mean;
  const PlaceSizes counted = turned(own, first_count);  // places from count 0, common to all blocks
  const PlaceSizes all = evidence_ ? pooled(*evidence_, older_evidence_weight, counted) : counted;
  const Standout own_standout = own.standout();
  const Standout standout = turned(all, -first_count).standout();
  block.larger = standout;
  const Eigen::Index half = fold.rows() / 2;
  const HalfSizes halves{place_sizes(folded(teeth.before, ring_.teeth)),
                         place_sizes(folded(teeth.after, ring_.teeth))};
  if (halves_lie_apart(halves))
    block.verdict = ReferenceVerdict::polarity_reversed;
  else if (own_standout.margin >= half_says_otherwise && own_standout.place != standout.place)
    block.verdict = ReferenceVerdict::place_disputed;
  else if (!is_clear(standout, rules_.larger_tooth) || !larger_in_most_revolutions(fold, standout))
    block.verdict = ReferenceVerdict::no_larger_tooth;
  else if (half_block_disputes(fold.topRows(half), standout.place) ||
           half_block_disputes(fold.bottomRows(half), standout.place))
    block.verdict = ReferenceVerdict::place_disputed;
  else if (!halves_share_the_excess(halves, standout.place))
    block.verdict = ReferenceVerdict::polarity_reversed;
  else
    block.verdict = ReferenceVerdict::trusted;
  if (block.verdict == ReferenceVerdict::place_disputed)
    evidence_.reset();
  else
    evidence_ = all;
}

}  // namespace trimwright
