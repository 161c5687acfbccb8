#include "run_entry.hpp"

#include <fmt/format.h>

#include <filesystem>

#include "base/text.hpp"
#include "plan/steps.hpp"
#include "report/text_table.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

/// As a job file has it; nothing where a piece has no id or sits in no slot.
std::optional<std::string> as_written(const Rotor& rotor, const std::vector<FittedWeights>& fitted) {
  std::vector<FittedIds> planes;
  bool any = false;
  for (std::size_t p = 0; p < fitted.size(); ++p) {
    if (!fitted[p].free.empty()) return std::nullopt;
    planes.push_back({rotor.planes[p].name, {}});
    for (const auto& [slot, piece] : fitted[p].slots) {
      if (piece.weight_id.empty()) return std::nullopt;
      planes.back().ids.emplace_back(slot, piece.weight_id);
      any = true;
    }
  }
  return any ? fitted_yaml(planes) : "none";
}

}  // namespace

std::string run_entry(const Job& job, const BalancePlan& plan, const std::string& job_file) {
  if (plan.changes.empty()) return {};
  const bool trial = plan.kind == BalancePlan::Kind::trial;  // its weights come out again after it
  const std::string name = next_run_name(job, plan);
  const auto now = as_written(job.rotor, job.fitted_now),
             then = as_written(job.rotor, fitted_after(job, plan.changes));
  const std::string page =
      (std::filesystem::path(job_file).parent_path() / (trial ? "trial.html" : "plan.html")).string();
  std::string text =
      "\nON PAPER\n  trimwright page " + one_line(job_file) + " \\\n      -o " + one_line(page) + "\n" +
      wrapped("    ", "opens in any browser: the same with drawings, and sheets to print") +
      "\nAFTER THE RUN\n" +
      wrapped("  ", "Fill in the table of readings: the rows of run \"" + name + "\".") +
      wrapped("  ", "Enter the run in " + one_line(job_file) +
                        ", at the end of its list runs, with all that was fitted" + (then ? ":" : "."));
  if (then)
    text += "    - name: " + yaml_text(name) + "\n      fitted: " + *then +
            "\n      # when: YEAR-MONTH-DAY HOUR:MINUTE of the run; a trim is filed with it\n";
  if (trial && now)
    text += wrapped("  ", "Where the weight is taken out again, this line says so, below the runs:") +
            "    fitted_now: " + *now + "\n";
  if (!trial && job.fitted_now_stated)
    text += wrapped("  ", "Take the line fitted_now out: it tells what was in before.");
  return text + "\nNEXT\n  trimwright " + (trial ? "ready" : "check") + " " + one_line(job_file) + "\n";
}

}  // namespace trimwright
