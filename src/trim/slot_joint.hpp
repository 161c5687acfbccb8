#pragma once

#include <vector>

#include "slot_bound.hpp"

namespace trimwright::slots_detail {

/// How far the moments of several planes reach together when they share a scarce stock: the support function
/// H(g) = max sum_p Re(conj(g_p) u_p) over choices of so many changes in each plane, from above. By the same
/// duality as in `Reach`, for any prices pi >= 0 of the pieces,
///
///   H(g) <= sum over pieces of pi * (how many lie in stock)
///           + sum over planes of the n slots of largest max over options of
///             (Re(conj(g_p) change) - pi of the pieces taken + pi of the pieces given back).
///
/// The supports of the planes one by one would let every plane have the whole stock, and all that is fitted
/// as well without a change that takes it out.
class JointReach {
 public:
  explicit JointReach(const Model& model);

  /// Upper bound of the sum of Re(conj(pull_p) u_p) over the free planes. `spare`, where given, becomes what
  /// is left of each piece by the choice that attains it: a subgradient in the prices.
  [[nodiscard]] double support(const NodeRows& node, const Holds& holds, const std::vector<double>& prices,
                               std::vector<double>* spare = nullptr) const;
  /// Prices at which that bound is small, sought from those given (subgradient steps of shrinking length).
  [[nodiscard]] std::vector<double> settle(const NodeRows& node, const Holds& holds,
                                           std::vector<double> prices) const;

 private:
  struct Offer {
    double value = 0.0;
    std::uint32_t entry = 0;
  };
  double best_of_plane(const FreePlane& plane, Complex pull, const std::vector<double>& prices,
                       std::vector<double>* spare) const;

  const Model* model_;
};

}  // namespace trimwright::slots_detail
