// Engine runs until every reading meets its target, over virtual rotors of one type: a table for
// docs/certainty.md.
//
//   certainty_study [rotors per level] [seed] [one part of the table, 1 to 5]
//
// Three ways: (a) the handbook's baseline, trial run per plane, least squares; (b) trimwright without a
// fleet; (c) trimwright with a prior that it learned from 30 other jobs of the type. Each fleet of 30 serves
// 100 rotors.

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/math/distributions/binomial.hpp>
#include <cstdlib>
#include <map>
#include <numeric>
#include <string>
#include <vector>

#include "forecast/outlook.hpp"
#include "trim/probable_moments.hpp"
#include "trimming.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/prior.hpp"
#include "trimwright/trim.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

constexpr int most_runs = 8;
constexpr int fleet_jobs = 30;
constexpr int rotors_per_fleet = 100;
/// Below this probability a correction in one plane alone is not worth its run.
constexpr double worth_trying = 0.98;

/// A trim as it was foretold and as it went.
struct Foretold {
  double probability = 0.0;
  bool met = false;
};

/// One rotor brought to its targets, or not.
struct Trimming {
  int runs = 0;
  bool met = false;
  bool met_at_first_correction = false;
  int above_limit = 0;  ///< runs with a reading above its limit
  std::vector<Foretold> foretold;
};

/// A trim that makes the targets most probable: total moments to fit, and the probability foretold.
struct Planned {
  Moments total = Moments::Zero();
  double probability = 0.0;
  double high = 0.0;  ///< nine readings in ten of every row stay below this
};

/// The next run with `added` to what is fitted, rounded to pieces and holes.
Planned foretold(const VirtualFleet& fleet, const Job& job, const InfluencePosterior& posterior,
                 const Eigen::VectorXcd& added) {
  Planned planned;
  const auto fitted = unbalance_now(job);
  planned.total << fitted[0], fitted[1];
  for (std::size_t p = 0; p < posterior.planes.size(); ++p)
    planned.total(static_cast<Eigen::Index>(posterior.planes[p])) += added(static_cast<Eigen::Index>(p));
  planned.total = fleet.rounded(planned.total);
  Eigen::VectorXcd after(added.size());
  for (std::size_t p = 0; p < posterior.planes.size(); ++p)
    after(static_cast<Eigen::Index>(p)) = planned.total(static_cast<Eigen::Index>(posterior.planes[p]));
  const auto next = next_readings(posterior, after);
  static std::map<double, OutlookDraws> draws;  // by degrees of freedom: the same for every rotor
  const double freedom = next.degrees_of_freedom;
  const auto at = draws.try_emplace(freedom, next.mean.size(), outlook_samples, freedom, draws_seed).first;
  const Outlook outlook = outlook_of(next, row_levels(job, posterior), at->second);
  planned.probability = outlook.meets_targets;
  for (const auto& reading : outlook.readings) planned.high = std::max(planned.high, reading.high);
  return planned;
}

/// With a prior the trim that makes the targets most probable. Without one least squares, which is as likely
/// where the noise is what it is believed to be and likelier where it is not.
Planned trim(const VirtualFleet& fleet, const Job& job, const InfluencePosterior& posterior,
             bool with_prior) {
  Eigen::VectorXcd added = plain_correction(posterior, fitted_moments(job, posterior), !with_prior);
  if (with_prior) {
    std::vector<std::size_t> entries(posterior.planes.size());
    std::iota(entries.begin(), entries.end(), 0u);
    added = most_probable_moments(posterior, fitted_moments(job, posterior), entries,
                                  row_levels(job, posterior), added, Deadline::after(1e9));
  }
  return foretold(fleet, job, posterior, added);
}

InfluencePosterior posterior_of(const Job& job, const Prior* prior = nullptr,
                                Residual residual = Residual::small) {
  auto posterior = influence_posterior(job, {}, prior, residual);
  if (!posterior) {
    fmt::print(stderr, "certainty_study: {}\n", posterior.error().message());
    std::exit(1);
  }
  return *posterior;
}

/// Corrections until the targets are met; `first` counts as the first correction.
Trimming corrected(Bench& bench, const Prior* prior, bool plain, Trimming trimming = {}) {
  for (bool first = trimming.foretold.empty(); bench.count() < most_runs; first = false) {
    const Job job = bench.job();
    const auto posterior = posterior_of(job, prior, plain ? Residual::any : Residual::small);
    Planned planned;
    if (plain) {
      const auto now = fitted_moments(job, posterior);
      planned.total = bench.fleet.rounded(now + plain_correction(posterior, now, true));
    } else {
      planned = trim(bench.fleet, job, posterior, prior != nullptr);
    }
    trimming.met = bench.run(planned.total);
    trimming.foretold.push_back({planned.probability, trimming.met});
    if (first) trimming.met_at_first_correction = trimming.met;
    if (trimming.met) break;
  }
  trimming.runs = bench.count();
  trimming.above_limit = bench.above_limit();
  return trimming;
}

