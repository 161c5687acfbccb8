#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "influence/runs_fit.hpp"
#include "runs/same_moments.hpp"
#include "trimwright/check.hpp"

namespace trimwright {
namespace {

/// A run, the runs that foretell it, and what they say.
struct Foretelling {
  Job job;
  InfluenceModel model;
};

/// By the runs of the same weights alone: no plane acts.
std::optional<Foretelling> by_repeats(const Job& job, std::size_t run) {
  Foretelling by{job, {}};
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

std::optional<Foretelling> foretelling(const Job& job, std::size_t run, const Prior* prior) {
  if (auto settled = settle_and_fit(job_before(job, run), {}, prior); settled && settled->model.posterior) {
    Foretelling by{with_phase_convention(job, settled->model.convention), std::move(settled->model)};
    if (why_not_foretold(by.job, by.model, run).empty()) return by;
  }
  auto by = by_repeats(job, run);
  if (by && !why_not_foretold(by->job, by->model, run).empty()) by.reset();
  return by;
}

/// How the job says what the likeliest cause is.
std::string event_key(MistakeKind kind) {
  switch (kind) {
    case MistakeKind::reference_shifted:
      return "{reference: moved}";
    case MistakeKind::time_delay:
      return "{delay: changed}";
    case MistakeKind::rotor_changed:
      return "{baseline: new}";
    case MistakeKind::sensor_changed:
      return "{sensor: its name}";
    default:
      return {};
  }
}

}  // namespace

void compare_newest_run(const Job& job, Readiness& readiness, const Prior* prior) {
  std::size_t run = job.runs.size();
  while (run > 0 && (job.runs[run - 1].set_aside || job.runs[run - 1].readings.empty())) --run;
  if (run < 2 || event_between(job, run - 2, run - 1)) return;
  --run;
  const auto by = foretelling(job, run, prior);
  if (!by) return;
  const MistakeRanking ranking = rank_mistakes(by->job, by->model, run, {}, prior, TrimRequest{}.deadline());
  if (ranking.kinds.empty() || ranking.as_predicted()) return;
  // Two runs that differ do not tell which of them is wrong: asked is what happened before the newest.
  const auto told = ranking.kinds.begin() + static_cast<std::ptrdiff_t>(ranking.not_told_apart);
  auto likeliest =
      std::find_if(ranking.kinds.begin(), told, [run](const auto& one) { return one.run == run; });
  if (likeliest == told)
    likeliest = std::find_if(ranking.kinds.begin(), ranking.kinds.end(), [&](const auto& one) {
      return one.run == run && one.kind == ranking.kinds.front().kind;
    });
  if (likeliest == ranking.kinds.end()) likeliest = ranking.kinds.begin();
  std::string what = "nothing considered here explains it";
  if (names_a_cause(likeliest->kind)) {
    double probability = 0.0;
    for (const auto& one : ranking.kinds) probability += one.kind == likeliest->kind ? one.probability : 0.0;
    what = fmt::format("likeliest, {:.0f} %: {}", std::min(99.0, 100.0 * probability),
                       mistake_words(job, *likeliest));
    const std::string key = event_key(likeliest->kind);
    if (!key.empty() && likeliest->run == run)
      what += fmt::format(". If that is what happened, say so at this run: before: [{}]", key);
  }
  readiness.findings.push_back(
      {ReadinessConcern::not_as_foretold, {}, {}, {run}, ranking.probability, 0.0, what});
}

}  // namespace trimwright
