#pragma once

#include <cstdint>
#include <random>

#include "incumbent.hpp"
#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// Looks for better choices by taking out a few changes and putting others in: iterated local search (H. R.
/// Lourenço, O. C. Martin and T. Stützle in *Handbook of Metaheuristics*, 2003). Steps minimise a weighted
/// sum of squares, which costs a few operations a candidate however many rows there are; for the worst ratio
/// the weights follow the rows that are large (as in iteratively reweighted least squares for a high norm).
///
/// Repeats itself exactly: draws come from a fixed seed, and effort is counted, not timed.
class Descent {
 public:
  Descent(const Model& model, std::size_t changes, Contest& contest, Deadline& deadline);

  /// Tries `attempts` times, or until about `candidates` have been looked at.
  void run(int attempts, std::uint64_t candidates = ~std::uint64_t{0});
  [[nodiscard]] std::uint64_t looked_at() const { return looked_at_; }

 private:
  void follow_rows(const Picks& picks);
  void take_out_some(Picks& picks);
  bool fill(Picks& picks);
  bool add_best(Picks& picks, std::size_t room);

  const Model& model_;
  std::size_t changes_;
  Contest& contest_;
  Deadline& deadline_;
  std::mt19937 random_{20261};  // its sequence is fixed by the standard
  ArrayXd weights_;
  ArrayXd re_, im_;
  std::vector<bool> taken_;
  std::uint64_t looked_at_ = 0;
};

}  // namespace trimwright::slots_detail
