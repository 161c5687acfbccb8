#include "packed.hpp"

#include <algorithm>
#include <numeric>

namespace trimwright::slots_detail {
namespace {

constexpr int kBits = 5;  // a count is stored with 16 added
constexpr int kPlaces = 64 / kBits;
constexpr int kMostAtOnce = 2;  // of one piece, that one change may take or give back
constexpr int kMostLeft = 7;    // more than three changes can take
constexpr int kLeastLeft = -8;  // less than three changes can give back

/// Per limited piece: the most that one change takes or gives back.
std::vector<int> most_at_once(const Model& model) {
  std::vector<int> most(model.stock.size(), 0);
  const auto look_at = [&](PieceRange range) {
    const std::span<const int> pieces = model.pieces_in(range);
    for (const int piece : pieces) {
      int& here = most[static_cast<std::size_t>(piece)];
      here = std::max(here, static_cast<int>(std::count(pieces.begin(), pieces.end(), piece)));
    }
  };
  for (const PlaneModel& plane : model.planes) {
    for (const Entry& entry : plane.entries) {
      look_at(entry.takes);
      look_at(entry.returns);
    }
  }
  return most;
}

}  // namespace

PackedStock::PackedStock(const Model& model) : shift_(model.stock.size(), -1) {
  static_assert(kMostLeft > kMostChanges * kMostAtOnce && kLeastLeft < -kMostChanges * kMostAtOnce);
  const std::vector<int> most = most_at_once(model);
  std::vector<std::size_t> scarcest(model.stock.size());
  std::iota(scarcest.begin(), scarcest.end(), std::size_t{0});
  std::stable_sort(scarcest.begin(), scarcest.end(), [&](std::size_t a, std::size_t b) {
    return model.stock[a] + model.holders[a] < model.stock[b] + model.holders[b];
  });
  int places = 0;
  for (const std::size_t piece : scarcest) {
    if (places == kPlaces || most[piece] > kMostAtOnce) continue;
    shift_[piece] = kBits * places++;
    signs_ |= std::uint64_t{1} << (shift_[piece] + kBits - 1);
  }
}

std::uint64_t PackedStock::of(const Model& model, const Entry& entry) const {
  std::uint64_t sum = 0;
  const auto add = [&](PieceRange range, bool takes) {
    for (const int piece : model.pieces_in(range)) {
      const int shift = shift_[static_cast<std::size_t>(piece)];
      if (shift < 0) continue;
      const std::uint64_t one = std::uint64_t{1} << shift;
      sum += takes ? std::uint64_t{0} - one : one;
    }
  };
  add(entry.takes, true);
  add(entry.returns, false);
  return sum;
}

std::uint64_t PackedStock::left(const std::vector<int>& left) const {
  std::uint64_t sum = 0;
  for (std::size_t piece = 0; piece < left.size(); ++piece) {
    if (shift_[piece] < 0) continue;
    const int count = std::clamp(left[piece], kLeastLeft, kMostLeft) + (1 << (kBits - 1));
    sum += static_cast<std::uint64_t>(count) << shift_[piece];
  }
  return sum;
}

}  // namespace trimwright::slots_detail
