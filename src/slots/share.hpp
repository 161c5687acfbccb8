#pragma once

#include <vector>

#include "bound.hpp"
#include "continuous.hpp"
#include "joint.hpp"
#include "tables.hpp"
#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// How the changes are shared out among the planes, and what is known of the choices so shared.
struct Share {
  std::vector<std::size_t> planes;  ///< planes with changes: most changes first, so the last is fixed first
  std::vector<std::size_t> counts;  ///< changes in each of them
  std::vector<Disc> discs;          ///< where the sum of each of them lies
  double low2 = 0.0;                ///< no choice so shared has a smaller objective squared
  bool certified = false;           ///< weights and multipliers are set
  ArrayXd weights;
  Holds holds;
  std::vector<double> prices;  ///< of scarce things, for the joint reach
};

/// All ways to share out exactly `changes` changes that the moment limits do not rule out.
[[nodiscard]] std::vector<Share> shares_of(const Model& model, const Tables& tables, std::size_t changes);

/// Multipliers found so far, tried on every new share: most shares are settled by those of another.
class CertificatePool {
 public:
  /// Raises `share.low2` by known multipliers until it exceeds `limit2`, then by its own continuous optimum.
  void certify(const Model& model, const Tables& tables, Share& share, double limit2);

 private:
  struct Certificate {
    ArrayXd weights;
    Holds holds;  ///< per plane of the model
    std::vector<double> prices;
  };
  bool known_to_fail(NodeRows node, const Model& model, Share& share, double limit2);
  void share_stock(NodeRows node, const Model& model, Share& share, double limit2);
  void remember(const Model& model, const Share& share);

  std::vector<Certificate> known_;
  std::vector<Complex> moments_;  ///< per plane: the last continuous optimum
};

/// Lower bounds of the objective squared that need no tables and no shares.
class TotalBound {
 public:
  explicit TotalBound(const Model& model);
  /// Of any number of changes, wherever.
  [[nodiscard]] double of_any();
  /// Of at most so many changes, shared out among the planes in the best way: cutting planes (J. E. Kelley,
  /// J. SIAM 8, 1960, from memory) on what all planes can reach together, until they gain little or
  /// `deadline`.
  [[nodiscard]] double of_at_most(std::size_t changes, Deadline& deadline);

 private:
  [[nodiscard]] double low2(const NodeRows& node, const ContinuousOptimum& optimum);
  [[nodiscard]] JointCut separating(const NodeRows& node, const std::vector<Complex>& moments);

  const Model& model_;
  JointReach joint_;
  Ledger ledger_;
  std::vector<FreePlane> planes_;
  std::vector<std::vector<Complex>> directions_;  ///< of cuts that were of use for fewer changes
  std::vector<double> prices_;                    ///< for pulls of the size of multipliers
  std::vector<double> cut_prices_;                ///< for pulls of the size of moments
};

/// The planes of a share, with what is known of them.
[[nodiscard]] std::vector<FreePlane> free_planes(const Tables& tables, const Share& share);

/// Largest squared row that none of the first `free` planes of the share can influence.
[[nodiscard]] double fixed_rows2(const Model& model, const Share& share, std::size_t free, const ArrayXd& re,
                                 const ArrayXd& im);

}  // namespace trimwright::slots_detail
