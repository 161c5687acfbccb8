#include "trimwright/influence.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <map>

#include "base/crew.hpp"
#include "base/linear_algebra.hpp"
#include "cancelling.hpp"
#include "events.hpp"
#include "joint_posterior.hpp"
#include "run_matrix.hpp"
#include "runs_fit.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

using Flags = std::vector<std::vector<bool>>;

/// The planes asked for, those the prior knows, and those the runs changed.
Result<std::vector<std::size_t>> planes_of(const Job& job, const std::vector<std::size_t>& wanted,
                                           const Prior* prior) {
  std::vector<std::size_t> planes;
  const auto moved = run_matrix(job, {});
  if (moved) planes = moved->planes;
  if (prior == nullptr) {
    const auto asked = run_matrix(job, wanted);
    if (!asked) return tl::unexpected(asked.error());
    return asked->planes;
  }
  for (const auto& one : prior->coefficients) {
    const auto plane = job.rotor.plane_named(one.plane);
    if (plane) planes.push_back(*plane);
  }
  planes.insert(planes.end(), wanted.begin(), wanted.end());
  std::sort(planes.begin(), planes.end());
  planes.erase(std::unique(planes.begin(), planes.end()), planes.end());
  return planes;
}

Flags known_coefficients(const JointSystem& system, const PriorMatch& match) {
  const std::size_t entries = 1 + system.planes.size();
  Flags known(system.rows.size(), std::vector<bool>(system.planes.size(), false));
  for (const std::size_t at : match.unknown) known[at / entries][at % entries - 1] = true;
  for (std::size_t i = 0; i < known.size(); ++i) known[i] = known[system.shares[i]];
  return known;
}

/// Rows and planes of a system, as a posterior whose unknowns are still open.
InfluencePosterior outline(const JointSystem& system) {
  InfluencePosterior posterior;
  posterior.rows = system.rows;
  posterior.planes = system.planes;
  return posterior;
}

VectorXd row_limits(const Job& job, const JointSystem& system) {
  VectorXd limits(static_cast<Index>(system.rows.size()));
  for (Index i = 0; i < limits.size(); ++i) {
    const auto [speed, sensor] = system.rows[static_cast<std::size_t>(i)];
    limits(i) = place_of(job, speed, sensor).limit;
  }
  return limits;
}

/// Rows, noise and runs of a job, with what a prior knows of them.
struct Knowledge {
  JointSystem system;
  NoiseModel noise;
  PriorMatch match;  ///< of `system`; empty without a prior
  /// Of `match`, where the job has events: their exponents, factors and fitted coefficients.
  JointPrior frame{};
};

/// What a prior says of the matched coefficients, in the frame of its rotors.
JointPrior joint_prior(const Knowledge& known, const Prior& prior) {
  JointPrior joint = known.frame;
  joint.unknown = known.match.unknown;
  joint.moments = prior_moments(prior, known.match.prior);
  return joint;
}

/// Brings `known.frame` in, and the events to where runs and prior together put them.
Result<void> settle_with_prior(const Job& job, const Prior& prior, Knowledge& known) {
  JointSystem& system = known.system;
  if (system.events.empty()) return {};
  const std::size_t entries = 1 + system.planes.size();
  for (const std::size_t at : known.match.unknown) {
    const auto [speed, sensor] = system.rows[at / entries];
    Eigen::VectorXcd exponents(static_cast<Index>(system.events.size()));
    for (std::size_t k = 0; k < system.events.size(); ++k) {
      EventPart since = system.events[k];
      ++since.run;  // the type's frame is that before the first run
      exponents(static_cast<Index>(k)) = event_exponent(since, job, 0, job.speeds_rpm[speed], sensor);
    }
    known.frame.exponents.push_back(exponents);
  }
  known.frame.factor.assign(known.match.unknown.size(), 1.0);
  known.frame.take_events(system);
  known.frame.fitted = known.frame.factor;
  JointPrior joint = joint_prior(known, prior);
  for (std::size_t a = 0; a < joint.fitted.size(); ++a)
    joint.fitted[a] *= Phasor(joint.moments.mean(static_cast<Index>(2 * a)),
                              joint.moments.mean(static_cast<Index>(2 * a + 1)));
  for (auto& part : system.events) part.sd = 0.0;
  settle_events(system, known.noise, &joint);
  known.frame = std::move(joint);
  return check_events(job, system, true);
}

