#include "trial_information.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "influence/run_information.hpp"
#include "trial_weights.hpp"

namespace trimwright {
namespace {

/// Sum over the rows of the variance of x over the square of the target.
double over_targets(const TrialOutset& outset, const Eigen::MatrixXd& covariance) {
  double sum = 0.0;
  for (Eigen::Index i = 0; i < outset.levels.target.size(); ++i)
    sum += covariance.diagonal().segment<2>(2 * i).sum() / std::pow(outset.levels.target(i), 2);
  return sum;
}

TrialCandidate judged(const TrialOutset& outset, const SlotChange& change,
                      const std::vector<KnownEffect>& effects) {
  TrialCandidate candidate = candidate_of(outset.job, change);
  const auto fitted = fitted_after(outset.job, {change});
  const auto told = told_by_one_more_run(
      outset.belief, outset.correction, unbalance_with(outset.job, outset.belief.planes, fitted),
      next_readings_with(outset.job, outset.belief, fitted).covariance, outset.read);
  candidate.variance_left = 1.0 - over_targets(outset, told) / outset.variance;
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
  const auto components = 2 * static_cast<Eigen::Index>(rows);
  return {components, samples_of(components, samples), belief.unknowns.degrees_of_freedom, draws_seed};
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

/// The numbers below `count`, each once: whatever part is taken of them, from the first on, is spread evenly.
std::vector<std::size_t> evenly_spread(std::size_t count) {
  std::size_t stride = std::max<std::size_t>(1, static_cast<std::size_t>(0.618 * static_cast<double>(count)));
  while (std::gcd(stride, count) != 1) ++stride;
  std::vector<std::size_t> numbers(count);
  for (std::size_t i = 0; i < count; ++i) numbers[i] = i * stride % count;
  return numbers;
}

}  // namespace

Deadline deadline_of(const TrialKnowledge& known) {
  return known.asked != nullptr ? known.asked->end_of_call() : Deadline::never();
}

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
  variance = over_targets(*this, predicted_phasors(belief, correction).covariance);
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

Result<JudgedCandidates> judged_candidates(const TrialOutset& outset, const TrialKnowledge& known,
                                           const TrialChoice& choice,
                                           const std::vector<std::size_t>& planes) {
  std::vector<std::pair<SlotChange, std::size_t>> open;  // and which effects are its plane's
  std::vector<std::vector<KnownEffect>> effects;
  std::optional<Error> why_none;
  for (const std::size_t plane : planes) {
    const auto changes = trial_changes(outset.job, plane, choice, known.limits);
    if (!changes) why_none = changes.error();
    if (!changes) continue;
    for (const auto& change : *changes) open.emplace_back(change, effects.size());
    effects.push_back(effects_read(outset, *known.model, plane));
  }
  if (open.empty()) return tl::unexpected(*why_none);
  Deadline deadline = deadline_of(known).after_share(0.7);
  std::vector<std::optional<TrialCandidate>> found(open.size());
  for (std::size_t looked_at = 0; const std::size_t i : evenly_spread(open.size())) {
    if (looked_at++ > 0 && deadline.passed_now()) break;
    found[i] = judged(outset, open[i].first, effects[open[i].second]);
  }
  JudgedCandidates candidates{{}, open.size()};
  for (auto& one : found)
    if (one) candidates.all.push_back(*std::move(one));
  return candidates;
}

std::vector<TrialCandidate> best_candidates(const TrialOutset& outset, const std::vector<TrialCandidate>& all,
                                            Deadline deadline) {
  std::map<std::pair<std::size_t, std::string>, std::vector<TrialCandidate>> groups;
  for (const auto& one : all) groups[{one.change.plane, one.change.fit->weight_id}].push_back(one);
  std::vector<TrialCandidate> list;
  for (const auto& [key, group] : groups) list.push_back(best_of(group));
  const auto first = list.begin() + (&best_of(list) - list.data());
  std::rotate(list.begin(), first, first + 1);
  std::size_t told = 0;
  for (; told < list.size() && (told == 0 || !deadline.passed_now()); ++told) {
    const auto fitted = fitted_after(outset.job, {list[told].change});
    list[told].exceeds_limit = risk_of(outset, fitted, outset.risk);
    list[told].meets_targets = success_after(outset, belief_after(outset, outset.belief, fitted));
  }
  list.resize(told);
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
