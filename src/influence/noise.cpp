#include "trimwright/influence.hpp"

#include <algorithm>
#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>

#include "open_noise.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::VectorXd;

/// Log of posterior density of the logarithms of the open standard deviations.
double log_variance_density(const OpenNoise& open, const VectorXd& log_sd) {
  const VectorXd variances = (2.0 * log_sd).array().exp();
  double density = log_likelihood(open, variances);
  const Index change = open.in_units_of_repeatability ? 0 : 1;  // the run-to-run change among them
  if (change >= log_sd.size()) return density;
  const double unit = open.in_units_of_repeatability ? 0.0 : log_sd(0);
  return density + log_sd(change) - unit - std::log1p(std::exp(2.0 * (log_sd(change) - unit)));
}

/// Draws by a random walk (N. Metropolis et al., *J. Chem. Phys.* 21 (1953)), far enough apart to count as
/// independent.
std::vector<VectorXd> variance_draws(const OpenNoise& open, const VectorXd& start, int count,
                                     boost::random::mt19937_64& generator) {
  constexpr int settling = 60, apart = 8;
  boost::random::normal_distribution<double> normal;
  boost::random::uniform_01<double> uniform;
  const double step = 2.0 / std::sqrt(0.5 * static_cast<double>(open.contrasts) + 1.0);
  VectorXd at = 0.5 * start.array().max(1e-4 * open.size).log();
  double density = log_variance_density(open, at);
  std::vector<VectorXd> draws;
  for (int i = 1 - settling; i <= count * apart; ++i) {
    VectorXd next = at;
    for (Index k = 0; k < next.size(); ++k) next(k) += step * normal(generator);
    const double there = log_variance_density(open, next);
    if (std::log(uniform(generator)) < there - density) at = next, density = there;
    if (i > 0 && i % apart == 0) draws.push_back((2.0 * at).array().exp());
  }
  return draws;
}

/// What the rotor file and the readings state; a sensor counts as stated when all its readings are.
NoiseModel stated_noise(const Job& job, const JointSystem& system) {
  NoiseModel noise;
  for (std::size_t s = 0; s < job.rotor.sensors.size(); ++s) {
    const Sensor& sensor = job.rotor.sensors[s];
    SensorNoise one;
    one.proportional = sensor.proportional;
    if (sensor.run_to_run) one.run_to_run = {*sensor.run_to_run, NoisePart::Source::stated};
    double squares = 0.0;
    int count = 0, stated = 0;
    for (const auto& reading : system.readings) {
      if (reading.sensor != s) continue;
      ++count;
      if (!reading.sd) continue;
      ++stated;
      squares += *reading.sd * *reading.sd;
    }
    if (sensor.repeatability)
      one.within = {*sensor.repeatability, NoisePart::Source::stated};
    else if (stated == count && count > 0)
      one.within = {std::sqrt(squares / count), NoisePart::Source::stated};
    noise.sensors.push_back(one);
  }
  return noise;
}

}  // namespace

NoiseModel noise_of(const Job& job, const JointSystem& system) {
  NoiseModel noise = stated_noise(job, system);
  for (const auto& open : open_noise(system, noise)) estimate(open, noise);
  return noise;
}

std::vector<NoiseDraw> noise_draws(const JointSystem& system, const NoiseModel& noise, int count,
                                   std::uint64_t seed) {
  boost::random::mt19937_64 generator(seed);
  std::vector<NoiseDraw> draws(static_cast<std::size_t>(count), NoiseDraw{noise, 0.0});
  bool any = noise.widened > 1.0;
  for (const auto& open : open_noise(system, noise)) {
    if (open.parts == 0) continue;
    const auto variances = variance_draws(open, variances_of(open.sensors.front(), noise), count, generator);
    for (std::size_t i = 0; i < draws.size(); ++i) {
      take_variances(open, variances[i], draws[i].noise);
      draws[i].log_likelihood += log_likelihood(open, variances[i]);
    }
    any = true;
  }
  if (!any) return {{noise, 0.0}};
  for (auto& one : draws) {
    if (noise.widened > 1.0) {
      boost::random::chi_squared_distribution<double> chi(noise.degrees_of_freedom);
      one.noise.widened = noise.widened * std::sqrt(noise.degrees_of_freedom / chi(generator));
    }
    one.noise.degrees_of_freedom = std::numeric_limits<double>::infinity();
  }
  return draws;
}

}  // namespace trimwright