Result<Knowledge> knowledge_of(const Job& job, const std::vector<std::size_t>& planes, const Prior* prior) {
  const JointSystem all = joint_system(job, planes);
  const bool together = prior != nullptr || all.shifts.cols() > 0 || !all.open_events().empty();
  if (auto fits = check_size(all, together); !fits) return tl::unexpected(fits.error());
  PriorMatch found;
  if (prior != nullptr) found = matched(*prior, job, outline(all));
  if (prior != nullptr && found.prior.empty())
    return fail("the prior shares no coefficient with this job",
                "a prior of this rotor type: planes, sensors, units and speeds of the same names and values");
  const RunsFit alone =
      fit_runs(job, settled_rows(all, Flags(all.rows.size(), std::vector<bool>(planes.size()))));
  Knowledge known{alone.system, alone.noise, {}};
  if (prior != nullptr) {
    known.system = settled_rows(all, known_coefficients(all, found));
    known.match = matched(*prior, job, outline(known.system));
    for (auto& part : known.system.events)
      for (const auto& told : alone.system.events)
        if (told.run == part.run && told.of == part.of && told.sensor == part.sensor) part.value = told.value;
    known.system.take_events();
    known.noise = noise_of(job, known.system);
    known.noise.widened = alone.noise.widened;
    known.noise.degrees_of_freedom = std::min(known.noise.degrees_of_freedom, alone.noise.degrees_of_freedom);
  }
  if (known.system.rows.empty())
    return fail("no speed and sensor has enough usable once-per-rev readings with phase",
                prior != nullptr ? "a baseline run with readings at the prior's speeds"
                                 : "at one speed at least, a reading in the baseline and in each trial run");
  if (!known.noise.known)
    return fail("nothing tells how well the readings repeat",
                "repeatability of every sensor in the rotor file, or repeated runs");
  const auto settled =
      prior != nullptr ? settle_with_prior(job, *prior, known) : check_events(job, known.system);
  if (!settled) return tl::unexpected(settled.error());
  return known;
}

/// X0 and C where noise and scatter are as given.
InfluencePosterior solved(const Knowledge& known, const NoiseModel& noise, const Prior* prior,
                          double* log_evidence = nullptr) {
  if (prior != nullptr) {
    const JointPrior joint = joint_prior(known, *prior);
    auto fit = joint_fit(known.system, noise, &joint);
    if (log_evidence != nullptr) *log_evidence = fit.log_evidence;
    return fit.posterior;
  }
  RunsFit fit{known.system, noise, {}, {}};
  fit_sensors(fit);
  return posterior_of(fit);
}

/// Kinds of noise and scatter that the chains choose from; 0: too large a job for chains.
int noises_drawn(const JointSystem& system, const Prior* prior) {
  constexpr int most = 32;
  if (system.rows.size() > most_rows_sampled) return 0;
  std::map<std::size_t, std::size_t> of_sensor;
  std::size_t tied = 0;
  for (const auto& [speed, sensor] : system.rows) tied = std::max(tied, ++of_sensor[sensor]);
  if (prior != nullptr || !system.events.empty()) tied = system.rows.size();
  return draws_that_fit(system.rows.size(), tied, system.planes.size(), most);
}

