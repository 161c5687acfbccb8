#include "trial_information.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "influence/run_information.hpp"
#include "trial_weights.hpp"

namespace trimwright {
namespace {

/// Sum over the rows of the variance of x(U) over the square of the target.
double residual_variance(const TrialOutset& outset, const InfluencePosterior& posterior) {
  const auto x = predicted_phasors(posterior, outset.correction);
  double sum = 0.0;
  for (Eigen::Index i = 0; i < outset.levels.target.size(); ++i)
    sum += x.covariance.diagonal().segment<2>(2 * i).sum() / std::pow(outset.levels.target(i), 2);
  return sum;
}

TrialCandidate judged(const TrialOutset& outset, const SlotChange& change,
                      const std::vector<KnownEffect>& effects) {
  TrialCandidate candidate = candidate_of(outset.job, change);
  const auto fitted = fitted_after(outset.job, {change});
  candidate.variance_left =
      residual_variance(outset, belief_after(outset, outset.belief, fitted)) / outset.variance;
  candidate.exceeds_limit = risk_of(outset, fitted, outset.scan);
  candidate.headroom_share = headroom_share(effects, moment_added(outset.job, change));
  return candidate;
}

bool keeps_headroom(const TrialCandidate& one) { return *one.headroom_share <= trial_headroom_share; }

/// The candidate that tells most at an acceptable risk and within the headroom; the safest where no risk is
/// acceptable, of those with an acceptable one the smallest where there is too little headroom for any.
const TrialCandidate& best_of(const std::vector<TrialCandidate>& candidates) {
  const auto safest =
      std::min_element(candidates.begin(), candidates.end(),
                       [](const auto& a, const auto& b) { return *a.exceeds_limit < *b.exceeds_limit; });
  if (*safest->exceeds_limit > acceptable_risk) return *safest;
  const auto safe = [](const TrialCandidate& one) { return *one.exceeds_limit <= acceptable_risk; };
  const auto smallest =
      std::min_element(candidates.begin(), candidates.end(), [&](const auto& a, const auto& b) {
        return std::pair(!safe(a), *a.headroom_share) < std::pair(!safe(b), *b.headroom_share);
      });
  if (!keeps_headroom(*smallest)) return *smallest;
  double least = 1.0;
  for (const auto& one : candidates)
    if (safe(one) && keeps_headroom(one)) least = std::min(least, *one.variance_left);
  const TrialCandidate* best = nullptr;
  for (const auto& one : candidates)
    if (safe(one) && keeps_headroom(one) && *one.variance_left <= least + information_indifference &&
        (best == nullptr || std::pair(*one.exceeds_limit, *one.variance_left) <
                                std::pair(*best->exceeds_limit, *best->variance_left)))
      best = &one;
  return *best;
}

std::vector<Eigen::Index> rows_read(const InfluencePosterior& belief,
                                    const std::vector<std::size_t>* speeds) {
  std::vector<Eigen::Index> rows;
  for (std::size_t i = 0; i < belief.rows.size(); ++i)
    if (speeds == nullptr || std::find(speeds->begin(), speeds->end(), belief.rows[i].first) != speeds->end())
      rows.push_back(static_cast<Eigen::Index>(i));
  return rows;
}

OutlookDraws draws_of(const InfluencePosterior& belief, std::size_t rows, int samples) {
  return {2 * static_cast<Eigen::Index>(rows), samples, belief.unknowns.degrees_of_freedom, outlook_seed};
}

/// Effects of a plane at the rows that the run reads.
std::vector<KnownEffect> effects_read(const TrialOutset& outset, const InfluenceModel& model,
                                      std::size_t plane) {
  const auto all = effects_by_model(outset.job, model, plane);
  std::vector<KnownEffect> read;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (std::any_of(outset.read.begin(), outset.read.end(), [&](Eigen::Index row) {
          return outset.belief.rows[static_cast<std::size_t>(row)] ==
                 std::pair(model.rows[i].speed, model.rows[i].sensor);
        }))
      read.push_back(all[i]);
  return read;
}

}  // namespace

TrialOutset::TrialOutset(const Job& of, const InfluencePosterior& known, const TrimPlan& trim,
                         const std::vector<std::size_t>* speeds)
    : job(of),
      belief(known),
      corrected(fitted_after(of, trim.trade_off[trim.chosen].changes)),
      correction(unbalance_with(of, known.planes, corrected)),
      levels(row_levels(of, known)),
      read(rows_read(known, speeds)),
      scan(draws_of(known, read.size(), outlook_samples / 4)),
      risk(draws_of(known, read.size(), outlook_samples)),
      draws(draws_of(known, known.rows.size(), outlook_samples)) {
  variance = residual_variance(*this, belief);
}

std::vector<std::size_t> trial_planes(const Job& job, const TrialKnowledge& known,
                                      const TrialChoice& choice) {
  if (choice.plane) return {*choice.plane};
  std::vector<std::size_t> planes;
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p) {
    const Plane& plane = job.rotor.planes[p];
    if (plane.slots && !plane.weights.empty() &&
        (known.planes.empty() ||
         std::find(known.planes.begin(), known.planes.end(), p) != known.planes.end()))
      planes.push_back(p);
  }
  return planes;
}

