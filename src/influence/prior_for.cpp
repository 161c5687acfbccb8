#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/date.hpp"
#include "base/linear_algebra.hpp"
#include "base/name.hpp"
#include "fleet_jobs.hpp"
#include "variance_components.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Stated where fewer than three rotors tell: one standard deviation between rotors and visits together, and
/// that it counts as known from three rotors. Our own figures, wide.
constexpr double stated_common = 0.2, stated_own = 0.1;
constexpr int fewest_rotors = 3, fewest_repeats = 3;
constexpr Index level = FleetScatter::parts;  // of the scatter at each level

/// Jobs of one serial, in the order given.
struct OneRotor {
  std::string serial;
  std::vector<std::size_t> visits;  ///< entries of the jobs that count
};

/// Variances of the parts, between rotors and between visits of one.
struct LevelVariances {
  VectorXd rotors = VectorXd::Zero(level), visits = VectorXd::Zero(level);
  FleetScatter::Covariance visits_covariance = FleetScatter::Covariance::Zero(),
                           both_covariance = visits_covariance;
  bool rotors_told = false, visits_told = false;
  double common_freedom = 0.0;
};

std::vector<OneRotor> rotors_of(const std::vector<std::string>& serials) {
  std::vector<OneRotor> rotors;
  for (std::size_t j = 0; j < serials.size(); ++j) {
    const auto same = std::find_if(rotors.begin(), rotors.end(), [&](const OneRotor& one) {
      return !serials[j].empty() && alike(one.serial, serials[j]);
    });
    if (same == rotors.end())
      rotors.push_back({serials[j], {j}});
    else
      same->visits.push_back(j);
  }
  return rotors;
}

/// All visits of a rotor as one block: parts between rotors, then between visits.
ComponentBlock rotor_block(const Prior& prior, const std::vector<JobEstimate>& jobs, const OneRotor& rotor) {
  std::vector<std::size_t> coefficients;
  std::vector<ComponentBlock> visits;
  for (const std::size_t j : rotor.visits) {
    coefficients.insert(coefficients.end(), jobs[j].coefficients.begin(), jobs[j].coefficients.end());
    visits.push_back(relative_block(prior, jobs[j]));
  }
  const Index n = 2 * static_cast<Index>(coefficients.size());
  ComponentBlock block;
  block.y.resize(n);
  block.x.resize(n, 2 * static_cast<Index>(prior.coefficients.size()));
  block.fixed = MatrixXd::Zero(n, n);
  block.parts = scatter_parts(prior, coefficients);
  block.parts.resize(2 * level, MatrixXd::Zero(n, n));
  Index at = 0;
  for (const auto& visit : visits) {
    const Index m = visit.y.size();
    block.y.segment(at, m) = visit.y;
    block.x.middleRows(at, m) = visit.x;
    block.fixed.block(at, at, m, m) = visit.fixed;
    for (std::size_t q = 0; q < level; ++q) block.parts[level + q].block(at, at, m, m) = visit.parts[q];
    at += m;
  }
  return block;
}

MatrixXd covariance_of_block(const ComponentBlock& block, const LevelVariances& known) {
  MatrixXd v = block.fixed;
  for (std::size_t q = 0; q < level; ++q)
    v += known.rotors(static_cast<Index>(q)) * block.parts[q] +
         known.visits(static_cast<Index>(q)) * block.parts[level + q];
  return v;
}

