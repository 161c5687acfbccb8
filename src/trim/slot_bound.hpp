#pragma once

#include <limits>
#include <vector>

#include "slot_model.hpp"

namespace trimwright::slots_detail {

/// What one quadratic says about the moment u of one plane: the objective squared is at least
/// `low` + `curvature` |u - centre|^2.
struct NextDisc {
  double low = -std::numeric_limits<double>::infinity();
  double curvature = 0.0;
  Complex centre;

  [[nodiscard]] double at(Complex u) const { return low + curvature * std::norm(u - centre); }
  /// Beyond this radius about `centre` the objective squared exceeds `limit2`; negative: everywhere.
  [[nodiscard]] double radius(double limit2) const;
};

/// The rows of a node: what is left of the residual when some planes are fixed, and the planes still free.
/// The plane to be fixed next stands last in `free`.
struct NodeRows {
  const ArrayXd* re = nullptr;
  const ArrayXd* im = nullptr;
  const std::vector<const PlaneModel*>* planes = nullptr;  ///< the first `free` of them
  const Disc* discs = nullptr;                             ///< where the moment of each must lie
  std::size_t free = 0;
};

/// A lower bound by weak duality. For any weights w >= 0 of the rows (with sum one, for the worst ratio; all
/// one, for least squares) and multipliers mu >= 0 of the discs |u_p - o_p| <= r_p,
///
///   objective^2 >= min over all u of  sum_i w_i |x_i(u)|^2 + sum_p mu_p (|u_p - o_p|^2 - r_p^2),
///
/// a quadratic in u whose minimum, and whose minimum over all planes but one, come from one factorisation
/// L D L^H (Lawson's weights for the worst ratio: C. L. Lawson's thesis, UCLA 1961, from memory; the reach
/// discs as in any Lagrangian relaxation).
class DualBound {
 public:
  /// Sets the quadratic from weights and multipliers and minimises it.
  void evaluate(const NodeRows& node, const ArrayXd& weights, const std::vector<double>& mu);

  /// min of the quadratic: a lower bound of the objective squared.
  [[nodiscard]] double low() const { return low_; }
  /// The same as a function of the next plane's moment (all other free planes at their best), with the
  /// multiplier of that plane's own disc and without it.
  [[nodiscard]] const NextDisc& with_own_disc() const { return with_own_; }
  [[nodiscard]] const NextDisc& without_own_disc() const { return without_own_; }
  [[nodiscard]] const std::vector<Complex>& minimiser() const { return minimiser_; }
  /// Squared rows at the minimiser.
  [[nodiscard]] const ArrayXd& squares() const { return squares_; }

  /// Fills `squares` with |x_i|^2 at the minimiser; whether it lies in all discs.
  bool look_at_minimiser(const NodeRows& node);
  /// Moves the multipliers so that the minimiser would meet the discs it leaves (one step).
  void step_multipliers(const NodeRows& node, std::vector<double>& mu) const;

 private:
  void fill(const NodeRows& node, const ArrayXd& weights);
  void add_discs(const NodeRows& node, const std::vector<double>& mu);
  void factor();
  void find_minimiser();

  std::size_t n_ = 0;
  std::vector<Complex> a_, l_, b_, z_, minimiser_;  // a_: lower triangle, row by row
  std::vector<double> d_, ridge_;
  double c_ = 0.0;
  double own_mu_ = 0.0;
  double low_ = 0.0;
  NextDisc with_own_, without_own_;
  ArrayXd squares_;
};

/// Improves weights and multipliers until the bound exceeds `limit2`, a point shows that it never can, or
/// `most_steps` are done. `weights` and `mu` become the best ones met, and `bound` belongs to them.
void tighten(const NodeRows& node, bool least_squares, double limit2, int most_steps, ArrayXd& weights,
             std::vector<double>& mu, DualBound& bound);

}  // namespace trimwright::slots_detail
