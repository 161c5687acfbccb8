#include "trimwright/check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "base/chance.hpp"
#include "influence/usable_reading.hpp"
#include "run_comparison.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// A kind of mistake in a run, and its likeliest form so far.
struct Candidate {
  RankedMistake ranked;
  Hypothesis best;
  double best_weight = -std::numeric_limits<double>::infinity();
};
using Candidates = std::map<std::pair<MistakeKind, std::optional<std::size_t>>, Candidate>;

std::optional<std::size_t> run_of(const Hypothesis& one) {
  if (one.kind == MistakeKind::nothing || one.kind == MistakeKind::phase_sense_everywhere) return {};
  return one.runs.front();
}

/// Prior probability of every candidate: alike among the kinds that are possible, and of a kind among the
/// runs it may have happened in, also where only the check run is looked at for it (a rotor that changed).
std::map<MistakeKind, double> prior_of_each(const Candidates& candidates) {
  std::map<MistakeKind, double> runs;
  double most = 1.0;
  for (const auto& [key, one] : candidates) most = std::max(most, runs[key.first] += 1.0);
  const double mistaken =
      (1.0 - prior_of_nothing_wrong) / static_cast<double>(std::max<std::size_t>(runs.size() - 1, 1));
  for (auto& [kind, one] : runs) {
    const bool of_check_only = kind == MistakeKind::rotor_changed || kind == MistakeKind::none_of_these;
    one = kind == MistakeKind::nothing ? prior_of_nothing_wrong : mistaken / (of_check_only ? most : one);
  }
  return runs;
}

/// Posterior probabilities, the likeliest first.
std::vector<Candidate> weighed(const Candidates& candidates) {
  auto prior = prior_of_each(candidates);
  double all = -std::numeric_limits<double>::infinity();
  for (const auto& [key, one] : candidates)
    all = log_sum(all, one.ranked.log_evidence + std::log(prior[key.first]));
  std::vector<Candidate> sorted;
  for (const auto& [key, one] : candidates) {
    sorted.push_back(one);
    sorted.back().ranked.probability = std::exp(one.ranked.log_evidence + std::log(prior[key.first]) - all);
  }
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.ranked.probability > b.ranked.probability; });
  return sorted;
}

/// Candidates beside the likeliest that are compared with the others' forecasts.
constexpr std::size_t most_compared = 12;
/// An explanation explains where it leaves no more than one in ten thousand sound runs would, or this share
/// of what the readings are off as written (our own figures).
constexpr double poor_fit_level = 1e-4, unexplained_share = 0.05;
/// Forecasts this close count as one: readings between them would on average tell them apart by less.
constexpr double one_answer_odds = 3.0;

/// Makes one answer of those that foretell the same check run, and puts the likeliest answer first.
void join_alike(const RunComparison& all, std::vector<Candidate>& sorted) {
  std::vector<std::optional<Eigen::VectorXcd>> foretold;
  std::vector<double> chance;  // of each answer
  for (std::size_t i = 0; i < sorted.size(); ++i) {
    foretold.push_back(i < most_compared ? all.foretold_check(sorted[i].best) : std::nullopt);
    std::size_t answer = chance.size();
    for (std::size_t k = 0; k < i && answer == chance.size(); ++k) {
      const bool one_reading =
          sorted[i].best.mistyped_row && sorted[i].best.mistyped_row == sorted[k].best.mistyped_row;
      if (one_reading || (foretold[i] && foretold[k] &&
                          all.apart(*foretold[i], *foretold[k]) < 2.0 * std::log(one_answer_odds)))
        answer = sorted[k].ranked.answer;
    }
    if (answer == chance.size()) chance.push_back(0.0);
    sorted[i].ranked.answer = answer;
    chance[answer] += sorted[i].ranked.probability;
  }
  std::stable_sort(sorted.begin(), sorted.end(), [&](const Candidate& a, const Candidate& b) {
    return std::pair(-chance[a.ranked.answer], a.ranked.answer) <
           std::pair(-chance[b.ranked.answer], b.ranked.answer);
  });
  std::vector<std::size_t> order;
  for (auto& one : sorted) {
    auto at = std::find(order.begin(), order.end(), one.ranked.answer);
    if (at == order.end()) at = order.insert(at, one.ranked.answer);
    one.ranked.answer = static_cast<std::size_t>(at - order.begin());
  }
}

/// The reading of the check run that is furthest, as written, from what the others foretell.
Index furthest_off(const RunComparison& all) {
  const Hypothesis written = all.as_written({all.check()});
  const Eigen::VectorXcd off = written.readings - all.expected(written);
  const auto readings = all.readings_of({all.check()});
  Index worst = 0;
  double most = -1.0;
  for (Index i = 0; i < off.size(); ++i) {
    const double share = std::abs(off(i)) / readings[static_cast<std::size_t>(i)].within_sd;
    if (share > most) most = share, worst = i;
  }
  return worst;
}

