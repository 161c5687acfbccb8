#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/check.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// One speed and sensor as the page shows it: every number as the sensor's readings are written.
struct PageRow {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::string speed_label;  ///< "56.1 %", or "2874" where no 100 % is declared
  ShownReading before;      ///< from the model, with what is fitted now
  ShownReading after;       ///< expected with the plan
  double limit = 0.0;
  std::optional<double> target;
  std::optional<double> after_sd;
  std::optional<double> differs_by;  ///< a reading further off than this is not as predicted: the
                                     ///< verdict's for the reading made, or else the plan's
  std::optional<ShownReading> first_since_event;  ///< of `PageView::first_run_since_event`
  std::optional<ShownReading> measured;           ///< of a run made with the plan's weights, in the mean
};

/// A job's plan with what the parts of its page share.
struct PageView {
  const Job& job;
  const InfluenceModel& model;
  const TrimPlan& trim;
  BalancePlan plan;                   ///< where a check run is judged, with its `differs_by`
  std::vector<FittedWeights> fitted;  ///< with the plan carried out, one per plane
  /// The first run whose readings may be used; drawn beside the model, which is as since then.
  std::optional<std::size_t> first_run_since_event;
  const Verdict* verdict = nullptr;  ///< on the last run, made with the plan's weights; null where none was
  std::vector<PageRow> rows;         ///< as TrimPlan::predictions

  [[nodiscard]] const Rotor& rotor() const { return job.rotor; }
  [[nodiscard]] const Sensor& sensor(const PageRow& row) const { return job.rotor.sensors[row.sensor]; }
  /// Null where nothing predicts the place.
  [[nodiscard]] const PageRow* row_at(std::size_t speed, std::size_t sensor) const;
  /// Entry of `rows`.
  [[nodiscard]] std::size_t number(const PageRow& row) const {
    return static_cast<std::size_t>(&row - rows.data());
  }
};

[[nodiscard]] PageView page_view(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                 const BalancePlan& plan, const Verdict* verdict);

/// Mean of a run's once-per-rev phasors at a place, as shown.
[[nodiscard]] std::optional<ShownReading> shown_reading(const Job& job, const std::optional<std::size_t>& run,
                                                        std::size_t speed, std::size_t sensor);

}  // namespace trimwright
