#include "trimwright/trim.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>

#include "forecast/outlook.hpp"
#include "opposed_pair.hpp"
#include "probable_bound.hpp"
#include "probable_choice.hpp"
#include "recommendation.hpp"
#include "slot_catalogue.hpp"
#include "time_words.hpp"
#include "trade_off.hpp"
#include "trim_conflict.hpp"
#include "trim_rows.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

Eigen::VectorXcd moments_of(const Correction& correction) {
  Eigen::VectorXcd moments(static_cast<Index>(correction.parts.size()));
  for (std::size_t p = 0; p < correction.parts.size(); ++p)
    moments(static_cast<Index>(p)) = correction.parts[p].moment_to_add;
  return moments;
}

/// What is fitted now, and the moments of the correction beside it.
std::vector<FittedWeights> fitted_with(const Job& job, const Correction& correction) {
  auto fitted = job.fitted_now;
  for (const auto& part : correction.parts)
    fitted[part.plane].free.push_back({std::abs(part.moment_to_add), RotorAngle::of(part.moment_to_add)});
  return fitted;
}

/// Standard deviation of the largest ratio, where known.
double worst_ratio_sd(const std::vector<Prediction>& predictions) {
  const auto worst = std::max_element(
      predictions.begin(), predictions.end(),
      [](const auto& a, const auto& b) { return std::abs(a.after) / a.limit < std::abs(b.after) / b.limit; });
  return worst == predictions.end() ? 0.0 : worst->after_sd.value_or(0.0) / worst->limit;
}

/// In each plane what the most changes allowed can add, every one the largest of its slot.
Eigen::VectorXd reach_of(const SlotProblem& problem) {
  std::vector<std::vector<double>> largest(static_cast<std::size_t>(problem.response.cols()));
  for (const auto& slot : problem.slots) {
    double most = 0.0;
    for (const auto& option : slot.options) most = std::max(most, std::abs(option.change));
    largest[static_cast<std::size_t>(slot.plane)].push_back(most);
  }
  Eigen::VectorXd reach(problem.response.cols());
  for (std::size_t p = 0; p < largest.size(); ++p) {
    auto& of_plane = largest[p];
    std::sort(of_plane.begin(), of_plane.end(), std::greater<>());
    of_plane.resize(std::min(of_plane.size(), static_cast<std::size_t>(problem.max_changes)));
    reach(static_cast<Index>(p)) = std::accumulate(of_plane.begin(), of_plane.end(), 0.0);
  }
  return reach;
}

/// How close to the best possible choices by probability come: bounds of the rows, and a note.
void bound_chances(const Job& job, const InfluenceModel& model, const TrimRows& rows,
                   const SlotProblem& problem, const Deadline& deadline, TrimPlan& plan) {
  double known = 0.0;
  for (const auto& row : plan.trade_off) known = std::max(known, row.outlook->meets_targets);
  const auto most = most_probable(*model.belief, rows.unbalance_now, rows.entries,
                                  row_levels(job, *model.belief).target, reach_of(problem), known, deadline);
  for (auto& row : plan.trade_off) {
    if (most) row.bound = std::min(row.objective, 1.0 - most->bound);
    row.proved_optimal = row.bound == row.objective;
  }
  plan.notes.push_back(
      "Chosen by the probability that every reading meets its target: the best of the choices near the most "
      "probable moments and of those with the smallest worst ratio." +
      (most ? fmt::format(
                  " No choice with up to {} changes has a larger one than {:.1f} %: weights of every "
                  "size, at every angle, fitted exactly, would reach {:.1f} % at least and {:.1f} % at "
                  "most.",
                  problem.max_changes, 100.0 * most->bound, 100.0 * most->found, 100.0 * most->bound)
            : std::string(
                  " How much larger that of another may be is not known: the job is too large for it.")));
}

/// What an objective by probability needs, and what it does not go with.
Result<void> check_probable(const InfluenceModel& model, const TrimRequest& request) {
  if (!model.belief)
    return fail("no choice by probability: nothing tells how well the readings repeat",
                "repeatability of every sensor in the rotor file, repeated runs, or another objective");
  if (request.best > 1 || request.both_objectives)
    return fail("a choice by probability has no proved alternatives to list",
                "objective \"worst ratio\" or \"least squares\" with --best and --both-objectives");
  return {};
}

/// Moments that make the targets most probable, in place of those of the smallest worst ratio.
void take_probable_moments(const Job& job, const InfluenceModel& model, const TrimRows& rows,
                           const Deadline& deadline, Correction& correction) {
  const auto moments = probable_moments(job, *model.belief, rows, moments_of(correction), deadline);
  for (std::size_t p = 0; p < correction.parts.size(); ++p)
    correction.parts[p].moment_to_add = moments(static_cast<Index>(p));
  correction.worst_ratio = rows.worst_ratio(moments);
}

