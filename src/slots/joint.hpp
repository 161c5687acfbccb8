#pragma once

#include <vector>

#include "bound.hpp"
#include "prices.hpp"

namespace trimwright::slots_detail {

/// How far the moments of several planes reach together when they share a scarce stock or a budget: the
/// support function H(g) = max sum_p Re(conj(g_p) u_p) over choices of so many changes in each plane, from
/// above. By the same duality as in `Reach`, for any prices pi >= 0 of the pieces,
///
///   H(g) <= sum over pieces of pi * (how many lie in stock)
///           + sum over planes of the n slots of largest max over options of
///             (Re(conj(g_p) change) - pi of the pieces taken + pi of the pieces given back).
///
/// Where the planes may share out a number of changes as they like, the offers of all slots compete, and none
/// below zero is taken.
///
/// The supports of the planes one by one would let every plane have the whole stock, and all that is fitted
/// as well without a change that takes it out.
class JointReach {
 public:
  explicit JointReach(const Model& model);

  /// Upper bound of the sum of Re(conj(pull_p) u_p) over the free planes. `spare`, where given, becomes what
  /// is left of each piece by the choice that attains it: a subgradient in the prices; `moments` that
  /// choice's; and `others` the bound of all planes but the last, with all the stock.
  [[nodiscard]] double support(const NodeRows& node, const Holds& holds, const std::vector<double>& prices,
                               std::vector<double>* spare = nullptr, std::vector<Complex>* moments = nullptr,
                               double* others = nullptr) const;
  /// Prices at which that bound is small, sought from those given (subgradient steps of shrinking length).
  [[nodiscard]] std::vector<double> settle(const NodeRows& node, const Holds& holds,
                                           std::vector<double> prices, int steps = 60) const;

 private:
  /// What is wanted to know of the choice that attains the bound; null: nothing.
  struct Wanted {
    std::vector<double>* spare = nullptr;
    std::vector<Complex>* moments = nullptr;
    double* others = nullptr;
  };
  [[nodiscard]] double support_at(const NodeRows& node, const Holds& holds, const std::vector<ArrayXd>& best,
                                  const std::vector<double>& prices, const Wanted& wanted) const;
  [[nodiscard]] double best_together(const NodeRows& node, const std::vector<ArrayXd>& best,
                                     std::vector<std::vector<std::size_t>>& slots) const;
  void tell(const NodeRows& node, std::size_t j, Complex pull, std::size_t slot,
            const std::vector<double>& prices, const Wanted& wanted) const;

  std::vector<Kinds> kinds_;            ///< per plane of the model
  std::vector<double> largest_change_;  ///< the same
};

}  // namespace trimwright::slots_detail