Trimming handbook(Bench bench) {
  bench.run(Moments::Zero());
  for (int p = 0; p < 2; ++p) {
    Moments trial = Moments::Zero();
    trial(p) = bench.fleet.moment_worth(handbook_trial, p) * at_any_hole(bench.draws);
    bench.run(trial);
  }
  return corrected(bench, nullptr, true);
}

/// Effect of a trial weight where readings stay below `high` without it [in/s]: what the limit leaves room
/// for, but for a rotor that answers more than its type.
double trial_worth(double high) { return std::clamp(0.8 * (limit - high), handbook_trial, 1.2); }

/// Baseline and a trial in the front plane; then that plane alone if this is likely to do, else with the
/// front plane corrected as far as it goes the trial in the rear one, which may itself meet the targets.
Trimming without_fleet(Bench bench) {
  bench.run(Moments::Zero());
  Moments trial = Moments::Zero();
  trial(0) = bench.fleet.moment_worth(trial_worth(bench.worst()), 0) * at_any_hole(bench.draws);
  Trimming trimming;
  if (bench.run(trial)) return {bench.count(), true, true, bench.above_limit(), {}};
  const Job job = bench.job();
  const auto one_plane = posterior_of(job);
  Planned planned = trim(bench.fleet, job, one_plane, false);
  const bool worth_it = planned.probability >= worth_trying;
  // With the front plane corrected there is room for a heavier trial, which the later correction needs: its
  // error is that of the front plane's coefficients and of this trial together.
  if (!worth_it)
    planned.total(1) = bench.fleet.moment_worth(trial_worth(planned.high), 1) * at_any_hole(bench.draws);
  trimming.met = bench.run(bench.fleet.rounded(planned.total));
  trimming.met_at_first_correction = trimming.met;  // either way the front plane was corrected in this run
  if (worth_it) {
    trimming.foretold.push_back({planned.probability, trimming.met});
    if (!trimming.met) {
      planned.total(1) = bench.fleet.moment_worth(handbook_trial, 1) * at_any_hole(bench.draws);
      trimming.met = bench.run(bench.fleet.rounded(planned.total));
    }
  }
  trimming.runs = bench.count();
  trimming.above_limit = bench.above_limit();
  return trimming.met ? trimming : corrected(bench, nullptr, false, trimming);
}

Trimming with_prior(Bench bench, const Prior& prior) {
  bench.run(Moments::Zero());
  return corrected(bench, &prior, false);
}

/// Jobs of three to five runs: baseline, a trial in each plane, and up to two corrections.
Prior learned(const VirtualFleet& fleet, const FleetSpread& spread, const FleetNoise& noise,
              FleetDraws& draws) {
  std::vector<FleetJob> jobs;
  for (int j = 0; j < fleet_jobs; ++j) {
    Bench bench{fleet,
                fleet.draw(spread, noise, draws),
                noise,
                FleetDraws(static_cast<std::uint64_t>(1e15 * draws.uniform())),
                {}};
    bench.run(Moments::Zero());
    for (int p = 0; p < 2; ++p) {
      Moments trial = Moments::Zero();
      trial(p) = fleet.moment_worth(handbook_trial, p) * at_any_hole(bench.draws);
      bench.run(trial);
    }
    for (int more = 0; more < j % 3; ++more) {
      const auto posterior = posterior_of(bench.job());
      const auto now = fitted_moments(bench.job(), posterior);
      bench.run(fleet.rounded(now + plain_correction(posterior, now, true)));
    }
    jobs.push_back({bench.job(), std::to_string(j)});
  }
  const auto prior = learn_prior(jobs);
  if (!prior) {
    fmt::print(stderr, "certainty_study: {}\n", prior.error().message());
    std::exit(1);
  }
  return *prior;
}

/// A share in per cent and its 95 % limits (C. J. Clopper and E. S. Pearson, Biometrika 26, 1934).
std::string share_with_limits(int met, int of) {
  if (of == 0) return "-";
  using boost::math::binomial_distribution;
  return fmt::format("{:.1f} % ({:.0f} to {:.0f})", 100.0 * met / of,
                     100.0 * binomial_distribution<>::find_lower_bound_on_p(of, met, 0.025),
                     100.0 * binomial_distribution<>::find_upper_bound_on_p(of, met, 0.025));
}