/// What the jobs tell of the variances at the present means.
LevelVariances level_variances(const Prior& prior, const std::vector<JobEstimate>& jobs,
                               const std::vector<OneRotor>& rotors) {
  LevelVariances known;
  std::size_t planes = 0;
  for (std::size_t i = 0; i < prior.coefficients.size(); ++i)
    planes += std::none_of(prior.coefficients.begin(), prior.coefficients.begin() + static_cast<Index>(i),
                           [&](const auto& one) { return one.plane == prior.coefficients[i].plane; });
  const auto per_visit = static_cast<double>(planes);
  const std::size_t repeats = jobs.size() - rotors.size();
  if (rotors.size() < fewest_rotors) {
    VectorXd all(level);
    all << stated_common * stated_common, stated_common * stated_common, stated_own * stated_own,
        stated_own * stated_own, 0.0;
    known.rotors = known.visits = 0.5 * all;
    known.common_freedom = per_visit * (fewest_rotors - 1);
    known.both_covariance.diagonal() = 2.0 * all.cwiseAbs2() / known.common_freedom;
    known.visits_covariance = 0.25 * known.both_covariance;
    return known;
  }
  known.rotors_told = true;
  known.visits_told = repeats >= fewest_repeats;
  std::vector<ComponentBlock> blocks;
  for (const auto& rotor : rotors) blocks.push_back(rotor_block(prior, jobs, rotor));
  if (!known.visits_told)  // rotors and visits together
    for (auto& block : blocks) block.parts.erase(block.parts.begin(), block.parts.begin() + level);
  const auto parts = static_cast<Index>(blocks.front().parts.size());
  const auto fit =
      restricted_likelihood(blocks, VectorXd::Constant(parts, 0.01), VectorXd::Constant(parts, 1e-10), true);
  if (known.visits_told) {
    known.rotors = fit.variances.head(level);
    known.visits = fit.variances.tail(level);
    known.visits_covariance = fit.covariance.bottomRightCorner(level, level);
    known.both_covariance = fit.covariance.topLeftCorner(level, level) + known.visits_covariance +
                            fit.covariance.topRightCorner(level, level) +
                            fit.covariance.bottomLeftCorner(level, level);
    known.common_freedom = per_visit * static_cast<double>(repeats);
  } else {
    known.rotors = known.visits = 0.5 * fit.variances;
    known.both_covariance = fit.covariance;
    known.visits_covariance = 0.25 * known.both_covariance;
    known.common_freedom = per_visit * static_cast<double>(rotors.size() - 1);
  }
  return known;
}

/// Generalised least squares of the type's relative means, and what of it each job's entries tell.
struct TypeMeans {
  VectorXd mean;
  MatrixXd covariance;
  std::vector<MatrixXd> gain;  ///< of each block: what its y add to `mean`
  std::vector<ComponentBlock> blocks;
};

TypeMeans type_means(const Prior& prior, const std::vector<JobEstimate>& jobs,
                     const std::vector<OneRotor>& rotors, const LevelVariances& known) {
  const Index n = 2 * static_cast<Index>(prior.coefficients.size());
  TypeMeans type{VectorXd::Zero(n), MatrixXd::Zero(n, n), {}, {}};
  MatrixXd weight = MatrixXd::Zero(n, n);
  for (const auto& rotor : rotors) {
    type.blocks.push_back(rotor_block(prior, jobs, rotor));
    const auto& block = type.blocks.back();
    type.gain.push_back(positive_solve(covariance_of_block(block, known), block.x).transpose());
    weight += type.gain.back() * block.x;
  }
  type.covariance = positive_solve(weight, MatrixXd::Identity(n, n));
  for (std::size_t r = 0; r < rotors.size(); ++r) {
    type.gain[r] = (type.covariance * type.gain[r]).eval();
    type.mean += type.gain[r] * type.blocks[r].y;
  }
  return type;
}

/// Mean weight of each job in the means of what is predicted: what they move by where all coefficients of a
/// plane move together in that job. `gain`: of the blocks, in their order.
void tell_shares(const Prior& prior, const std::vector<JobEstimate>& jobs,
                 const std::vector<OneRotor>& rotors, const std::vector<MatrixXd>& gain,
                 std::vector<PriorPart>& parts) {
  const auto& coefficients = prior.coefficients;
  const auto all = 2.0 * static_cast<double>(coefficients.size());
  for (std::size_t r = 0; r < rotors.size(); ++r) {
    Index at = 0;
    for (const std::size_t j : rotors[r].visits)
      for (const std::size_t c : jobs[j].coefficients) {
        for (std::size_t moved = 0; moved < coefficients.size(); ++moved)
          if (coefficients[moved].plane == coefficients[c].plane)
            for (Index part = 0; part < 2; ++part)
              parts[j].share += gain[r](2 * static_cast<Index>(moved) + part, at + part) / all;
        at += 2;
      }
  }
}

