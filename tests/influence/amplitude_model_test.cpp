#include "influence/amplitude_model.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "job_builder.hpp"
#include "trimwright/phasor.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// The runs of `known` with weights as given (one entry a run, one list a plane), phases lost.
Job without_phase(const Rotor& rotor, const KnownRotor& known,
                  const std::vector<std::vector<FittedWeights>>& fitted) {
  std::vector<Run> runs;
  for (const auto& one : fitted) {
    runs.push_back(known.run(rotor, "run " + std::to_string(runs.size() + 1), one));
    for (auto& reading : runs.back().readings) reading.x.reset();
  }
  return job_of(rotor, runs);
}

/// Whether a solution predicts the truth's amplitudes for a weight of 300 g mm in each of 12 directions of
/// plane 0, which no run had.
bool is_truth(const AmplitudeModel& model, const AmplitudeSolution& solution, Phasor baseline,
              const Eigen::VectorXcd& coefficients) {
  for (int k = 0; k < 12; ++k) {
    Eigen::VectorXcd u = Eigen::VectorXcd::Constant(coefficients.size(), Phasor(55.0, -20.0));
    u(0) = std::polar(300.0, radians(7.0 + 30.0 * k));
    const double truth = std::abs(baseline + (coefficients.transpose() * u).value());
    const double told =
        std::abs(solution.first + (solution.coefficients.transpose() * (u - model.first_unbalance)).value());
    if (std::abs(told - truth) > 1e-6) return false;
  }
  return true;
}

const Phasor found(0.6, 0.2);
const Phasor fan(1e-3, 5e-4), rear(-4e-4, 1.2e-3);

}  // namespace

TEST_CASE("A baseline and three trial runs without phase have one solution, the truth") {
  const Rotor rotor = free_rotor({"fan"}, {"A"});
  const KnownRotor known{{found}, {{fan}}};
  const Job job =
      without_phase(rotor, known, {{{}}, {free_at(400, 10)}, {free_at(400, 130)}, {free_at(400, 250)}});
  const auto model = fit_amplitudes(job);
  REQUIRE(model);
  REQUIRE(model->rows.size() == 1);
  REQUIRE(model->rows[0].solutions.size() == 1);
  CHECK(is_truth(*model, model->rows[0].solutions[0], found, Eigen::VectorXcd::Constant(1, fan)));
  const auto influence = influence_from_amplitudes(job, *model);
  REQUIRE(influence);
  const Eigen::VectorXcd cancel = Eigen::VectorXcd::Constant(1, -found / fan);
  CHECK(std::abs(predict(influence->rows[0], cancel)) < 1e-9);
}

TEST_CASE("Two trial runs leave two solutions, one of them the truth, and nothing is planned on them") {
  const Rotor rotor = free_rotor({"fan"}, {"A"});
  const KnownRotor known{{found}, {{fan}}};
  const Job job = without_phase(rotor, known, {{{}}, {free_at(400, 10)}, {free_at(400, 100)}});
  const auto model = fit_amplitudes(job);
  REQUIRE(model);
  const auto& solutions = model->rows[0].solutions;
  CHECK(solutions.size() == 2);
  CHECK(std::count_if(solutions.begin(), solutions.end(), [&](const AmplitudeSolution& one) {
          return is_truth(*model, one, found, Eigen::VectorXcd::Constant(1, fan));
        }) == 1);
  const auto influence = influence_from_amplitudes(job, *model);
  REQUIRE_FALSE(influence);
  CHECK(influence.error().what.find("2 explanations") != std::string::npos);
}

TEST_CASE("Trial weights in line leave the mirror image open, however many runs there are") {
  const Rotor rotor = free_rotor({"fan"}, {"A"});
  const KnownRotor known{{found}, {{fan}}};
  const Job job = without_phase(
      rotor, known, {{{}}, {free_at(400, 30)}, {free_at(200, 30)}, {free_at(300, 210)}, {free_at(100, 210)}});
  const auto model = fit_amplitudes(job);
  REQUIRE(model);
  REQUIRE(model->rows[0].solutions.size() == 2);
  const Phasor in_line = std::polar(1.0, radians(30.0));
  const Phasor one = model->rows[0].solutions[0].coefficients(0) * in_line;
  const Phasor other = model->rows[0].solutions[1].coefficients(0) * in_line;
  CHECK(std::abs(one - std::conj(other)) < 1e-9);
}

TEST_CASE("Two planes without phase are told from a baseline and three trial runs each") {
  const Rotor rotor = free_rotor({"fan", "rear"}, {"A"});
  const KnownRotor known{{found}, {{fan, rear}}};
  const Job job = without_phase(rotor, known,
                                {{{}, {}},
                                 {free_at(400, 0), {}},
                                 {free_at(400, 120), {}},
                                 {free_at(400, 240), {}},
                                 {{}, free_at(300, 20)},
                                 {{}, free_at(300, 140)},
                                 {{}, free_at(300, 260)}});
  const auto model = fit_amplitudes(job);
  REQUIRE(model);
  REQUIRE(model->rows[0].solutions.size() == 1);
  Eigen::VectorXcd truth(2);
  truth << fan, rear;
  CHECK(is_truth(*model, model->rows[0].solutions[0], found, truth));
}

TEST_CASE("Too few amplitudes, and overall levels, are not solved") {
  const Rotor rotor = free_rotor({"fan"}, {"A"});
  const KnownRotor known{{found}, {{fan}}};
  const Job few = without_phase(rotor, known, {{{}}, {free_at(400, 10)}});
  CHECK_FALSE(fit_amplitudes(few));
  Job overall = without_phase(rotor, known, {{{}}, {free_at(400, 10)}, {free_at(400, 130)}});
  for (auto& run : overall.runs)
    for (auto& reading : run.readings) reading.component = Component::overall;
  CHECK_FALSE(fit_amplitudes(overall));
}

TEST_CASE("The stated uncertainty of a prediction from amplitudes is that of repeated noisy jobs") {
  Rotor rotor = free_rotor({"fan"}, {"A"});
  rotor.sensors[0].repeatability = 0.01;
  const KnownRotor known{{found}, {{fan}}};
  const Eigen::VectorXcd at = Eigen::VectorXcd::Constant(1, Phasor(-150.0, 90.0));
  const double truth = std::abs(found + fan * at(0));
  double squares = 0.0, stated = 0.0;
  unsigned state = 12345;
  const auto noise = [&] {  // sum of twelve uniform draws, variance 1
    double sum = -6.0;
    for (int k = 0; k < 12; ++k) {
      state = 1664525U * state + 1013904223U;
      sum += static_cast<double>(state >> 8) / 16777216.0;
    }
    return sum;
  };
  constexpr int jobs = 400;
  for (int k = 0; k < jobs; ++k) {
    Job job =
        without_phase(rotor, known, {{{}}, {free_at(400, 10)}, {free_at(400, 130)}, {free_at(400, 250)}});
    for (auto& run : job.runs) run.readings[0].amplitude += 0.01 * noise();
    const auto model = fit_amplitudes(job);
    REQUIRE(model);
    const auto influence = influence_from_amplitudes(job, *model);
    REQUIRE(influence);
    const double error = std::abs(predict(influence->rows[0], at)) - truth;
    squares += error * error;
    stated += std::pow(*prediction_sd(*influence, influence->rows[0], at), 2);
  }
  // The stated deviation is that of a real component, the mean over both; an amplitude's differs from it.
  CHECK(squares / stated > 0.4);
  CHECK(squares / stated < 2.5);
}
