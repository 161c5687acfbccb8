#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <memory>
#include <vector>

#include "grid.hpp"
#include "joint.hpp"
#include "model.hpp"
#include "packed.hpp"
#include "patience.hpp"
#include "prices.hpp"
#include "reach.hpp"

namespace trimwright::slots_detail {

/// Sums of two changes in different slots of a plane, tabulated once it has been asked for as often as it
/// costs. Ids: lower entry in the low half.
class PairTable {
 public:
  /// `around`: nearly all sums lie in it.
  PairTable(const Model& model, const PlaneModel& plane, const Kinds& kinds, const Disc& around,
            Patience& patience);
  /// The table, where it is worth while; counts the questions.
  const PointGrid* ask(Patience& patience) const {
    return patience.spend(account_, 1) ? &grid_.get([this] { return build(); }) : nullptr;
  }

 private:
  [[nodiscard]] PointGrid build() const;

  const Model* model_;
  const PlaneModel* plane_;
  const Kinds* kinds_;
  Disc around_;
  std::size_t account_;
  MadeOnce<PointGrid> grid_;
};

/// Sums of three changes in different slots of a plane, tabulated once as much work has been spent without
/// them as they cost; never when they are too many.
class TripleTable {
 public:
  /// `around`: nearly all sums lie in it.
  TripleTable(const PlaneModel& plane, const Disc& around, Patience& patience);
  /// The table, where it is worth while; `work`: sums of two asked for since the last call.
  const PointGrid* after(std::uint64_t work, Patience& patience) const {
    return patience.spend(account_, work) ? &grid_.get([this] { return build(); }) : nullptr;
  }
  [[nodiscard]] bool worth_while(const Patience& patience) const { return patience.is_spent(account_); }
  /// The three entries of an id, by rising slot.
  [[nodiscard]] std::array<std::uint32_t, 3> entries_of(std::uint32_t id) const {
    return {id >> (2 * kIdBits), id >> kIdBits & kIdMask, id & kIdMask};
  }
  /// Ids of sums whose lowest entry is this one, or comes later, are not below.
  [[nodiscard]] std::uint64_t first_id(std::uint32_t lowest) const {
    return std::uint64_t{lowest} << (2 * kIdBits);
  }

 private:
  [[nodiscard]] PointGrid build() const;

  const PlaneModel* plane_;
  Disc around_;
  static constexpr unsigned kIdBits = 10;
  static constexpr std::uint32_t kIdMask = (1U << kIdBits) - 1;
  std::size_t count_ = 0;
  std::size_t account_;
  MadeOnce<PointGrid> grid_;
};

/// The tables of one plane: sums of one, two and three changes, and how far sums of more reach.
struct PlaneTables {
  const Model* model = nullptr;
  const PlaneModel* plane = nullptr;
  Kinds kinds;
  Reach reach;
  PointGrid singles;
  std::shared_ptr<PairTable> pairs;  ///< one for all planes alike; null: they would take too much memory
  TripleTable triples;
  PackedStock stock;
  std::vector<std::uint64_t> gives;  ///< per entry: what it gives back less what it takes, packed

  PlaneTables(const Model& model, const PlaneModel& of_plane, std::size_t most_changes, Patience& patience);
};

[[nodiscard]] inline std::uint32_t lower_of_pair(std::uint32_t id) { return id & 0xffffU; }
[[nodiscard]] inline std::uint32_t higher_of_pair(std::uint32_t id) { return id >> 16U; }

/// How many sums of two changes in different slots a plane has.
[[nodiscard]] std::size_t pair_count(const PlaneModel& plane);

/// Tables of all planes; sums of two are tabulated when first asked for, within a budget of memory, once
/// for planes that are alike. Several threads may ask at once.
class Tables {
 public:
  /// `patience`: with the tables, as yet unspent.
  Tables(const Model& model, Patience& patience);
  [[nodiscard]] const PlaneTables& plane(std::size_t p) const { return planes_[p]; }
  [[nodiscard]] const JointReach& joint() const { return joint_; }

 private:
  void share_pairs(const Model& model, Patience& patience);

  std::deque<PlaneTables> planes_;
  JointReach joint_;
};

}  // namespace trimwright::slots_detail