std::string shown_at(const Job& job, std::size_t sensor, Phasor x) {
  const Sensor& one = job.rotor.sensors[sensor];
  const auto s = shown(one, x, job.rotor.phase);
  return fmt::format("{:.3g} {} at {}", s.amplitude, one.unit.text(), angle_words(s.phase_deg, 0));
}

/// A hypothesis that leaves open what a reading was, or a sensor's ratio, with what the other runs say of it.
Hypothesis told_by_others(const RunComparison& all, Hypothesis one) {
  const auto expected = all.expected(one);
  if (one.shapes.cols() > 0) one.readings -= one.shapes * all.told(one).value;
  for (Index i = 0; i < one.noise_sd.size(); ++i)
    if (one.noise_sd(i) > 0.0) one.readings(i) = expected(i);
  return one;
}

/// What undoing a mistake would predict, so that it can be tested before another start.
std::string undone_words(const RunComparison& all, const Hypothesis& mistake) {
  const std::size_t check = all.check();
  const Hypothesis one = told_by_others(all, mistake);
  const RunComparison after = all.corrected(one);
  const Hypothesis now = after.as_written({check}), before = all.as_written({check});
  const Index i = furthest_off(all);
  const auto reading = all.readings_of({check})[static_cast<std::size_t>(i)];
  const Job& job = all.job();
  const auto shown_as = [&](Phasor x) { return shown_at(job, reading.sensor, x); };
  const std::string place = place_words(job, reading.speed, reading.sensor);
  const bool refitted = now.readings == before.readings && one.runs.front() == check;
  if (refitted)
    return fmt::format("With the weights as listed, {} should read {}, and not {}.", place,
                       shown_as(all.expected(before)(i)), shown_as(before.readings(i)));
  std::string first;
  if (mistake.mistyped_row) {
    const auto told = all.readings_of(mistake.runs);
    for (std::size_t k = 0; k < told.size(); ++k) {
      if (told[k].row != *mistake.mistyped_row) continue;
      const auto at = static_cast<Index>(k);
      first =
          fmt::format("By the other runs {} of run \"{}\" should be {}, and not {}. ",
                      place_words(job, told[k].speed, told[k].sensor), job.runs[mistake.runs.front()].name,
                      shown_at(job, told[k].sensor, one.readings(at)),
                      shown_at(job, told[k].sensor, mistake.readings(at)));
    }
  }
  const double freedom = all.model().posterior->unknowns.degrees_of_freedom;
  const bool agrees = chance_of_distance(after.judged(now).misfit, 2 * static_cast<int>(now.readings.size()),
                                         freedom) >= as_predicted_level;
  return first + fmt::format(
                     "With this put right in the job, {} is expected at {} and was read as {}; all readings "
                     "of the check "
                     "run "
                     "together are then {}as predicted.",
                     place, shown_as(after.expected(now)(i)), shown_as(now.readings(i)),
                     agrees ? "" : "still not ");
}

/// Adds hypotheses, all there are of their kinds and runs, to the candidates. False: the deadline came first.
bool weigh(const RunComparison& all, std::vector<Hypothesis> list, double as_written, Deadline& deadline,
           Candidates& candidates) {
  std::map<std::pair<MistakeKind, std::optional<std::size_t>>, double> shares;
  for (const auto& one : list) shares[{one.kind, run_of(one)}] += one.share;
  const double freedom = all.model().posterior->unknowns.degrees_of_freedom;
  std::map<std::vector<std::size_t>, Judged> of_written;
  for (auto& one : list) {
    if (deadline.passed_now()) return false;
    const auto known = of_written.try_emplace(one.runs);
    Judged& listed = known.first->second;
    if (known.second) {
      const Hypothesis as_listed = all.as_written(one.runs);
      listed = all.judged(as_listed);
      listed.log_density += all.spread(as_listed);
    }
    const std::pair key{one.kind, run_of(one)};
    const Judged form = all.judged(one);
    const double weight = as_written + form.log_density + all.spread(one) - listed.log_density +
                          std::log(one.share / shares[key]);
    auto& candidate = candidates[key];
    if (candidate.best.runs.empty())
      candidate.ranked = {one.kind, key.second, {}, 0.0, -std::numeric_limits<double>::infinity(), 0.0, {}};
    candidate.ranked.log_evidence = log_sum(candidate.ranked.log_evidence, weight);
    if (weight <= candidate.best_weight && !candidate.best.runs.empty()) continue;
    candidate.best_weight = weight;
    candidate.ranked.what = one.what;
    candidate.ranked.misfit = form.misfit;
    candidate.ranked.fits =
        form.misfit <= unexplained_share * listed.misfit ||
        chance_of_distance(form.misfit, 2 * static_cast<int>(one.readings.size()), freedom) >= poor_fit_level;
    candidate.best = std::move(one);
  }
  return true;
}

