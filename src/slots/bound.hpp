#pragma once

#include <limits>
#include <vector>

#include "model.hpp"
#include "reach.hpp"

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

/// The same where the curvature may be nothing: at least `constant` + 2 Re(conj(slope) u) + `curvature`
/// |u|^2.
struct NextQuadratic {
  double constant = kNone;  ///< minus infinity: nothing is known
  Complex slope;
  double curvature = 0.0;

  [[nodiscard]] bool known() const { return constant > kNone; }
  [[nodiscard]] double at(Complex u) const {
    return constant + 2.0 * (slope.real() * u.real() + slope.imag() * u.imag()) + curvature * std::norm(u);
  }
};

/// A plane whose moment is still free: a sum of `count` changes.
struct FreePlane {
  const PlaneModel* plane = nullptr;
  const Reach* reach = nullptr;  ///< null: only the disc is known
  std::size_t count = 0;
};

class JointReach;

/// A node: what is left of the residual when some planes are fixed, and the planes still free. The plane to
/// be fixed next stands last.
struct NodeRows {
  const ArrayXd* re = nullptr;
  const ArrayXd* im = nullptr;
  const std::vector<FreePlane>* planes = nullptr;  ///< the first `free` of them
  const Disc* discs = nullptr;                     ///< where the moment of each must lie
  std::size_t free = 0;
  const Ledger* ledger = nullptr;               ///< the stock that is left
  const JointReach* joint = nullptr;            ///< of all planes; null: they share no scarce stock
  const std::vector<double>* prices = nullptr;  ///< of scarce things, for the joint reach
  /// Not zero: the planes may share out at most so many changes as they like.
  std::size_t together = 0;

  [[nodiscard]] const PlaneModel& plane(std::size_t j) const { return *(*planes)[j].plane; }
  /// What plane j can take of scarce things beyond what it gives back.
  [[nodiscard]] std::vector<double> obtainable(std::size_t j) const {
    std::size_t others = 0;
    for (std::size_t i = 0; i < free; ++i) others += i == j ? 0 : (*planes)[i].count;
    std::vector<double> scarce;
    ledger->obtainable(&plane(j), others, scarce);
    return scarce;
  }
  /// Upper bound of Re(conj(pull) u_j).
  [[nodiscard]] double support(std::size_t j, Complex pull) const {
    if ((*planes)[j].reach == nullptr)
      return (std::conj(pull) * discs[j].centre).real() + std::abs(pull) * discs[j].radius;
    return (*planes)[j].reach->support((*planes)[j].count, pull, obtainable(j));
  }
};

/// Multipliers of what is known of one plane's moment u: |u - o| <= r, and Re(conj(pull) u) <= support.
struct Hold {
  double mu = 0.0;
  Complex pull;
};
using Holds = std::vector<Hold>;

/// A lower bound by weak duality. For any weights w >= 0 of the rows (with sum one, for the worst ratio; all
/// one, for least squares), any multipliers mu >= 0 and any pulls g,
///
///   objective^2 >= min over all u of  sum_i w_i |x_i(u)|^2
///                                     + sum_p mu_p (|u_p - o_p|^2 - r_p^2) + Re(conj(g_p) u_p) - h_p(g_p),
///
/// h the support function: a quadratic in u whose minimum, and whose minimum over all planes but one, come
/// from one factorisation L D L^H. (Lawson's weights for the worst ratio: C. L. Lawson's thesis, UCLA 1961,
/// from memory; the rest is Lagrangian relaxation.)
class DualBound {
 public:
  /// Sets the quadratic and minimises it.
  void evaluate(const NodeRows& node, const ArrayXd& weights, const Holds& holds);

  /// min of the quadratic: a lower bound of the objective squared.
  [[nodiscard]] double low() const { return low_; }
  /// The same as a function of the next plane's moment (all other free planes at their best), with the
  /// multipliers of that plane itself and without them.
  [[nodiscard]] const NextDisc& held() const { return held_; }
  [[nodiscard]] const NextDisc& unheld() const { return unheld_; }
  /// Without them, and the other planes must make do with what the next plane leaves in stock: to be added is
  /// what its choice takes at the prices of the joint reach, less what it gives back.
  [[nodiscard]] const NextQuadratic& priced() const { return priced_; }
  [[nodiscard]] const std::vector<Complex>& minimiser() const { return minimiser_; }
  /// Squared rows at the minimiser.
  [[nodiscard]] const ArrayXd& squares() const { return squares_; }

  /// Fills `squares` with |x_i|^2 at the minimiser; whether it lies in all discs.
  bool look_at_minimiser(const NodeRows& node);
  /// Moves the multipliers so that the minimiser would keep to where the moments can lie (one step).
  void step_holds(const NodeRows& node, Holds& holds) const;

 private:
  void fill(const NodeRows& node, const ArrayXd& weights);
  void add_holds(const NodeRows& node, const Holds& holds);
  void share_stock(const NodeRows& node, double supports, double own_support);
  void factor();
  void find_minimiser();

  std::size_t n_ = 0;
  std::vector<Complex> a_, l_, b_, z_, minimiser_;  // a_: lower triangle, row by row
  std::vector<double> d_, ridge_;
  double c_ = 0.0;
  Holds used_;                ///< as used, per free plane
  Hold own_;                  ///< of the next plane, as used
  double own_c_ = 0.0;        ///< what it adds to c_
  double priced_more_ = 0.0;  ///< what the priced quadratic lies above the one without own multipliers
  double size_ = 0.0;         ///< what the quadratic's terms can amount to
  double low_ = 0.0;
  NextDisc held_, unheld_;
  NextQuadratic priced_;
  ArrayXd squares_;
};

/// Improves weights and multipliers until the bound exceeds `limit2`, a point shows that it never can, or
/// `most_steps` are done. `weights` and `holds` become the best ones met, and `bound` belongs to them.
void tighten(const NodeRows& node, bool least_squares, double limit2, int most_steps, ArrayXd& weights,
             Holds& holds, DualBound& bound);

}  // namespace trimwright::slots_detail
