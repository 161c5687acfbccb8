#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>

#include "convention_test.hpp"
#include "events.hpp"
#include "mirror_test.hpp"
#include "plane_condition.hpp"
#include "plane_moments.hpp"
#include "runs/stated_sd.hpp"
#include "trimwright/influence.hpp"
#include "usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// The rows of a posterior as a model has them, with the readings they were made from.
void take_posterior_rows(const Job& job, const InfluencePosterior& posterior, InfluenceModel& model) {
  const Index entries = 1 + static_cast<Index>(posterior.planes.size());
  model.rows.clear();
  for (std::size_t i = 0; i < posterior.rows.size(); ++i) {
    InfluenceRow row;
    std::tie(row.speed, row.sensor) = posterior.rows[i];
    row.baseline = posterior.unknowns.at(posterior.entry(i, 0));
    row.coefficients.resize(entries - 1);
    for (Index p = 0; p + 1 < entries; ++p)
      row.coefficients(p) = posterior.unknowns.at(posterior.entry(i, static_cast<std::size_t>(p) + 1));
    row.reading_sd = posterior.noise.sensors[row.sensor].within.sd;
    for (const std::size_t r : model.runs.used) {
      const auto u = of_planes(run_unbalance(job, r), posterior.planes);
      if (new_baseline_between(job, r, job.runs.size() - 1)) continue;  // its own is not the row's
      for (const auto& reading : job.runs[r].readings) {
        if (reading.speed != row.speed || reading.sensor != row.sensor ||
            !why_not_usable(job, job.runs[r], reading).empty())
          continue;
        const auto& noise = posterior.noise.sensors[row.sensor];
        const Phasor since = since_events(posterior.events, job, r, job.speeds_rpm[row.speed], row.sensor);
        const double scale = std::abs(since);
        const double within = scale * stated_sd(job.rotor, reading).value_or(noise.within.sd);
        const Phasor fitted = predict(row, u);
        row.fit.push_back({r, since * *reading.x, fitted, within,
                           std::hypot(std::hypot(within, scale * noise.run_to_run.sd),
                                      noise.proportional * std::abs(fitted))});
      }
    }
    row.readings = static_cast<int>(row.fit.size());
    row.spare = std::max(0, row.readings - static_cast<int>(entries));
    model.rows.push_back(std::move(row));
  }
}

/// A model of a job whose runs alone settle nothing: readings left out are told, the rest is the prior's.
InfluenceModel model_without_trials(const Job& job) {
  InfluenceModel model;
  model.convention = job.rotor.phase;
  for (std::size_t r = 0; r < job.runs.size(); ++r) {
    const Run& run = job.runs[r];
    if (run.set_aside) continue;
    model.runs.used.push_back(r);
    for (const auto& reading : run.readings)
      if (const auto why = why_not_usable(job, run, reading); !why.empty())
        model.runs.left_out.push_back({r, reading.speed, reading.sensor, why});
  }
  return model;
}

/// Rows with usable readings that neither the runs nor the prior settle.
void tell_unsettled(const Job& job, InfluenceModel& model) {
  std::set<std::pair<std::size_t, std::size_t>> told;  // speed, sensor
  model.unsettled.clear();
  for (const auto& row : model.rows) told.insert({row.speed, row.sensor});
  for (const std::size_t r : model.runs.used)
    for (const auto& reading : job.runs[r].readings)
      if (why_not_usable(job, job.runs[r], reading).empty() &&
          told.insert({reading.speed, reading.sensor}).second)
        model.unsettled.push_back(
            {reading.speed, reading.sensor, "neither the prior nor the runs tell how the planes act here"});
}

/// Runs and prior combined, in the convention the job's rotor says; of what weights cannot cancel nothing is
/// supposed yet.
Result<InfluenceModel> fit_with_prior(const Job& job, const std::vector<std::size_t>& planes,
                                      const Prior& prior) {
  auto posterior = influence_posterior(job, planes, &prior);
  if (!posterior) return tl::unexpected(posterior.error());
  auto alone = fit_influence(job);
  InfluenceModel model = alone ? std::move(*alone) : model_without_trials(job);
  model.prior =
      PriorUse{prior.jobs, {}, {}, prior.levels, prior.levels ? prior.left_out : std::vector<LeftOutJob>{}};
  if (model.posterior && event_parts(job).empty())
    model.prior->fleet = fleet_check(prior, job, *model.posterior);
  model.basis = InfluenceModel::Basis::prior;
  model.planes = posterior->planes;
  model.centre = Eigen::VectorXcd::Zero(static_cast<Index>(model.planes.size()));
  model.posterior = std::move(*posterior);
  return model;
}

/// The same with what a trim supposes, that weights can cancel most of the vibration.
Result<void> believe_prior(const Job& job, const std::vector<std::size_t>& planes, const Prior& prior,
                           InfluenceModel& model) {
  auto belief = influence_posterior(job, planes, &prior, Residual::small);
  if (!belief) return tl::unexpected(belief.error());
  take_posterior_rows(job, *belief, model);
  tell_unsettled(job, model);
  model.planes_condition = condition_of_planes(job, model);
  model.posterior = *belief;
  model.belief = std::move(*belief);
  return {};
}

