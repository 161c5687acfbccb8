#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "learned_prior.hpp"
#include "some.hpp"
#include "trimwright/influence.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Visits of one rotor: its coefficients moved anew by a plane's own share each time.
class Engine {
 public:
  Engine(std::string serial, const FleetSpread& spread, FleetDraws& draws)
      : serial_(std::move(serial)), rotor_(fleet_.draw(spread, {}, draws)) {}

  [[nodiscard]] FleetJob visit(const std::string& name, double between, FleetDraws& draws,
                               bool trials = true) const {
    FleetRotor now = rotor_;
    for (int p = 0; p < 2; ++p) now.c.col(p) *= 1.0 + draws.complex(between);
    std::vector<Run> runs{fleet_.run(now, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
    runs.front().conditions.when = "2031-05-1" + std::to_string(name.size() % 10) + " 09:00";
    for (int p = 0; trials && p < 2; ++p) {
      Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
      trial(p) = fleet_.moment_worth(0.5, p);
      runs.push_back(fleet_.run(now, "trial " + std::to_string(p), trial, {}, draws));
    }
    Job job = fleet_.job(runs);
    job.serial = serial_;
    return {job, name};
  }

  [[nodiscard]] const FleetRotor& rotor() const { return rotor_; }

 private:
  VirtualFleet fleet_;
  std::string serial_;
  FleetRotor rotor_;
};

/// The middle one: what a trial hardly moves is hardly known.
double middle_sd(const Prior& prior) {
  Eigen::VectorXd variances = relative_covariance(prior).diagonal();
  std::sort(variances.begin(), variances.end());
  return std::sqrt(variances(variances.size() / 2));
}

}  // namespace

TEST_CASE("One earlier trim of this serial is accepted, honestly wide, and is told") {
  FleetDraws draws(191126);
  const Engine engine("LKM-1", {0.15, 0.08}, draws);
  const auto earlier = engine.visit("may", 0.05, draws), now = engine.visit("now", 0.05, draws, false);
  const auto prior = prior_for(now.job, {earlier});
  REQUIRE(prior);
  REQUIRE(prior->levels);
  CHECK(prior->levels->own_share() == doctest::Approx(1.0));
  CHECK_FALSE(prior->levels->rotors_told);
  CHECK(middle_sd(*prior) > 0.22);  // two visits of one rotor differ so much as stated, its trial beside it
  CHECK(middle_sd(*prior) < 0.3);
  CHECK(source_words(prior->levels) == "this rotor's own earlier trims");
  CHECK(levels_words(*prior->levels).find("this rotor's own earlier trim, the trim of 2031-05-13 (may).") !=
        std::string::npos);
  CHECK(settle_and_fit(now.job, {}, &*prior));
}

TEST_CASE("This serial's own trim tells more than the type, and shares add up") {
  FleetDraws draws(192126);
  std::vector<FleetJob> jobs;
  for (int j = 0; j < 8; ++j)
    jobs.push_back(Engine("other " + std::to_string(j), {0.2, 0.12}, draws)
                       .visit("job " + std::to_string(j), 0.0, draws));
  const Engine engine("LKM-1", {0.2, 0.12}, draws);
  const auto now = engine.visit("now", 0.0, draws, false);
  const auto type = prior_for(now.job, jobs);
  jobs.push_back(engine.visit("own", 0.0, draws));
  const auto prior = prior_for(now.job, jobs);
  REQUIRE(type);
  REQUIRE(prior);
  CHECK(type->levels->own_share() == 0.0);
  CHECK(source_words(type->levels) == "earlier trims of other rotors of its type");
  CHECK(source_words(prior->levels) == "earlier trims of this rotor and of others of its type");
  CHECK(prior->levels->own_share() > 2.0 / 9.0);  // nine jobs
  CHECK(middle_sd(*prior) < middle_sd(*type));
  double sum = 0.0;
  for (const auto& one : some(prior->levels->parts)) sum += one.share;
  CHECK(sum == doctest::Approx(1.0));
  double off_type = 0.0, off_both = 0.0;
  for (std::size_t i = 0; i < some(prior->coefficients).size(); ++i) {
    const auto& one = prior->coefficients[i];
    const auto row = static_cast<Eigen::Index>(i / 2), plane = static_cast<Eigen::Index>(i % 2);
    const Phasor truth = engine.rotor().c(row, plane);
    off_type += std::norm(type->coefficients[i].mean - truth) / std::norm(truth);
    off_both += std::norm(one.mean - truth) / std::norm(truth);
  }
  CHECK(off_both < off_type);
}

TEST_CASE("Without earlier trims of its own the prior is the fleet's") {
  FleetDraws draws(193126);
  std::vector<FleetJob> jobs;
  for (int j = 0; j < 6; ++j)
    jobs.push_back(Engine("other " + std::to_string(j), {0.15, 0.08}, draws)
                       .visit("job " + std::to_string(j), 0.0, draws));
  const auto now = Engine("LKM-1", {0.15, 0.08}, draws).visit("now", 0.0, draws, false);
  const auto prior = prior_for(now.job, jobs), fleet = learn_prior(jobs);
  REQUIRE(prior);
  REQUIRE(fleet);
  REQUIRE(prior->coefficients.size() == fleet->coefficients.size());
  for (std::size_t i = 0; i < some(prior->coefficients).size(); ++i)
    CHECK(std::abs(prior->coefficients[i].mean - fleet->coefficients[i].mean) <
          1e-4 * std::abs(fleet->coefficients[i].mean));
  for (std::size_t q = 0; q < 4; ++q)
    CHECK(prior->scatter.sd[q] == doctest::Approx(fleet->scatter.sd[q]).epsilon(1e-3));
  CHECK(scatter_degrees_of_freedom(*prior) ==
        doctest::Approx(scatter_degrees_of_freedom(*fleet)).epsilon(1e-2));
}

TEST_CASE("Where rotors were trimmed several times, visits of one are told from rotors") {
  FleetDraws draws(194126);
  std::vector<FleetJob> jobs;
  for (int r = 0; r < 14; ++r) {
    const Engine engine("LKM-" + std::to_string(r), {0.25, 0.02}, draws);
    for (int v = 0; v < 3; ++v)
      jobs.push_back(engine.visit(std::to_string(r) + "/" + std::to_string(v), 0.05, draws));
  }
  const Engine engine("LKM-0x", {0.25, 0.02}, draws);
  jobs.push_back(engine.visit("own", 0.05, draws));
  const auto prior = prior_for(engine.visit("now", 0.05, draws, false).job, jobs);
  REQUIRE(prior);
  CHECK(prior->levels->visits_told);
  // Between visits 5 % complex rms, 0.05 / sqrt(2) a part; between rotors 25 %.
  for (std::size_t q = 0; q < 2; ++q) {
    CHECK(prior->scatter.sd[q] > 0.02);
    CHECK(prior->scatter.sd[q] < 0.055);
  }
  CHECK(prior->levels->own_share() > 0.8);
}

TEST_CASE(
    "A filed job that contradicts the rest is named and takes no part, and the present job's own record "
    "neither") {
  FleetDraws draws(195126);
  std::vector<FleetJob> jobs;
  for (int j = 0; j < 8; ++j)
    jobs.push_back(Engine("other " + std::to_string(j), {0.1, 0.05}, draws)
                       .visit("job " + std::to_string(j), 0.0, draws));
  for (auto& run : jobs[3].job.runs)  // slots numbered the wrong way
    for (auto& fitted : run.fitted)
      for (auto& piece : fitted.free) piece.at = RotorAngle::from_degrees(-piece.at.degrees() + 50.0);
  const auto now = Engine("LKM-1", {0.1, 0.05}, draws).visit("now", 0.0, draws);
  jobs.push_back({now.job, "this job itself"});
  const auto prior = prior_for(now.job, jobs);
  REQUIRE(prior);
  REQUIRE(prior->left_out.size() == 1);
  CHECK(prior->left_out.front().name == "job 3");
  CHECK(prior->levels->parts.size() == 7);
}

TEST_CASE("Nothing is taken from a job that tells nothing, and it is said why") {
  FleetDraws draws(196126);
  const Engine engine("LKM-1", {0.1, 0.05}, draws);
  const auto bare = engine.visit("bare", 0.0, draws, false), now = engine.visit("now", 0.0, draws, false);
  const auto prior = prior_for(now.job, {bare});
  REQUIRE_FALSE(prior);
  CHECK(prior.error().what.find("no earlier job of rotor") != std::string::npos);
  CHECK(prior.error().what.find("left out is bare") != std::string::npos);
}
