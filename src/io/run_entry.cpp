#include "run_entry.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "base/name.hpp"
#include "base/text.hpp"
#include "report/text_table.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

bool has_run(const Job& job, const std::string& name) {
  return std::any_of(job.runs.begin(), job.runs.end(), [&](const Run& run) { return alike(run.name, name); });
}

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

std::string run_entry(const Job& job, const std::vector<SlotChange>& changes, const std::string& job_file,
                      const RunToEnter& run) {
  if (changes.empty()) return {};
  auto fitted = job.fitted_now;
  for (const auto& change : changes) {
    if (change.fit)
      fitted[change.plane].slots[change.slot] = *change.fit;
    else
      fitted[change.plane].slots.erase(change.slot);
  }
  std::string name = run.called;
  for (int n = 2; has_run(job, name); ++n) name = fmt::format("{} {}", run.called, n);
  const auto now = as_written(job.rotor, job.fitted_now), then = as_written(job.rotor, fitted);
  const std::string page = (std::filesystem::path(job_file).parent_path() / run.page).string();
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
  if (run.taken_out && now)
    text += wrapped("  ", "Where the weight is taken out again, this line says so, below the runs:") +
            "    fitted_now: " + *now + "\n";
  if (!run.taken_out && job.fitted_now_stated)
    text += wrapped("  ", "Take the line fitted_now out: it tells what was in before.");
  return text + "\nNEXT\n  trimwright " + run.next + " " + one_line(job_file) + "\n";
}

}  // namespace trimwright