/// The check run's first, then those of the runs before it, the newest first, then those of several.
bool weigh_all(const RunComparison& all, double as_written, Deadline& deadline, Candidates& candidates) {
  for (auto run = all.runs().rbegin(); run != all.runs().rend(); ++run)
    if (deadline.passed_now() || !weigh(all, hypotheses_of(all, *run), as_written, deadline, candidates))
      return false;
  return weigh(all, hypotheses_of_several(all), as_written, deadline, candidates);
}

std::size_t readings_to_compare(const Job& job, std::size_t check) {
  std::size_t readings = 0;
  for (std::size_t r = 0; r <= check; ++r)
    if (!job.runs[r].set_aside)
      readings += static_cast<std::size_t>(
          std::count_if(job.runs[r].readings.begin(), job.runs[r].readings.end(),
                        [&](const Reading& one) { return why_not_usable(job, job.runs[r], one).empty(); }));
  return readings;
}

/// Whether there is time to hold one run against the others as written and in one other form, which cannot be
/// cut short: of `readings`, with so many unknowns.
bool time_to_compare(std::size_t readings, Index unknowns, const Deadline& deadline) {
  constexpr double steps_a_second = 3e8;  // complex products and sums on a slow processor
  const auto n = static_cast<double>(readings), m = static_cast<double>(unknowns);
  const double steps = 2.0 * static_cast<double>(std::size(scatter_scales)) * 2.0 * n * m * (n + m);
  return steps < steps_a_second * deadline.seconds_left();
}

}  // namespace

MistakeRanking rank_mistakes(const Job& job, const InfluenceModel& model, std::size_t run,
                             const RunToRun& scatter, const Prior* prior, Deadline deadline) {
  MistakeRanking ranking;
  const std::size_t readings = readings_to_compare(job, run);
  if (readings > most_readings_compared || !why_not_foretold(job, model, run).empty()) return ranking;
  ranking.cut_short = !time_to_compare(readings, model.posterior->unknowns.mean.size() / 2, deadline);
  if (ranking.cut_short) return ranking;
  ranking.runs_agree = runs_agree(model);
  InfluenceModel by_stated;
  if (!ranking.runs_agree) {
    by_stated = model;
    by_stated.posterior->noise.widened = 1.0;
  }
  const RunComparison all(job, ranking.runs_agree ? model : by_stated, run, scatter, prior);
  const auto written = all.as_written({run});
  const Judged as_written = all.judged(written);
  const double freedom = model.posterior->unknowns.degrees_of_freedom;
  ranking.degrees_of_freedom = 2 * static_cast<int>(written.readings.size());
  ranking.chi_squared = ranking.runs_agree
                            ? as_written.misfit
                            : RunComparison(job, model, run, scatter, prior).judged(written).misfit;
  ranking.probability = chance_of_distance(ranking.chi_squared, ranking.degrees_of_freedom, freedom);
  for (const std::size_t r : all.runs())
    if (!all.is_foretold(r)) ranking.not_examined.push_back(r);

  Candidates candidates;
  candidates[{MistakeKind::nothing, {}}] = {
      {MistakeKind::nothing, {}, written.what, 0.0, as_written.log_density, as_written.misfit, {}}, written};
  ranking.cut_short = !weigh_all(all, as_written.log_density, deadline, candidates);
  auto sorted = weighed(candidates);
  const double least = sorted.front().ranked.probability / telling_odds;
  for (std::size_t i = 0; i < sorted.size(); ++i) sorted[i].ranked.answer = i;
  if (!ranking.cut_short) join_alike(all, sorted);
  const auto told = std::stable_partition(
      sorted.begin(), sorted.end(), [least](const Candidate& one) { return one.ranked.probability > least; });
  ranking.not_told_apart = static_cast<std::size_t>(told - sorted.begin());
  for (const auto& one : sorted) {
    ranking.kinds.push_back(one.ranked);
    if (!ranking.cut_short && ranking.kinds.size() <= ranking.not_told_apart &&
        names_a_cause(one.ranked.kind) && one.ranked.kind != MistakeKind::rotor_changed)
      ranking.kinds.back().undone = undone_words(all, one.best);
  }
  return ranking;
}

}  // namespace trimwright
