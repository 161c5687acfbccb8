#pragma once

#include <complex>
#include <string>
#include <vector>

#include "trimwright/check.hpp"

namespace trimwright {

/// A way in which the weights may really have been fitted, for one kind of mistake.
struct FittingMistake {
  MistakeKind kind = MistakeKind::missing;
  std::string what;
  double share = 1.0;                              ///< beside the other forms of its kind, before scaling
  std::vector<std::complex<double>> extra_moment;  ///< really fitted minus written down, per plane [g mm]
  std::vector<PlacedPiece> pieces;                 ///< put in wrongly; empty where something was left in
};

/// Every such way for run `run`: pieces count as newly fitted where the run before did not have them.
[[nodiscard]] std::vector<FittingMistake> fitting_mistakes(const Job& job, std::size_t run);

}  // namespace trimwright
