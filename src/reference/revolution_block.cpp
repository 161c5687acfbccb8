#include "revolution_block.hpp"

#include <algorithm>
#include <cmath>

#include "block_teeth.hpp"

namespace trimwright {
namespace {

constexpr double most_dropped = 0.1;            ///< of the pulses of a block
constexpr double speed_allowance = 0.02;        ///< beyond the declared range
constexpr double most_irregular = 0.12;         ///< rms [pitches]
constexpr double most_irregular_single = 0.05;  ///< rms of a revolution, one tooth only
constexpr double slow_flank = 0.62;             ///< of the revolution, one tooth only: the wrong crossing
constexpr double unlike = 12.0;                 ///< chi-square per tooth: not the ring of the picture
constexpr double long_unplaced = 48.0;     ///< revolutions after which a new picture is begun in any case
constexpr std::size_t most_pictures = 64;  ///< a recording that needs more is no recording of a ring

int wrapped_place(std::int64_t place, int teeth) { return static_cast<int>((place % teeth + teeth) % teeth); }

}  // namespace

RevolutionBlocks::RevolutionBlocks(const ToothRing& ring, const BlockRules& rules)
    : ring_(ring), rules_(rules) {
  rules_.revolutions = std::max(4, rules_.revolutions);
}

std::optional<double> RevolutionBlocks::open_since_s() const {
  if (open_.empty()) return std::nullopt;
  return open_.front().pulse.time_s;
}

void RevolutionBlocks::push(const CountedTooth& tooth, std::vector<RevolutionBlock>& blocks) {
  if (tooth.count_lost_before) {
    open_.clear();
    anchor_.reset();
    pending_ = {};
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
  const FoldedBlock fold = folded_block(teeth, ring_.teeth);
  RevolutionBlock block = measured(teeth, fold, ring_.teeth);
  block.after_lost_count = after_lost_count_;
  for (const auto& place : fold.size.colwise())  // a broken tooth is another matter
    if (ring_.teeth > 1 && !place.isFinite().any()) block.dropped -= static_cast<int>(fold.size.rows());
  block.verdict = regularity(block, fold);
  if (block.verdict == ReferenceVerdict::trusted) block.verdict = place(fold, first_count);
  const bool trusted = block.verdict == ReferenceVerdict::trusted;
  block.ring = std::max(0, static_cast<int>(pictures_.size()) - 1);
  block.track = track_of(teeth, ring_.teeth, trusted ? wrapped_place(first_count + *anchor_, ring_.teeth) : 0,
                         trusted ? &pictures_.back() : nullptr);
  return block;
}

ReferenceVerdict RevolutionBlocks::regularity(const RevolutionBlock& block, const FoldedBlock& fold) const {
  const double dropped_part = static_cast<double>(block.dropped) / static_cast<double>(fold.size.size());
  const bool single = ring_.teeth == 1;
  if (single && block.width > slow_flank) return ReferenceVerdict::polarity_reversed;
  if (block.irregularity > (single ? most_irregular_single : most_irregular))
    return ReferenceVerdict::not_regular;
  if (dropped_part > most_dropped) return ReferenceVerdict::too_many_dropped;
  if (block.speed_rpm < ring_.lowest_rpm * (1.0 - speed_allowance) ||
      block.speed_rpm > ring_.highest_rpm * (1.0 + speed_allowance))
    return ReferenceVerdict::speed_out_of_range;
  return ReferenceVerdict::trusted;
}

ReferenceVerdict RevolutionBlocks::place(const FoldedBlock& fold, std::int64_t first_count) {
  const int n = ring_.teeth;
  const Eigen::Index rows = fold.size.rows(), half = rows / 2;
  const RingPicture own = picture_of(fold, 0, rows);
  const auto slipped = [&](const RingPicture& known, int at) {
    return passes_elsewhere(known, picture_of(fold, 0, half), at) ||
           passes_elsewhere(known, picture_of(fold, half, rows - half), at);
  };
  if (n == 1) anchor_ = 0;
  if (!anchor_) {
    if (slipped(own, 0)) return ReferenceVerdict::place_disputed;
    if (const auto verdict = find_place(own, first_count); verdict != ReferenceVerdict::trusted)
      return verdict;
  } else if (n > 1 && slipped(pictures_.back(), wrapped_place(first_count + *anchor_, n))) {
    anchor_.reset();
    pending_ = {};
    return ReferenceVerdict::place_disputed;
  }
  if (pictures_.empty()) pictures_.emplace_back();
  pictures_.back().take_in(own.turned(wrapped_place(-first_count - *anchor_, n)));
  return ReferenceVerdict::trusted;
}

ReferenceVerdict RevolutionBlocks::find_place(const RingPicture& own, std::int64_t first_count) {
  pending_.take_in(own.turned(wrapped_place(-first_count, ring_.teeth)));
  if (!pictures_.empty()) {
    const RingMatch match = matched(pictures_.back(), pending_, {});
    if (match.lead >= clear_lead && match.misfit <= unlike) {
      anchor_ = match.shift;
      return ReferenceVerdict::trusted;
    }
  }
  if (!pictures_.empty() && !stands_out(pending_) && pending_.revolutions < long_unplaced)
    return ReferenceVerdict::place_disputed;
  if (pictures_.size() == most_pictures) return ReferenceVerdict::place_disputed;
  pictures_.emplace_back();
  anchor_ = 0;
  return ReferenceVerdict::trusted;
}

}  // namespace trimwright