/// The prior in the frame of the means `relative` off the present ones.
void move_means(Prior& prior, const VectorXd& relative) {
  const Index n = 2 * static_cast<Index>(prior.coefficients.size());
  MatrixXd turn = MatrixXd::Zero(n, n);
  for (std::size_t i = 0; i < prior.coefficients.size(); ++i) {
    const auto at = 2 * static_cast<Index>(i);
    const Phasor by(1.0 + relative(at), relative(at + 1));
    prior.coefficients[i].mean *= by;
    turn.block<2, 2>(at, at) = as_real(1.0 / by);
  }
  if (prior.mean_covariance.size() > 0)
    prior.mean_covariance = turn * prior.mean_covariance * turn.transpose();
}

/// Best linear unbiased prediction of the rotor `own` (an entry of `rotors`; none: a new one).
void predict_rotor(Prior& prior, const std::vector<JobEstimate>& jobs, const std::vector<OneRotor>& rotors,
                   const LevelVariances& known, std::optional<std::size_t> own) {
  TypeMeans type = type_means(prior, jobs, rotors, known);
  if (!own) {
    tell_shares(prior, jobs, rotors, type.gain, prior.levels->parts);
    prior.mean_covariance = type.covariance;
    take_scatter(prior, known.rotors + known.visits, known.both_covariance);
    return move_means(prior, type.mean);
  }
  const auto& block = type.blocks[*own];
  const Index n = type.mean.size();
  MatrixXd rotor = MatrixXd::Zero(n, n);  // covariance of the rotor's own part of every coefficient
  const auto parts = scatter_parts(prior);
  for (std::size_t q = 0; q < parts.size(); ++q) rotor += known.rotors(static_cast<Index>(q)) * parts[q];
  const MatrixXd across = rotor * block.x.transpose();  // with its visits
  const MatrixXd of_own = positive_solve(covariance_of_block(block, known), across.transpose()).transpose();
  const MatrixXd left = MatrixXd::Identity(n, n) - of_own * block.x;  // of the type's means
  const VectorXd mean = type.mean + of_own * (block.y - block.x * type.mean);
  for (auto& gain : type.gain) gain = (left * gain).eval();
  type.gain[*own] += of_own;
  tell_shares(prior, jobs, rotors, type.gain, prior.levels->parts);
  prior.mean_covariance = rotor - of_own * across.transpose() + left * type.covariance * left.transpose();
  prior.mean_covariance = (0.5 * (prior.mean_covariance + prior.mean_covariance.transpose())).eval();
  take_scatter(prior, known.visits, known.visits_covariance);
  move_means(prior, mean);
}

std::string date_of(const Job& job) {
  for (const auto& run : job.runs)
    if (begins_as_date(run.conditions.when)) return run.conditions.when.substr(0, 10);
  return {};
}

/// Those that count, once the jobs that contradict the rest are left out.
std::vector<JobEstimate> that_belong(Prior& prior, std::vector<Candidate>& all) {
  if (all.size() >= static_cast<std::size_t>(fewest_fleet_jobs) && !prior_of_those_that_belong(prior, all))
    for (auto& one : all) one.in = true;
  std::vector<JobEstimate> jobs;
  for (const auto& one : all) {
    if (one.in)
      jobs.push_back(one.estimate);
    else
      prior.left_out.push_back({one.estimate.name, one.estimate.why});
  }
  return jobs;
}

}  // namespace

double PriorLevels::own_share() const {
  double sum = 0.0;
  for (const auto& one : parts)
    if (one.own) sum += one.share;
  return sum;
}