/// Why no choice is admissible.
tl::unexpected<Error> nothing_admissible(const Job& job, const InfluenceModel& model,
                                         const TrimRequest& request, const std::vector<std::size_t>& planes,
                                         const std::vector<SlotChoice>& choices, const Deadline& deadline) {
  if (!std::isinf(choices.back().bound))
    return fail("no choice of weights that keeps all rules is found yet. " + what_ended(request) + ". " +
                    run_again(request),
                "more time, or looser rules");
  const Conflict conflict = conflicting_rules(job, model, request, planes, deadline);
  std::string rules;
  for (const auto& rule : conflict.rules) rules += (rules.empty() ? "" : "; ") + rule;
  return fail("no choice of weights keeps all rules. " +
                  std::string(conflict.smallest ? "These contradict each other: "
                                                : "The contradiction is among these: ") +
                  rules,
              "one of these rules looser");
}

/// Bound on the unweighted worst ratio over everything allowed.
double overall_bound(const TrimPlan& plan, const TrimRows& rows, const std::vector<SlotChoice>& choices) {
  double bound = plan.correction.bound;
  if (plan.request.objective == SlotObjective::worst_ratio && plan.request.penalty <= 0.0)
    bound = std::max(bound, choices.back().bound / rows.weight.maxCoeff());
  for (const auto& row : plan.trade_off) bound = std::min(bound, row.worst_ratio);
  return bound;
}

/// Fewest changes without a row of their own that were not proved to gain nothing.
std::optional<int> unsettled_from(const std::vector<SlotChoice>& choices) {
  for (std::size_t m = 0; m < choices.size(); ++m)
    if (choices[m].changes.size() < m && choices[m].stopped == SlotChoice::Stopped::time_limit &&
        !choices[m].proved_optimal)
      return static_cast<int>(m);
  return std::nullopt;
}

Result<TrimPlan> plan_with_planes(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                                  const std::vector<std::size_t>& planes, const Deadline& deadline) {
  auto rows = trim_rows(job, model, request, planes);
  if (!rows) return tl::unexpected(rows.error());
  auto correction = correction_of(*rows, request);
  if (!correction) return tl::unexpected(correction.error());
  if (request.most_probable) {
    if (const auto fits = check_probable(model, request); !fits) return tl::unexpected(fits.error());
    take_probable_moments(job, model, *rows, deadline.after_share(0.25), *correction);
  }

  const bool by_default_likely = model.belief && !request.objective_asked && !request.most_probable &&
                                 request.best == 1 && !request.both_objectives;
  TrimPlan plan;
  plan.planes = planes;
  plan.trust = trust(job, model);
  plan.request = request;
  plan.correction = *correction;
  const auto slotted = std::count_if(planes.begin(), planes.end(),
                                     [&](std::size_t p) { return job.rotor.planes[p].slots.has_value(); });
  if (slotted == 0) {
    add_forecast(plan, forecast(job, model, fitted_with(job, plan.correction)));
    plan.worst_ratio = plan.correction.worst_ratio;
    plan.bound = plan.correction.bound;
    return plan;
  }
  if (slotted != static_cast<std::ptrdiff_t>(planes.size()))
    return fail("the trim would use planes with slots and planes without",
                "a trim over one kind: name its planes");

  for (const std::size_t p : planes)
    if (const auto known = check_masses(job.rotor.planes[p], job.fitted_now[p]); !known)
      return tl::unexpected(known.error());
  const SlotCatalogue catalogue(job, request, *rows);
  const bool more_to_search =
      request.best > 1 || request.both_objectives || request.most_probable || by_default_likely;
  const auto choices =
      search_slots(catalogue.problem(), {0.0, 0.0, deadline.after_share(more_to_search ? 0.5 : 1.0)});
  plan.trade_off = request.most_probable ? probable_rows(job, model, *rows, catalogue, choices,
                                                         moments_of(plan.correction), deadline)
                                         : trade_off_rows(catalogue, choices, *rows);
  if (plan.trade_off.empty()) return nothing_admissible(job, model, request, planes, choices, deadline);
  const auto best =
      std::min_element(plan.trade_off.begin(), plan.trade_off.end(),
                       [](const auto& a, const auto& b) { return a.worst_ratio < b.worst_ratio; });
  const auto next_run = [&](const TradeOffRow& row) {
    return forecast(job, model, fitted_after(job, row.changes));
  };
  for (auto& row : plan.trade_off) row.outlook = next_run(row).outlook;
  const double sd_of_best = worst_ratio_sd(next_run(*best).predictions);
  if (by_default_likely && deadline.seconds_left() > 0.0)
    add_likelier_rows(plan.trade_off,
                      probable_rows(job, model, *rows, catalogue, choices,
                                    probable_moments(job, *model.belief, *rows, moments_of(plan.correction),
                                                     deadline.after_share(0.5)),
                                    deadline));
  if (by_default_likely && deadline.seconds_left() <= 0.0)
    plan.notes.push_back(what_ended(request) +
                         " before all choices that may be likelier to meet every target were judged, so that "
                         "another run of the program may give other weights. " +
                         run_again(request));
  const auto advised = recommendation(job, plan.trade_off, sd_of_best, model,
                                      forecast(job, model, fitted_with(job, plan.correction)).outlook);
  plan.why = advised.why;
  const auto at = plan.trade_off.begin() + static_cast<std::ptrdiff_t>(advised.row);
  auto calmer =
      request.most_probable || request.objective_asked || request.best > 1
          ? std::nullopt
          : without_opposed_pair(job, model, *at, choices, catalogue, *rows, deadline.after_share(0.5));
  if (calmer) {
    calmer->bound = std::min(at->bound, calmer->objective);
    calmer->proved_optimal = false;
    plan.why += fmt::format(
        " With {} opposing each other the largest expected amplitude would be {:.3f} of its limit; the "
        "choice "
        "shown first does as well without, at {:.3f}.",
        opposed_pair(job, at->changes), at->worst_ratio, calmer->worst_ratio);
    plan.trade_off.insert(at, *std::move(calmer));
  }
  plan.trade_off[advised.row].recommended = true;
  auto chosen = chosen_row(plan);
  if (!chosen) return tl::unexpected(chosen.error());
  plan.chosen = *chosen;
  add_forecast(plan, next_run(plan.trade_off[plan.chosen]));
  plan.worst_ratio = plan.trade_off[plan.chosen].worst_ratio;
  plan.bound = overall_bound(plan, *rows, choices);
  if (request.best > 1)
    plan.alternatives =
        alternatives_to(plan.trade_off[plan.chosen], choices, catalogue, request, *rows,
                        deadline.after_share(request.both_objectives ? 0.5 : 1.0), plan.notes);
  if (request.most_probable) bound_chances(job, model, *rows, catalogue.problem(), deadline, plan);
  if (request.both_objectives)
    plan.other_trade_off = trade_off_of_other(job, request, *rows, deadline, plan.notes);
  plan.unsettled_from = unsettled_from(choices);
  if (plan.unsettled_from)
    plan.notes.push_back(fmt::format("{}: whether {} or more changes gain anything is open. {}",
                                     what_ended(request), *plan.unsettled_from, run_again(request)));
  return plan;
}

