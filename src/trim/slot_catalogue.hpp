#pragma once

#include <Eigen/Core>
#include <vector>

#include "trim_rows.hpp"
#include "trimwright/slot_search.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// The search problem of a job, and the way back from its answers to slots and pieces.
class SlotCatalogue {
 public:
  SlotCatalogue(const Job& job, const TrimRequest& request, const TrimRows& rows);

  [[nodiscard]] const SlotProblem& problem() const { return problem_; }
  [[nodiscard]] std::vector<SlotChange> changes(const SlotChoice& choice) const;
  /// Added moment per plane used [g mm].
  [[nodiscard]] Eigen::VectorXcd added_moment(const SlotChoice& choice) const;
  [[nodiscard]] Eigen::VectorXcd added_moment(const std::vector<SlotChange>& changes) const;

 private:
  /// A slot of the problem: where it is, and what it can hold.
  struct Origin {
    std::size_t plane = 0;  ///< index into Rotor::planes
    int slot = 0;
    std::optional<Piece> holds;
    std::vector<std::optional<Piece>> options;  ///< aligned with SearchSlot::options
  };

  void add_stock(const Plane& plane, const FittedWeights& fitted);
  void add_plane(const Job& job, const TrimRequest& request, std::size_t position);
  void add_slot(const Job& job, const TrimRequest& request, std::size_t position, int slot);
  void add_pairs(std::size_t position, const PlaneRules::Pairs& pairs, PairRule rule);
  void add_plane_budgets(std::size_t position);
  template <class Amount>
  void add_budget(std::optional<std::size_t> position, double limit, Amount amount);
  [[nodiscard]] std::vector<int> pieces_of(std::size_t position, const std::optional<Piece>& content);
  [[nodiscard]] int index_of(std::size_t position, int slot);

  std::vector<Plane> planes_;             ///< the planes used, by position
  std::vector<std::size_t> plane_index_;  ///< their indices into Rotor::planes
  std::vector<int> first_piece_;          ///< of each plane, in SlotProblem::in_stock
  std::vector<double> foreign_;           ///< moments of pieces that are in no catalogue
  SlotProblem problem_;
  std::vector<Origin> origins_;  ///< aligned with problem_.slots
};

}  // namespace trimwright