Result<Prior> prior_for(const Job& job, const std::vector<FleetJob>& jobs) {
  constexpr int most_rounds = 20;
  Prior prior;
  prior.rotor = job.rotor.name;
  std::vector<FleetJob> earlier;
  for (const auto& one : jobs)
    if (alike(one.job.rotor.name, prior.rotor) && !begin_alike(one.job, job)) earlier.push_back(one);
  auto all = fleet_candidates(earlier, prior);
  if (!all) return tl::unexpected(all.error());
  auto counted = that_belong(prior, *all);
  if (counted.empty())
    return tl::unexpected(
        with_left_out({"no earlier job of rotor \"" + prior.rotor + "\" tells how weights act",
                       "a filed job of this type with a trial run in each plane",
                       {}},
                      prior));
  prior.jobs = static_cast<int>(counted.size());
  prior.levels = PriorLevels{{}, job.serial, false, false, 0.0};
  std::vector<std::string> serials;
  for (const auto& one : *all) {
    if (!one.in) continue;
    const std::string& serial = one.job->job.serial;
    serials.push_back(serial);
    prior.levels->parts.push_back(
        {one.job->name, date_of(one.job->job), !serial.empty() && alike(serial, job.serial), 0.0});
  }
  const auto rotors = rotors_of(serials);
  std::optional<std::size_t> own;
  for (std::size_t r = 0; r < rotors.size(); ++r)
    if (prior.levels->parts[rotors[r].visits.front()].own) own = r;
  start_means(prior, counted, 1);
  LevelVariances known;
  for (int round = 0; round < most_rounds; ++round) {
    known = level_variances(prior, counted, rotors);
    const VectorXd off = type_means(prior, counted, rotors, known).mean;
    move_means(prior, off);
    if (off.cwiseAbs().maxCoeff() < 1e-7) break;
  }
  prior.levels->rotors_told = known.rotors_told;
  prior.levels->visits_told = known.visits_told;
  prior.levels->degrees_of_freedom = known.common_freedom;
  predict_rotor(prior, counted, rotors, known, own);
  prior.left = left_by(*all);
  return prior;
}

std::string source_words(const std::optional<PriorLevels>& levels) {
  if (!levels) return "the trims of the rotor's fleet";
  const auto own = [](const PriorPart& one) { return one.own; };
  if (std::all_of(levels->parts.begin(), levels->parts.end(), own)) return "this rotor's own earlier trims";
  return std::any_of(levels->parts.begin(), levels->parts.end(), own)
             ? "earlier trims of this rotor and of others of its type"
             : "earlier trims of other rotors of its type";
}

std::string levels_words(const PriorLevels& levels) {
  const auto of_job = [](const PriorPart& one) {
    return one.date.empty() ? one.name : "the trim of " + one.date + " (" + one.name + ")";
  };
  std::size_t own = 0;
  const PriorPart* most = nullptr;
  for (const auto& one : levels.parts) {
    own += one.own;
    if (one.own && (most == nullptr || one.share > most->share)) most = &one;
  }
  const std::size_t others = levels.parts.size() - own;
  const double share = levels.own_share();
  std::string words;
  if (most == nullptr)
    words = fmt::format("How weights act is taken from {} trim{} of other rotors of the type.", others,
                        others == 1 ? "" : "s");
  else if (others == 0)
    words = fmt::format("How weights act is taken from this rotor's own earlier trim{}, {}{}.",
                        own == 1 ? "" : "s", own == 1 ? "" : "mostly ", of_job(*most));
  else
    words = fmt::format(
        "How weights act is taken {} from this rotor's own earlier trim{} ({:.0f} %; {}{}), and from {} "
        "trim{} of other rotors of the type.",
        share >= 0.5 ? "mostly" : "in part", own == 1 ? "" : "s", 100.0 * share,
        own == 1 ? "" : "most of it ", of_job(*most), others, others == 1 ? "" : "s");
  if (!levels.rotors_told)
    words +=
        " So few rotors do not tell how far they differ: it is taken to be 20 % and 11° common to a plane, "
        "and "
        "half of that for each place alone.";
  else if (most != nullptr && !levels.visits_told)
    words +=
        " How far two visits of one rotor differ nothing tells yet: half of what rotors scatter (in squares) "
        "is "
        "taken to be between visits.";
  return words;
}

}  // namespace trimwright