bool meets_everything(const TrimPlan& plan) {
  return std::all_of(plan.predictions.begin(), plan.predictions.end(),
                     [](const Prediction& p) { return std::abs(p.after) <= p.goal(); });
}

}  // namespace

Result<TrimPlan> plan_trim(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                           const Deadline& deadline) {
  if (const Trust trusted = trust(job, model);
      trusted.grade == Trust::Grade::contradicted && !request.despite_mirror)
    return fail(
        trusted.why,
        "phase, slot numbering and viewing ends that agree with the runs (trimwright influence shows the "
        "odds; "
        "--despite-mirror plans all the same)");
  const auto all = request.planes.empty() ? model.planes : request.planes;
  std::vector<std::size_t> easy;
  for (const std::size_t p : all)
    if (job.rotor.planes[p].access == Access::easy) easy.push_back(p);
  if (request.plane_choice != PlaneChoice::easy_first || easy.empty() || easy.size() == all.size())
    return plan_with_planes(job, model, request, all, deadline);

  auto plan = plan_with_planes(job, model, request, easy, deadline.after_share(0.5));
  if (plan && meets_everything(*plan)) {
    plan->notes.push_back(
        "The easily reached planes are enough: limits and targets are met without the others.");
    return plan;
  }
  const bool open = plan && plan->unsettled_from;
  plan = plan_with_planes(job, model, request, all, deadline);
  if (plan)
    plan->notes.push_back(
        open ? "With the easily reached planes alone, no plan was found that meets every limit and target "
               "before half of the time limit was over; all are used."
             : "The easily reached planes alone do not meet every limit and target; all are used.");
  return plan;
}

std::string proof_words(const TrimPlan& trim, const TradeOffRow& row) {
  if (trim.request.most_probable && !row.proved_optimal)
    return fmt::format("within {:.1f} points", 100.0 * (row.objective - row.bound));
  if (row.by_chance) return "no: chosen by its chance";
  if (row.without_opposed) return "no: none opposed";
  return row.proved_optimal ? "best possible" : fmt::format("within {:.2g} %", 100.0 * row.gap());
}

std::vector<FittedWeights> fitted_after(const Job& job, const std::vector<SlotChange>& changes) {
  auto fitted = job.fitted_now;
  for (const auto& change : changes) {
    auto& slots = fitted[change.plane].slots;
    if (change.fit) {
      slots[change.slot] = *change.fit;
    } else {
      slots.erase(change.slot);
    }
  }
  return fitted;
}

}  // namespace trimwright