/// The posterior with what is not known of noise and scatter drawn, and of the weights that cancel all but d.
InfluencePosterior cancelling_posterior(const Knowledge& known, const Prior* prior, const VectorXd& limits,
                                        const std::optional<LeftByFleet>& left) {
  const int draws_of_noise = noises_drawn(known.system, prior);
  const auto noises = noise_draws(known.system, known.noise, draws_of_noise, draws_seed);
  const int count = prior != nullptr ? draws_of_noise : static_cast<int>(noises.size());
  const auto priors = prior != nullptr ? prior_draws(*prior, count, draws_seed) : std::vector<Prior>{};
  std::vector<KnownNoise> components(static_cast<std::size_t>(count));
  each_together(components.size(), [&](std::size_t j) {
    const auto& [noise, told] = noises[j % noises.size()];
    double evidence = 0.0;
    const auto one = solved(known, noise, prior != nullptr ? &priors[j] : nullptr, &evidence);
    // What the readings tell beside that by which the noise was drawn; nothing more of a noise they reject.
    const double weight = prior == nullptr || noise.widened > 1.0 ? 0.0 : evidence - told;
    components[j] = {one.unknowns.mean, one.unknowns.covariance, noise, weight};
  });
  auto draws = cancelling_draws(components, limits, left, draws_seed);
  InfluencePosterior posterior = outline(known.system);
  posterior.noise = known.noise;
  if (!known.system.events.empty()) {
    auto plain = solved(known, known.noise, prior);
    posterior.events = std::move(plain.events);
    posterior.events_covariance = std::move(plain.events_covariance);
  }
  posterior.unknowns.mean = draws.unknowns.rowwise().mean();
  const MatrixXd off = draws.unknowns.colwise() - posterior.unknowns.mean;
  posterior.unknowns.covariance = off * off.transpose() / static_cast<double>(off.cols() - 1);
  posterior.draws = std::make_shared<const PosteriorDraws>(std::move(draws));
  return posterior;
}

}  // namespace

Result<InfluencePosterior> posterior_with_left(const Job& job, const std::vector<std::size_t>& wanted,
                                               const Prior* prior, const std::optional<LeftByFleet>& left) {
  const auto planes = planes_of(job, wanted, prior);
  if (!planes) return tl::unexpected(planes.error());
  const auto known = knowledge_of(job, *planes, prior);
  if (!known) return tl::unexpected(known.error());
  if (known->system.rows.size() > planes->size() && noises_drawn(known->system, prior) > 0)
    return cancelling_posterior(*known, prior, row_limits(job, known->system), left);
  return influence_posterior(job, wanted, prior, Residual::any);
}

Result<InfluencePosterior> influence_posterior(const Job& job, const std::vector<std::size_t>& wanted,
                                               const Prior* prior, Residual residual) {
  if (residual == Residual::small)
    return posterior_with_left(job, wanted, prior, prior != nullptr ? prior->left : std::nullopt);
  const auto planes = planes_of(job, wanted, prior);
  if (!planes) return tl::unexpected(planes.error());
  const auto known = knowledge_of(job, *planes, prior);
  if (!known) return tl::unexpected(known.error());
  auto posterior = solved(*known, known->noise, prior);
  if (prior != nullptr)
    posterior.unknowns.degrees_of_freedom =
        std::min(posterior.unknowns.degrees_of_freedom, scatter_degrees_of_freedom(*prior));
  return posterior;
}

Eigen::MatrixXcd circular_covariance(const InfluencePosterior& posterior, std::size_t i) {
  const Index entries = 1 + static_cast<Index>(posterior.planes.size());
  const auto from = 2 * static_cast<Index>(posterior.entry(i, 0));
  Eigen::MatrixXcd half(entries, entries);
  for (Index j = 0; j < entries; ++j)
    for (Index k = 0; k < entries; ++k) {
      half(j, k) = circular_part(posterior.unknowns.covariance.block<2, 2>(from + 2 * j, from + 2 * k));
    }
  return half;
}

double interval_factor(double probability, double degrees_of_freedom) {
  const double tail = 0.5 * (1.0 - probability);
  if (degrees_of_freedom > 1e6)
    return boost::math::quantile(boost::math::complement(boost::math::normal(), tail));
  return boost::math::quantile(boost::math::complement(boost::math::students_t(degrees_of_freedom), tail));
}

}  // namespace trimwright
