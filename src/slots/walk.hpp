#pragma once

#include <cstdint>
#include <vector>

#include "bound.hpp"
#include "incumbent.hpp"
#include "share.hpp"
#include "sums.hpp"
#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// Visits the choices of one share depth first, plane by plane, and offers the contest every one that might
/// interest it.
///
/// At a node some planes are fixed. The dual bound confines the next plane's moment to a disc, the tables
/// list the sums in it, nearest first, and each is fixed in turn, its bound tightened, and followed. The
/// bound of a child that fails, taken back to its parent, is another disc that all its brothers must meet.
class ShareWalk {
 public:
  ShareWalk(const Model& model, Tables& tables, Contest& contest, Deadline& deadline)
      : model_(model), tables_(tables), contest_(contest), deadline_(deadline), ledger_(model) {}

  /// Walks the share; raises `share.low2` by what was proved. False when time (or effort) ran out.
  bool run(Share& share);

  /// Stops after about this many candidates have been looked at, whatever the time.
  void limit_effort(std::uint64_t candidates) { effort_left_ = candidates; }
  [[nodiscard]] std::uint64_t nodes() const { return nodes_; }

 private:
  struct Candidate {
    double key = 0.0;  ///< lower bound of everything below, from the parent's multipliers
    Complex sum;
    std::uint32_t entries_at = 0;
  };
  /// A disc the next plane's moment must lie in, by the objective or by the sum of squares.
  struct Confined {
    NextDisc disc;
    bool by_sum = false;
  };
  struct Level {
    ArrayXd re, im, weights, ones;
    Holds holds, sum_holds;
    std::vector<Disc> discs;
    DualBound bound, sum_bound;
    std::vector<Candidate> candidates;
    std::vector<std::uint32_t> entries;
    std::vector<NextDisc> cuts;
    std::size_t oldest_cut = 0;
  };

  [[nodiscard]] NodeRows rows(std::size_t free) const;
  [[nodiscard]] PlaneTables& tables(std::size_t free) const {
    return tables_.plane((*share_).planes[free - 1]);
  }
  bool set_out(std::size_t free);
  bool descend(std::size_t free);
  bool leaf();
  bool collect(std::size_t free);
  bool process(std::size_t free);
  bool follow(std::size_t free, const Candidate& candidate);
  bool confine_to_stock(std::size_t free);
  void learn_cut(std::size_t free);
  [[nodiscard]] double key_at(std::size_t free, Complex u) const;
  [[nodiscard]] double priced_key(std::size_t free, Complex u,
                                  const std::vector<std::uint32_t>& entries) const;
  void price_entries();
  [[nodiscard]] bool sum_allows(std::size_t free, Complex u) const;
  [[nodiscard]] Confined confine(std::size_t free) const;
  [[nodiscard]] double radius_of(const Confined& confined) const;
  [[nodiscard]] Region region_of(std::size_t free) const;
  [[nodiscard]] Disc common_to_rows(Complex near) const;
  [[nodiscard]] bool row_check(Complex u) const;
  void offer(const std::vector<std::uint32_t>& entries);
  [[nodiscard]] std::size_t changes_before(std::size_t free) const;

  const Model& model_;
  Tables& tables_;
  Contest& contest_;
  Deadline& deadline_;
  Ledger ledger_;
  Share* share_ = nullptr;
  std::vector<FreePlane> planes_;
  std::vector<Focus> focuses_;  ///< per plane of the share: the way its reach is pulled at the root
  std::vector<Level> levels_;   ///< by number of free planes
  std::vector<std::vector<double>> takes_;  ///< per plane of the share and entry: what it takes from stock
                                            ///< less what it gives back, at the share's prices
  Picks path_;
  DualBound scratch_;
  bool all_at_root_ = false;  ///< every candidate of the root stands in its list
  double open_low2_ = 0.0;    ///< of what was not visited, when interrupted
  std::uint64_t effort_left_ = ~std::uint64_t{0};
  std::uint64_t nodes_ = 0;
};

}  // namespace trimwright::slots_detail