/// Log odds of the given convention over its mirror, both judged by runs and prior together.
double prior_log_odds(const InfluenceModel& given, const InfluenceModel& mirrored) {
  const double own = given.posterior->misfit, other = mirrored.posterior->misfit;
  const int dof = std::max(1, given.posterior->misfit_dof);
  return (other - own) / (2.0 * std::max(1.0, std::min(own, other) / dof));
}

/// Another declaration that is far likelier contradicts the job's; a rotor that the fleet does not have fits
/// none.
void judge_by_fleet(InfluenceModel& model) {
  using Outcome = MirrorTest::Outcome;
  const auto& likeliest = model.prior->conventions;
  MirrorTest& test = model.runs.mirror;
  if (!likeliest.empty() && likeliest.front().log_odds >= std::log(deciding_odds))
    test.outcome = Outcome::contradicts;
  else if (model.prior->fleet && model.prior->fleet->probability < fleet_hopeless)
    test.outcome = Outcome::neither_fits;
}

Result<SettledModel> settle_with_prior(const Job& job, const std::vector<std::size_t>& planes,
                                       const Prior& prior) {
  const bool unknown = job.rotor.phase == PhaseConvention::unknown;
  SettledModel settled{unknown ? with_phase_convention(job, PhaseConvention::lag) : job, {}};
  const Job mirrored_job = with_phase_convention(settled.job, settled.job.rotor.phase == PhaseConvention::lag
                                                                  ? PhaseConvention::lead
                                                                  : PhaseConvention::lag);
  auto model = fit_with_prior(settled.job, planes, prior);
  if (!model) return tl::unexpected(model.error());
  auto mirrored = fit_with_prior(mirrored_job, planes, prior);
  if (!mirrored) return tl::unexpected(mirrored.error());
  const double odds = prior_log_odds(*model, *mirrored);
  const bool decided = std::abs(odds) >= std::log(deciding_odds);
  if (unknown && !decided)
    return fail("phase is declared unknown and the runs so far cannot tell lag from lead",
                "\"phase: lag\" or \"phase: lead\" in the rotor file, or a run with another weight");
  settled.model = std::move(*model);
  settled.model.runs.mirror.log_odds = odds;
  if (decided)
    settled.model.runs.mirror.outcome =
        odds > 0.0 ? MirrorTest::Outcome::supports_given : MirrorTest::Outcome::contradicts;
  if (unknown && odds < 0.0) {
    settled.job = mirrored_job;
    settled.model = std::move(*mirrored);
    settled.model.runs.mirror = {MirrorTest::Outcome::supports_given, -odds, {}};
  }
  if (event_parts(settled.job).empty())  // else angles are not the fleet's, whatever is declared
    settled.model.prior->conventions = compare_with_fleet(settled.job, planes, prior);
  judge_by_fleet(settled.model);
  if (const auto believed = believe_prior(settled.job, planes, prior, settled.model); !believed)
    return tl::unexpected(believed.error());
  settled.model.convention_found = unknown;
  return settled;
}

/// What probabilities are reckoned from, where noise is known.
void add_belief(const Job& job, InfluenceModel& model) {
  if (!model.posterior) return;
  if (auto belief = influence_posterior(job, model.planes, nullptr, Residual::small))
    model.belief = std::move(*belief);
}

/// The model with the belief's baselines and coefficients, as a job with a small residual has them.
Result<void> take_belief(const Job& job, InfluenceModel& model) {
  if (!model.belief || !model.belief->draws)
    return fail(
        "a small residual says nothing here",
        "more speeds and sensors than planes, and a known repeatability of every sensor (in the rotor "
        "file, or from repeated runs)");
  take_posterior_rows(job, *model.belief, model);
  model.centre.setZero();
  model.posterior = model.belief;
  model.basis = InfluenceModel::Basis::small_residual;
  return {};
}

}  // namespace

Result<SettledModel> settle_and_fit(const Job& job, const std::vector<std::size_t>& planes,
                                    const Prior* prior) {
  if (prior != nullptr) return settle_with_prior(job, planes, *prior);
  const bool unknown = job.rotor.phase == PhaseConvention::unknown;
  SettledModel settled{unknown ? with_phase_convention(job, PhaseConvention::lag) : job, {}};
  auto model = fit_influence(settled.job, planes);
  if (!model) return tl::unexpected(model.error());
  if (unknown && model->runs.mirror.outcome == MirrorTest::Outcome::cannot_tell)
    return fail("phase is declared unknown and these runs cannot tell lag from lead",
                "\"phase: lag\" or \"phase: lead\" in the rotor file, or one more run whose weight lies in a "
                "direction that is not in line with the trial weights so far");
  if (unknown && model->runs.mirror.outcome == MirrorTest::Outcome::contradicts) {
    settled.job = with_phase_convention(settled.job, PhaseConvention::lead);
    model = fit_influence(settled.job, planes);
    if (!model) return tl::unexpected(model.error());
  }
  settled.model = std::move(*model);
  settled.model.convention_found = unknown;
  add_belief(settled.job, settled.model);
  if (job.small_residual)
    if (const auto taken = take_belief(settled.job, settled.model); !taken)
      return tl::unexpected(taken.error());
  return settled;
}

}  // namespace trimwright
