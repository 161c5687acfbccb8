#include <doctest/doctest.h>

#include "learned_prior.hpp"
#include "trimwright/check.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

constexpr double target = 0.3;  // [in/s]

/// Total moments that least squares over the model's rows asks for.
Eigen::Vector2cd correction(const InfluenceModel& model) {
  const auto rows = static_cast<Eigen::Index>(model.rows.size());
  ContinuousProblem problem{Eigen::VectorXcd(rows), Eigen::MatrixXcd(rows, 2), {}};
  for (Eigen::Index i = 0; i < rows; ++i) {
    problem.residual(i) = model.rows[static_cast<std::size_t>(i)].baseline / target;
    problem.response.row(i) = model.rows[static_cast<std::size_t>(i)].coefficients.transpose() / target;
  }
  return minimise_least_squares(problem).moments;
}

/// How often the check runs of good trims were held for a mistake, and those of weights at mirrored angles
/// were not.
struct Judgements {
  int trims = 0, alarms = 0, overlooked = 0;
};

/// Trims of `count` rotors, planned from `earlier` runs: a baseline, and a trial in each plane.
Judgements judgements(const VirtualFleet& fleet, const Prior* prior, int earlier, int count) {
  FleetDraws draws(91);
  Judgements sum;
  for (int r = 0; r < count; ++r) {
    const FleetRotor rotor = fleet.draw({0.15, 0.08}, {}, draws);
    std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
    for (int p = 0; p + 1 < earlier; ++p) {
      Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
      trial(p) = fleet.moment_worth(0.5, p);
      runs.push_back(fleet.run(rotor, "trial " + std::to_string(p), trial, {}, draws));
    }
    Job job = fleet.job(runs);
    job.small_residual = prior == nullptr;
    const auto settled = settle_and_fit(job, {}, prior);
    REQUIRE(settled);
    const Eigen::Vector2cd planned = correction(settled->model);
    runs.push_back(fleet.run(rotor, "check", planned, {}, draws));
    job.runs = runs;
    job.fitted_now = runs.back().fitted;
    const auto judged = judge_job(job, {}, {}, prior);
    REQUIRE(judged);
    CHECK(judged->verdict.not_predicted.empty());
    ++sum.trims;
    sum.alarms += !judged->verdict.mistakes.as_predicted();
    // Fitted at the mirrored angles, written down as planned.
    job.runs.back().readings = fleet.run(rotor, "mirrored", planned.conjugate(), {}, draws).readings;
    const auto mirrored = judge_job(job, {}, {}, prior);
    REQUIRE(mirrored);
    sum.overlooked += mirrored->verdict.mistakes.as_predicted();
  }
  return sum;
}

}  // namespace

TEST_CASE("The check run of a trim planned from a fleet's prior is judged with the prior") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.15, 0.08}, 30, 92);
  const auto from_baseline = judgements(fleet, &prior, 1, 50);
  MESSAGE("from a baseline: alarms ", from_baseline.alarms, ", overlooked ", from_baseline.overlooked);
  CHECK(from_baseline.alarms <= 2);
  CHECK(from_baseline.overlooked <= 5);
  const auto from_three = judgements(fleet, &prior, 3, 50);
  MESSAGE("from three runs: alarms ", from_three.alarms, ", overlooked ", from_three.overlooked);
  CHECK(from_three.alarms <= 2);
  CHECK(from_three.overlooked <= 5);
}

TEST_CASE("A job with a small residual is judged with what it supposes") {
  const auto from_three = judgements(VirtualFleet(), nullptr, 3, 50);
  MESSAGE("alarms ", from_three.alarms, ", overlooked ", from_three.overlooked);
  CHECK(from_three.alarms <= 2);
  CHECK(from_three.overlooked <= 5);
}

TEST_CASE("Without its prior a trim planned from a baseline alone cannot be judged") {
  const VirtualFleet fleet;
  FleetDraws draws(93);
  const FleetRotor rotor = fleet.draw({0.15, 0.08}, {}, draws);
  Eigen::Vector2cd fitted(fleet.moment_worth(0.5, 0), 0.0);
  const Job job = fleet.job({fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws),
                             fleet.run(rotor, "check", fitted, {}, draws)});
  CHECK(!judge_job(job, {}));
}