struct Tally {
  int rotors = 0, met = 0, first = 0, likely = 0, likely_met = 0, foretold = 0, above_limit = 0;
  double runs = 0.0, foretold_sum = 0.0, foretold_met = 0.0;

  void add(const Trimming& one) {
    ++rotors;
    met += one.met;
    first += one.met_at_first_correction;
    runs += one.runs;
    above_limit += one.above_limit;
    for (const auto& f : one.foretold) {
      ++foretold;
      foretold_sum += f.probability;
      foretold_met += f.met;
      if (f.probability < 0.85 || f.probability > 0.95) continue;
      ++likely;
      likely_met += f.met;
    }
  }
  void print(const std::string& way) const {
    fmt::print("| {} | {:.2f} | {:.1f} % | {:.1f} % | {} | {} | {} | {:.1f} / {:.1f} % of {} |\n", way,
               runs / rotors, 100.0 * first / rotors, 100.0 * met / rotors, above_limit, likely,
               share_with_limits(likely_met, likely), 100.0 * foretold_sum / std::max(1, foretold),
               100.0 * foretold_met / std::max(1, foretold), foretold);
    std::fflush(stdout);
  }
};

void study(const VirtualFleet& fleet, const FleetSpread& spread, const FleetNoise& noise,
           const std::string& name, int rotors, std::uint64_t seed) {
  std::array<Tally, 3> tallies;
  std::array<double, 4> scatter{};
  FleetDraws draws(seed);
  Prior prior;
  int fleets = 0;
  for (int r = 0; r < rotors; ++r) {
    if (r % rotors_per_fleet == 0) {
      prior = learned(fleet, spread, noise, draws);
      ++fleets;
      for (std::size_t q = 0; q < 4; ++q) scatter[q] += prior.scatter.sd[q];
    }
    const Bench bench{fleet,
                      fleet.draw(spread, noise, draws),
                      noise,
                      FleetDraws(seed + 7919u * static_cast<std::uint64_t>(r + 1)),
                      {}};
    tallies[0].add(handbook(bench));
    tallies[1].add(without_fleet(bench));
    tallies[2].add(with_prior(bench, prior));
  }
  fmt::print(
      "\n{}: g = {:g} %, h = {:g} %; learned g {:.1f} and {:.1f} %, h {:.1f} and {:.1f} % per component "
      "(told "
      "{:.1f}, {:.1f})\n\n",
      name, 100 * spread.common, 100 * spread.own, 100 * scatter[0] / fleets, 100 * scatter[1] / fleets,
      100 * scatter[2] / fleets, 100 * scatter[3] / fleets, 100 * spread.common / std::numbers::sqrt2,
      100 * spread.own / std::numbers::sqrt2);
  fmt::print(
      "| way | mean runs | met at first correction | met in the end | runs above the limit | "
      "trims given 85-95 % | of these met (95 % limits) | foretold / met |\n"
      "|---|---|---|---|---|---|---|---|\n");
  tallies[0].print("(a) handbook");
  tallies[1].print("(b) trimwright, no fleet");
  tallies[2].print("(c) trimwright, learned prior");
}

}  // namespace

int main(int argc, char** argv) {
  const int rotors = argc > 1 ? std::atoi(argv[1]) : 1000;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  const int only = argc > 3 ? std::atoi(argv[3]) : 0;
  const VirtualFleet fleet;
  const std::array<FleetSpread, 3> levels{{{0.10, 0.05}, {0.15, 0.08}, {0.20, 0.12}}};
  FleetNoise wrong;
  wrong.outlier_share = 0.05;
  wrong.drift = 0.05;
  FleetNoise separate;
  separate.run_is_common = false;
  struct Part {
    FleetSpread spread;
    FleetNoise noise;
    std::string name;
  };
  const std::array<Part, 5> parts{
      {{levels[0], {}, "As assumed"},
       {levels[1], {}, "As assumed"},
       {levels[2], {}, "As assumed"},
       {levels[1], wrong,
        "Wrong assumptions (outliers of 0.2 in/s in 5 % of readings, coefficients drift 5 %)"},
       {levels[1], separate, "Wrong assumptions (run-to-run change of each reading its own)"}}};
  for (int part = 1; part <= 5; ++part)
    if (only == 0 || only == part) {
      const auto& [spread, noise, name] = parts[static_cast<std::size_t>(part - 1)];
      study(fleet, spread, noise, name, rotors, seed);
    }
}
