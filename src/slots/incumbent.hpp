#pragma once

#include <cmath>
#include <limits>

#include "model.hpp"

namespace trimwright::slots_detail {

/// The best choice so far, and what a choice must do to be of interest.
class Contest {
 public:
  enum class Kind {
    better,  ///< wanted: a choice better than the best by more than the gap allowed
    tied     ///< wanted: of the choices as good as the best, the one that comes first (see compare_tied)
  };

  Contest(const Model& model, const SlotSearchOptions& options) : model_(&model), options_(&options) {}

  /// Takes the choice if it is better; `picks` sorted and admissible.
  void improve(const Picks& picks);
  /// Takes what was found for fewer changes unless the own choice is better by more than a tie.
  void inherit(const Contest& fewer);
  /// What a better choice of `changes` changes must stay below to matter: best less the gap. Squared;
  /// negative when nothing can matter any more.
  [[nodiscard]] double goal2(std::size_t changes) const;

  /// Begins looking for better choices below `limit2`, of `changes` changes.
  void look_for_better(std::size_t changes, double limit2);
  /// Begins looking among the choices tied with the best.
  void look_for_tied();
  /// A candidate of the search: taken if it is wanted and keeps the moment limits.
  void offer(Picks picks);

  /// Choices above are of no interest (objective squared; sum of squares).
  [[nodiscard]] double limit2() const { return limit2_; }
  [[nodiscard]] double sum_limit2() const { return sum_limit2_; }
  [[nodiscard]] bool looks_for_tied() const { return kind_ == Kind::tied; }
  /// Whether the sum of squares matters beside the worst ratio.
  [[nodiscard]] bool watches_sum() const { return looks_for_tied() && !model_->least_squares; }
  /// The same limits, raised by the rounding a bound may carry.
  [[nodiscard]] double prune2() const { return limit2_ + 1e-11 * std::abs(limit2_) + rounding2(*model_); }
  [[nodiscard]] double sum_prune2() const {
    return sum_limit2_ * (1.0 + 1e-11) + static_cast<double>(model_->rows()) * rounding2(*model_);
  }

  [[nodiscard]] bool found() const { return found_; }
  [[nodiscard]] const Picks& best() const { return best_; }
  [[nodiscard]] const Score& best_score() const { return score_; }
  [[nodiscard]] double best2() const {
    return found_ ? model_->squared(score_) : std::numeric_limits<double>::infinity();
  }

  /// The objective of the best.
  [[nodiscard]] double value() const { return std::sqrt(best2()); }

 private:
  void watch_sum();
  [[nodiscard]] double margin(std::size_t changes) const;

  const Model* model_;
  const SlotSearchOptions* options_;
  Kind kind_ = Kind::better;
  std::size_t changes_ = 0;
  double limit2_ = std::numeric_limits<double>::infinity();
  double sum_limit2_ = std::numeric_limits<double>::infinity();
  bool found_ = false;
  Picks best_;
  Score score_;
};

}  // namespace trimwright::slots_detail