bool tells_chances(const TrialKnowledge& known) {
  return known.model != nullptr && known.model->belief && known.trim != nullptr && known.trim->outlook &&
         known.trim->has_slots();
}

InfluencePosterior belief_after(const TrialOutset& outset, const InfluencePosterior& belief,
                                const std::vector<FittedWeights>& fitted) {
  return after_one_more_run(belief, unbalance_with(outset.job, belief.planes, fitted),
                            next_readings_with(outset.job, belief, fitted).covariance, outset.read);
}

double success_after(const TrialOutset& outset, const InfluencePosterior& belief) {
  return outlook_of(next_readings_with(outset.job, belief, outset.corrected), outset.levels, outset.draws)
      .meets_targets;
}

double risk_of(const TrialOutset& outset, const std::vector<FittedWeights>& fitted,
               const OutlookDraws& draws) {
  const auto next = next_readings_with(outset.job, outset.belief, fitted);
  std::vector<Eigen::Index> at;
  for (const Eigen::Index row : outset.read) at.insert(at.end(), {2 * row, 2 * row + 1});
  const PhasorDistribution read{next.mean(at), next.covariance(at, at), next.degrees_of_freedom};
  const RowLevels levels{outset.levels.limit(outset.read), outset.levels.target(outset.read)};
  return 1.0 - outlook_of(read, levels, draws).meets_limits;
}

Result<std::vector<TrialCandidate>> judged_candidates(const TrialOutset& outset, const TrialKnowledge& known,
                                                      const TrialChoice& choice,
                                                      const std::vector<std::size_t>& planes) {
  std::vector<TrialCandidate> all;
  std::optional<Error> why_none;
  for (const std::size_t plane : planes) {
    const auto changes = trial_changes(outset.job, plane, choice, known.limits);
    if (!changes) why_none = changes.error();
    if (!changes) continue;
    const auto effects = effects_read(outset, *known.model, plane);
    for (const auto& change : *changes) all.push_back(judged(outset, change, effects));
  }
  if (all.empty()) return tl::unexpected(*why_none);
  return all;
}

std::vector<TrialCandidate> best_candidates(const TrialOutset& outset,
                                            const std::vector<TrialCandidate>& all) {
  std::map<std::pair<std::size_t, std::string>, std::vector<TrialCandidate>> groups;
  for (const auto& one : all) groups[{one.change.plane, one.change.fit->weight_id}].push_back(one);
  std::vector<TrialCandidate> list;
  for (const auto& [key, group] : groups) list.push_back(best_of(group));
  for (auto& one : list) {
    const auto fitted = fitted_after(outset.job, {one.change});
    one.exceeds_limit = risk_of(outset, fitted, outset.risk);
    one.meets_targets = success_after(outset, belief_after(outset, outset.belief, fitted));
  }
  std::stable_sort(list.begin(), list.end(),
                   [](const auto& a, const auto& b) { return *a.variance_left < *b.variance_left; });
  const auto best = std::find_if(list.begin(), list.end(),
                                 [best = &best_of(list)](const auto& one) { return &one == best; });
  std::rotate(list.begin(), best, best + 1);
  return list;
}

double runs_to_go(double now, double again) { return 1.0 + (1.0 - now) / std::max({again, now, least_hope}); }

std::string runs_words(double mean) {
  const double tenths = std::round(10.0 * mean) / 10.0;
  return tenths == 1.0 ? "one run" : fmt::format("{:g} runs", tenths);
}

}  // namespace trimwright
