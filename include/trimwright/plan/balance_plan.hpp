#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

enum class StepKind {
  make_safe,
  confirm_numbering,
  count_fitted,
  take_out,
  put_in,
  second_check,
  torque_and_locking,
  run,
  compare,
  stop_levels,
  if_it_differs,
  do_nothing
};

/// One thing to do, with its particulars; `sign` asks for a name beside it.
struct Step {
  StepKind kind = StepKind::make_safe;
  std::string instruction;
  std::vector<std::string> particulars;
  bool sign = false;
};

/// What one place should read in the next run. Amplitudes are peak, in the sensor's unit symbol.
struct ExpectedReading {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::optional<Phasor> expected;    ///< empty where nothing predicts it
  std::optional<double> differs_by;  ///< Prediction::differs_by
  double stop_above = 0.0;           ///< end the run when it is exceeded: the limit
  std::optional<double> target{};
  std::optional<double> last_read{};  ///< amplitude in the last run that has this reading
};

/// What the technician does next, step by step.
struct BalancePlan {
  enum class Kind { trim, trial };
  Kind kind = Kind::trim;
  std::vector<SlotChange> changes;
  std::vector<Step> steps;
  std::vector<ExpectedReading> expected;  ///< every place to run, predicted or not, by speed, then sensor
  std::vector<std::string> cautions;
  std::vector<std::string> warnings;  ///< what speaks against carrying it out as it stands
};

/// The steps that carry out `trim` (its chosen row), or the moments of its correction in planes without
/// slots.
[[nodiscard]] BalancePlan plan_steps(const Job& job, const TrimPlan& trim);

/// Every place that the next run reads, with its prediction where there is one.
[[nodiscard]] std::vector<ExpectedReading> readings_to_take(const Job& job,
                                                            const std::vector<Prediction>& predictions);

/// Who signs a sheet, in order: "Fitted by", ...
[[nodiscard]] const std::vector<std::string>& signature_roles();

/// What every output says about the hazard and about who decides.
[[nodiscard]] const std::vector<std::string>& cautions();

}  // namespace trimwright
