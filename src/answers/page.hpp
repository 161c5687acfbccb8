#pragma once

#include <string>
#include <vector>

#include "planned.hpp"

namespace trimwright {

/// A page as HTML, and the files it was made from.
struct PageAnswer {
  std::string html;
  std::vector<std::string> sources;
  std::vector<std::string> notes{};  ///< `JobFile::notes`
  bool nothing_found = false;        ///< `TrimPlan::nothing_found`
  std::string next_run{};            ///< `next_run_name`; empty: the page has no plan
};

/// The page for where a job stands: a blank run sheet before any run, the next trial run while nothing tells
/// how the planes act, else the plan, with the verdict on a last run that was made with its weights. Options
/// that ask for a plan in particular get one, or its error. Errors: those of the job's files, of the trial's
/// advice, the plan and the verdict.
[[nodiscard]] Result<PageAnswer> page_of_job(const std::string& path, const PlanOptions& options);

/// The blank run sheet of a job, whatever it holds so far.
[[nodiscard]] Result<PageAnswer> run_sheet_of_job(const std::string& path);

}  // namespace trimwright
