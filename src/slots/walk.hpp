#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <vector>

#include "base/crew.hpp"
#include "bound.hpp"
#include "incumbent.hpp"
#include "patience.hpp"
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
///
/// Where many sums are to be followed, several threads do it: in lots of blocks, each block from what was
/// known when its lot began, and what the blocks found is taken in their order. So the answer is the same
/// however many threads there are, one included.
class ShareWalk {
 public:
  ShareWalk(const Model& model, const Tables& tables, Contest& contest, Deadline& deadline,
            Patience& patience, Crew* crew);
  ~ShareWalk();

  /// Walks the share; raises `share.low2` by what was proved. False when time (or effort) ran out.
  bool run(Share& share);

  /// Stops after about this many candidates have been looked at, whatever the time.
  void limit_effort(std::uint64_t candidates) { effort_left_ = candidates; }

 private:
  /// What all that walk a share have in common.
  struct Outset {
    const Share* share = nullptr;
    std::vector<FreePlane> planes;
    std::deque<Focus> focuses;  ///< per plane of the share: the way its reach is pulled at the root
    /// Per plane of the share and entry: what it takes from stock less what it gives back, at the share's
    /// prices.
    std::vector<std::vector<double>> takes;
  };
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
  /// The latest discs that all children must meet.
  struct Cuts {
    std::vector<NextDisc> discs;
    std::size_t oldest = 0;
    void learn(const NextDisc& disc);
    [[nodiscard]] bool refuse(Complex u, double limit2) const;
  };
  struct Node {
    ArrayXd re, im, weights, ones;
    Holds holds, sum_holds;
    std::vector<Disc> discs;
    DualBound bound, sum_bound;
    Cuts cuts;
  };
  struct Listed {
    std::vector<Candidate> candidates;
    std::vector<std::uint32_t> entries;
    void clear();
  };
  struct Level {
    Node node;
    Listed listed;
  };
  struct Helper;
  struct Block;

  [[nodiscard]] NodeRows rows(std::size_t free) const;
  [[nodiscard]] const Share& share() const { return *outset_->share; }
  [[nodiscard]] const FreePlane& plane(std::size_t j) const { return outset_->planes[j]; }
  [[nodiscard]] const PlaneTables& tables(std::size_t free) const {
    return tables_.plane(share().planes[free - 1]);
  }
  [[nodiscard]] bool is_root(std::size_t free) const { return free == outset_->planes.size(); }
  bool set_out(std::size_t free);
  bool descend(std::size_t free);
  bool leaf();
  bool collect(std::size_t free);
  bool process(std::size_t free);
  bool follow_each(std::size_t free, const Listed& listed, std::size_t from, std::size_t to);
  void note_open(std::size_t free, const Candidate& next);
  bool follow_in_lots(std::size_t free);
  bool follow_lot(std::size_t free, std::size_t from, std::size_t to);
  void follow_block(Helper& helper, std::size_t free, Block& block) const;
  bool follow(std::size_t free, const Listed& listed, const Candidate& candidate);
  bool confine_to_stock(std::size_t free);
  void learn_cut(std::size_t free);
  [[nodiscard]] double key_at(std::size_t free, Complex u) const;
  [[nodiscard]] double priced_key(std::size_t free, Complex u,
                                  const std::vector<std::uint32_t>& entries) const;
  [[nodiscard]] std::vector<std::vector<double>> priced_entries(const Outset& outset) const;
  [[nodiscard]] bool sum_allows(std::size_t free, Complex u) const;
  [[nodiscard]] Confined confine(std::size_t free) const;
  [[nodiscard]] double radius_of(const Confined& confined) const;
  [[nodiscard]] Region region_of(std::size_t free) const;
  [[nodiscard]] Disc common_to_rows(Complex near) const;
  [[nodiscard]] bool row_check(Complex u) const;
  void offer(const std::vector<std::uint32_t>& entries);
  [[nodiscard]] std::size_t changes_before(std::size_t free) const;

  const Model& model_;
  const Tables& tables_;
  Contest& contest_;
  Deadline& deadline_;
  Patience& patience_;
  Crew* crew_;  ///< null: this walk is itself one of several
  Ledger ledger_;
  const Outset* outset_ = nullptr;
  std::vector<Level> levels_;  ///< by number of free planes
  std::vector<std::unique_ptr<Helper>> helpers_;
  Picks path_;
  DualBound scratch_;
  bool all_at_root_ = false;  ///< every candidate of the root stands in its list
  double open_low2_ = 0.0;    ///< of what was not visited, when interrupted
  std::uint64_t effort_left_ = ~std::uint64_t{0};
  std::uint64_t nodes_ = 0;
};

}  // namespace trimwright::slots_detail
