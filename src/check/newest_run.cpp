#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "influence/runs_fit.hpp"
#include "run_comparison.hpp"
#include "runs/same_moments.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/check.hpp"

namespace trimwright {
namespace {

/// By the runs of the same weights alone: no plane acts.
std::optional<Foretelling> by_repeats(const Job& job, std::size_t run) {
  Foretelling by{job, {}, true};
  by.job.runs.resize(run + 1);
  const auto now = run_unbalance(job, run);
  for (std::size_t r = 0; r < run; ++r)
    if (!job.runs[r].set_aside && (!same_moments(run_unbalance(job, r), now) || event_between(job, r, run)))
      by.job.runs[r].set_aside = "other weights";
  const Job before = job_before(by.job, run);
  const JointSystem system = joint_system(before, {});
  if (system.readings.empty()) return std::nullopt;
  const RunsFit fit = fit_runs(before, system);
  if (!fit.noise.known) return std::nullopt;
  by.model.convention = job.rotor.phase;
  by.model.runs.used = system.runs;
  by.model.centre.resize(0);
  by.model.posterior = posterior_of(fit);
  return by;
}

}  // namespace

std::optional<Foretelling> foretelling(const Job& job, std::size_t run, const Prior* prior) {
  if (auto settled = settle_and_fit(job_before(job, run), {}, prior); settled && settled->model.posterior) {
    Foretelling by{with_phase_convention(job, settled->model.convention), std::move(settled->model), false};
    if (why_not_foretold(by.job, by.model, run).empty()) return by;
  }
  auto by = by_repeats(job, run);
  if (by && !why_not_foretold(by->job, by->model, run).empty()) by.reset();
  return by;
}

namespace {

/// Asked is what happened before the newest run. Few runs hardly tell which of them is wrong, and two of the
/// same weights not at all: the likeliest kind is told of the newest run too, unless the odds are 1000 to 1
/// against it (our own figure), and alone where only repeats foretell the run.
void tell_of_newest(std::size_t run, bool by_repeats, MistakeRanking& ranking) {
  auto& kinds = ranking.kinds;
  const auto newest = std::find_if(kinds.begin(), kinds.end(), [&](const auto& one) {
    return one.run == run && one.kind == kinds.front().kind;
  });
  const auto told = kinds.begin() + static_cast<std::ptrdiff_t>(ranking.not_told_apart);
  if (newest == kinds.end() ||
      (!by_repeats && (newest < told || newest->probability < 1e-3 * kinds.front().probability)))
    return;
  std::rotate(by_repeats ? kinds.begin() : told, newest, newest + 1);
  ranking.not_told_apart = by_repeats ? 1 : ranking.not_told_apart + 1;
}

/// All runs together, where the newest is no worse than the others.
void compare_all_runs(const Job& job, Readiness& readiness, const Prior* prior) {
  const auto settled = settle_and_fit(job, {}, prior);
  if (settled && !runs_agree(settled->model))
    readiness.findings.push_back(
        {ReadinessConcern::runs_disagree, {}, {}, {}, excess_scatter(settled->model)});
}

/// The newest run with readings against those before it.
void compare_newest(const Job& job, Readiness& readiness, const Prior* prior, Deadline deadline) {
  const auto read = runs_read(job);
  if (read.empty() || read.back() == 0 || event_between(job, read.back() - 1, read.back())) return;
  const std::size_t run = read.back();
  const auto by = foretelling(job, run, prior);
  if (!by) return;
  MistakeRanking ranking = rank_mistakes(by->job, by->model, run, {}, prior, deadline);
  if (ranking.kinds.empty() || ranking.as_predicted()) return;
  tell_of_newest(run, by->by_repeats, ranking);
  std::string what = unexplained;
  if (names_a_cause(ranking.kinds.front().kind)) {
    what = "likeliest: " + likeliest_words(job, ranking);
    const auto told = ranking.kinds.begin() + static_cast<std::ptrdiff_t>(ranking.not_told_apart);
    const auto happened = std::find_if(ranking.kinds.begin(), told, [run](const auto& one) {
      return one.run == run && !event_key(one.kind).empty();
    });
    if (happened != told)
      what += fmt::format(". If that is what happened, say so at this run: before: [{}]",
                          event_key(happened->kind));
  }
  if (ranking.cut_short) what += "; the time limit came before every kind of mistake was weighed";
  readiness.findings.push_back(
      {ReadinessConcern::not_as_foretold, {}, {}, {run}, ranking.probability, 0.0, what});
}

}  // namespace

void compare_newest_run(const Job& job, Readiness& readiness, const Prior* prior, Deadline deadline) {
  if (prior != nullptr)  // it holds every reading to account
    std::erase_if(readiness.findings,
                  [](const auto& one) { return one.concern == ReadinessConcern::nothing_spare; });
  compare_newest(job, readiness, prior, deadline);
  if (!readiness.has(ReadinessConcern::not_as_foretold)) compare_all_runs(job, readiness, prior);
}

}  // namespace trimwright
