#include "trimwright/check.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "influence/usable_reading.hpp"
#include "runs/as_found.hpp"
#include "runs/next_steps.hpp"
#include "runs/same_moments.hpp"
#include "runs/used_runs.hpp"
#include "trim/time_words.hpp"
#include "trimwright/forecast.hpp"

namespace trimwright {
namespace {

std::vector<CheckedReading> limits_of(const Job& job, std::size_t run) {
  std::vector<CheckedReading> readings;
  for (const auto& reading : job.runs[run].readings) {
    const Place& place = place_of(job, reading.speed, reading.sensor);
    CheckedReading one;
    one.speed = reading.speed;
    one.sensor = reading.sensor;
    one.component = reading.component;
    if (const auto found = read_as_found(job, run, reading.speed, reading.sensor, reading.component))
      one.first = found->amplitude;
    one.amplitude = reading.amplitude;
    one.x = reading.x;
    one.limit = place.limit;
    one.target = place.target;
    readings.push_back(one);
  }
  std::stable_sort(readings.begin(), readings.end(), [](const auto& a, const auto& b) {
    return std::tuple(a.speed, a.sensor, a.component) < std::tuple(b.speed, b.sensor, b.component);
  });
  return readings;
}

/// What the runs before ask of run `run`, and it did not read.
std::vector<PlaceToRead> missing_readings(const Job& job, std::size_t run) {
  auto missing = readings_to_make(job_before(job, run));
  std::erase_if(missing, [&](const PlaceToRead& wanted) {
    const auto& all = job.runs[run].readings;
    return std::any_of(all.begin(), all.end(), [&](const Reading& one) {
      return one.speed == wanted.speed && one.sensor == wanted.sensor && one.component == wanted.component;
    });
  });
  return missing;
}

/// What the runs before let one expect of the readings.
void add_expected(const Job& job, const InfluenceModel& model, std::size_t run,
                  std::vector<CheckedReading>& readings) {
  const auto next = forecast(job_after(job, run), model, job.runs[run].fitted);
  for (const auto& made : job.runs[run].readings) {
    const Prediction* known = prediction_at(next.predictions, made.speed, made.sensor);
    if (known == nullptr || !known->parts || !why_not_usable(job, job.runs[run], made).empty()) continue;
    const double total = known->parts->total();
    for (auto& reading : readings) {
      if (reading.speed != made.speed || reading.sensor != made.sensor || reading.x != made.x ||
          reading.component != Component::once_per_rev)
        continue;
      reading.expected = known->after;
      reading.expected_sd = std::hypot(total, speed_effect(job, job.runs[run], made));
      reading.differs_by = *known->differs_by * *reading.expected_sd / total;
    }
  }
}

Outcome outcome_of(const Verdict& verdict) {
  if (verdict.above_limit() || !verdict.missing.empty()) return Outcome::not_accepted;
  return verdict.mistakes.kinds.empty() || verdict.mistakes.as_predicted()
             ? Outcome::accepted
             : Outcome::accepted_not_as_predicted;
}

bool likely_mistake(const Verdict& verdict) {
  return !verdict.mistakes.kinds.empty() && !verdict.mistakes.as_predicted();
}

bool once_per_rev_above(const Verdict& verdict, bool (CheckedReading::*above)() const) {
  return std::any_of(verdict.readings.begin(), verdict.readings.end(), [above](const CheckedReading& one) {
    return one.component == Component::once_per_rev && (one.*above)();
  });
}

/// Whether the trim lowers the largest ratio by more than is uncertain, or brings all below their targets.
bool helps(const Verdict& verdict, const TrimPlan& trim) {
  if (trim.has_slots() && trim.trade_off[trim.chosen].changes.empty()) return false;
  double sd = 0.0;
  for (const auto& one : trim.predictions)
    if (std::abs(one.after) >= 0.999 * trim.worst_ratio * one.limit)
      sd = std::max(sd, one.after_sd.value_or(0.0) / one.limit);
  if (verdict.worst_ratio - trim.worst_ratio > std::max(ratio_indifference, sd)) return true;
  return once_per_rev_above(verdict, &CheckedReading::above_target) && trim.has_slots() &&
         trim.trade_off[trim.chosen].meets_targets;
}

Result<void> plan_next(const Job& job, const TrimRequest& request, Verdict& verdict) {
  verdict.advice = verdict.above_limit() ? Advice::trim_again : Advice::may_trim_again;
  if (!verdict.refined) return {};
  auto trim = plan_trim(job_after(job, verdict.run), *verdict.refined, request);
  if (!trim) return tl::unexpected(trim.error());
  verdict.next = *std::move(trim);
  if (!helps(verdict, *verdict.next)) verdict.advice = Advice::stop_no_gain;
  return {};
}

Result<void> advise(const Job& job, const TrimRequest& request, Verdict& verdict) {
  if (likely_mistake(verdict)) {
    verdict.advice = verdict.mistakes.cause_known() ? Advice::look_first : Advice::stop_not_unbalance;
    return {};
  }
  const Trust trusted = verdict.refined ? trust(job, *verdict.refined) : Trust{};
  if (trusted.grade == Trust::Grade::contradicted) {
    verdict.advice = Advice::look_first;
    return {};
  }
  if (!verdict.missing.empty()) {
    verdict.advice = Advice::read_again;
    return {};
  }
  if (once_per_rev_above(verdict, &CheckedReading::above_target) ||
      once_per_rev_above(verdict, &CheckedReading::above_limit)) {
    if (trusted.sound()) return plan_next(job, request, verdict);
    verdict.advice = Advice::look_first;
    return {};
  }
  verdict.advice = verdict.above_limit() ? Advice::stop_other_source : Advice::done;
  return {};
}

}  // namespace

std::optional<double> CheckedReading::away() const {
  if (!x || !expected) return std::nullopt;
  return std::abs(*x - *expected);
}

std::optional<double> CheckedReading::off_by_sd() const {
  if (!away() || !expected_sd) return std::nullopt;
  return *away() / *expected_sd;
}

Result<std::size_t> find_check_run(const Job& job, const std::string& name) {
  std::size_t run = job.runs.size() - 1;
  if (!name.empty()) {
    const auto found = run_named(job, name);
    if (!found) {
      std::string names;
      for (const auto& one : job.runs) names += (names.empty() ? "\"" : " or \"") + one.name + "\"";
      return fail("the job has no run \"" + name + "\"", names);
    }
    run = *found;
  }
  const std::string called = "run \"" + job.runs[run].name + "\"";
  if (run == 0)
    return fail(called + " is the first run, so it cannot be the check run",
                "the runs that the trim was planned from, and the check run after them");
  if (job.runs[run].set_aside)
    return fail(called + " is set aside, so it cannot be the check run",
                "a run whose readings are used (--run names it)");
  if (job.runs[run].readings.empty())
    return fail(called + " has no readings, so it cannot be judged",
                "its readings, in the job or in its table");
  return run;
}

namespace {

/// A plane whose weights run `run` is the first to change: nothing before it tells how that plane acts.
std::string first_tried(const Job& job, std::size_t run) {
  auto before = runs_read(job);
  std::erase_if(before, [run](std::size_t one) { return one >= run; });
  if (before.empty()) return {};
  const auto tried = planes_changed(job, before);
  for (const std::size_t p : planes_changed(job, {before.front(), run}))
    if (std::find(tried.begin(), tried.end(), p) == tried.end()) return job.rotor.planes[p].name;
  return {};
}

}  // namespace

std::string trial_signs(const Job& job, std::size_t run, bool prior) {
  std::vector<std::string> signs;
  if (called_trial(job.runs[run])) signs.emplace_back("its name says so");
  if (const std::string tried = prior ? std::string{} : first_tried(job, run); !tried.empty())
    signs.push_back("no run before it changed the weights in plane \"" + tried + "\"");
  return fmt::format("{}", fmt::join(signs, ", and "));
}

bool taken_out_again(const Job& job, std::size_t run) {
  bool other = false;
  for (std::size_t p = 0; run + 1 == job.runs.size() && p < job.rotor.planes.size(); ++p) {
    const auto &then = job.runs[run].fitted[p], &now = job.fitted_now[p];
    other |= then.slots != now.slots ||
             !same_moment(total_moment(job.rotor.planes[p], then), total_moment(job.rotor.planes[p], now));
  }
  return other;
}

Job job_before(const Job& job, std::size_t run) {
  Job before = job;
  before.fitted_now = job.runs[run].fitted;
  before.runs.resize(run);
  return before;
}

Job job_after(const Job& job, std::size_t run) {
  Job after = job;
  if (run + 1 < job.runs.size()) after.fitted_now = job.runs[run].fitted;
  after.runs.resize(run + 1);
  return after;
}

namespace {

/// The job with earlier readings as they would be read since what happened right before the run.
Job as_foretold(const Job& job, std::size_t run, const Prior* prior) {
  if (prior != nullptr) return job;
  auto undone = with_events_undone(job, run);
  return undone ? std::move(*undone) : job;
}

}  // namespace

Verdict verdict_on(const Job& job, const InfluenceModel& model, std::size_t run, const TrimRequest& request,
                   const RunToRun& scatter, const Prior* prior) {
  Verdict verdict;
  verdict.run = run;
  verdict.readings = limits_of(job, run);
  verdict.missing = missing_readings(job, run);
  for (const auto& one : verdict.readings)
    if (one.component == Component::once_per_rev)
      verdict.worst_ratio = std::max(verdict.worst_ratio, one.amplitude / one.limit);

  auto refined = settle_and_fit(job_after(job, run), request.planes, prior);
  const Job seen = as_foretold(job, run, prior);
  verdict.not_predicted = why_not_foretold(seen, model, run);
  if (verdict.not_predicted.empty()) {
    add_expected(seen, model, run, verdict.readings);
    verdict.mistakes =
        rank_mistakes(seen, model, run, scatter, prior, request.end_of_call().after_share(0.5));
    if (verdict.mistakes.kinds.empty())
      verdict.left_open = fmt::format(
          "What may have gone wrong is not looked into: the runs have more than {} readings to compare.",
          most_readings_compared);
    if (verdict.mistakes.cut_short)
      verdict.left_open =
          what_ended(request) + " for what may have gone wrong before all was weighed. " + run_again(request);
  }
  if (refined && !likely_mistake(verdict)) verdict.refined = std::move(refined->model);
  verdict.outcome = outcome_of(verdict);
  return verdict;
}

Result<Verdict> judge(const Job& job, const InfluenceModel& model, std::size_t run,
                      const TrimRequest& request, const RunToRun& scatter, const Prior* prior) {
  Verdict verdict = verdict_on(job, model, run, request, scatter, prior);
  if (const auto advised = advise(job, request, verdict); !advised) return tl::unexpected(advised.error());
  return verdict;
}

Result<JudgedJob> judge_job(const Job& job, const TrimRequest& request, const std::string& name,
                            const Prior* prior) {
  if (const auto sure = check_confirmed(job.rotor); !sure) return tl::unexpected(sure.error());
  const auto run = find_check_run(job, name);
  if (!run) return tl::unexpected(run.error());
  auto settled = settle_and_fit(job_before(as_foretold(job, *run, prior), *run), request.planes, prior);
  const std::string signs = name.empty() ? trial_signs(job, *run, prior != nullptr) : std::string{};
  if (!signs.empty() && (settled || called_trial(job.runs[*run])))
    return tl::unexpected(
        Error{"there is no check run yet: run \"" + job.runs[*run].name +
                  "\", the last one, looks like a trial run: " + signs,
              "the run made with the plan's weights, entered as the last run of the job; or --run \"" +
                  job.runs[*run].name + "\", if it is to be judged",
              {},
              "check run"});
  if (!settled) {
    const std::string tried = first_tried(job, *run);
    settled.error().what =
        "the runs before \"" + job.runs[*run].name + "\" predict nothing: " + settled.error().what;
    if (!tried.empty())
      settled.error().what += " (run \"" + job.runs[*run].name +
                              "\" is itself the first to change weights in plane \"" + tried +
                              "\"; trimwright influence holds it against the other runs)";
    return tl::unexpected(settled.error());
  }
  JudgedJob judged{with_phase_convention(job, settled->model.convention), std::move(settled->model), {}};
  auto verdict = judge(judged.job, judged.model, *run, request, {}, prior);
  if (!verdict) return tl::unexpected(verdict.error());
  judged.verdict = *std::move(verdict);
  return judged;
}

}  // namespace trimwright
