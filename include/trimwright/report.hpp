#pragma once

#include <string>
#include <vector>

#include "trimwright/check.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/job.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// The balance plan for a terminal or a printer: plain UTF-8 text, no colour; here and below no table is
/// wider than `width` columns, at least 80, and no sentence than 80.
[[nodiscard]] std::string plan_text(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                    const BalancePlan& plan, std::size_t width = 80);

/// The advice on the next trial run, and its plan.
[[nodiscard]] std::string trial_text(const Job& job, const TrialAdvice& advice, const BalancePlan& plan,
                                     std::size_t width = 80);

/// The influence coefficients and how well the runs settle them.
[[nodiscard]] std::string influence_text(const Job& job, const InfluenceModel& model, std::size_t width = 80);

/// Permissible specific unbalance of ISO 21940-11 by grade at `rpm`: for the shop, never a limit on wing.
[[nodiscard]] std::string tolerance_text(double rpm);

/// The verdict for a terminal or a printer.
[[nodiscard]] std::string check_text(const Job& job, const Verdict& verdict, std::size_t width = 80);

/// `trimwright ready` for a terminal. `job_file`: its path, as the next command names it; `knows_type`: the
/// job has a prior.
[[nodiscard]] std::string ready_text(const Job& job, const Readiness& readiness,
                                     const std::string& job_file = "JOB", bool knows_type = false,
                                     std::size_t width = 80);

/// The balance page: one self-contained HTML file (no network, no outside fonts or scripts) that shows the
/// plan, draws slots and vibration, answers "what if", and prints a sheet to file. `page_data` is the `page
/// 1` document of `page_json`; the page's own arithmetic starts from it. `verdict`: `verdict_on` the run made
/// with the plan's weights, which took no part in the model; null where there is none. Whatever names, notes
/// and serials hold is shown as text.
[[nodiscard]] std::string balance_page(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                       const BalancePlan& plan, const std::string& page_data,
                                       const Verdict* verdict = nullptr);

/// The advice of `advise_trial` as such a page: where the trial weight goes, what may be expected, when to
/// stop, and a blank run sheet to print.
[[nodiscard]] std::string trial_page(const Job& job, const TrialAdvice& advice, const BalancePlan& plan);

/// Such a page before any run: a blank run sheet to print. `job` may have no runs.
[[nodiscard]] std::string run_sheet_page(const Job& job);

}  // namespace trimwright
