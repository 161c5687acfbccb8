#include <fmt/format.h>
#include <fmt/ranges.h>

#include "trimwright/influence.hpp"

namespace trimwright {
namespace {

std::string contradicted_words(const Job& job, const InfluenceModel& model) {
  if (model.prior && !model.prior->conventions.empty() &&
      model.prior->conventions.front().which != Convention::declared)
    return "the runs and " + source_words(model.prior->levels) +
           " contradict what is declared; far likelier: " + model.prior->conventions.front().what;
  std::vector<std::string> sensors;
  for (const std::size_t s : model.runs.mirror.mirrored_sensors) sensors.push_back(job.rotor.sensors[s].name);
  return fmt::format(
      "{} contradict the declared conventions: read the other way (lag for lead, or angles against for with "
      "rotation) they fit far better{}",
      sensors.empty() ? "the runs" : fmt::format("the readings of {}", fmt::join(sensors, ", ")),
      model.runs.mirror.log_odds > 0.0 ? "" : ", and a plan would put the weights at the mirror image");
}

bool no_such_rotor(const InfluenceModel& model) {
  return model.prior && model.prior->fleet && model.prior->fleet->probability < fleet_hopeless;
}

}  // namespace

std::string Trust::words() const { return sound() ? std::string{} : "Fit nothing yet: " + why + "."; }

Trust trust(const Job& job, const InfluenceModel& model) {
  using enum Trust::Grade;
  const auto outcome = model.runs.mirror.outcome;
  if (outcome == MirrorTest::Outcome::contradicts) return {contradicted, contradicted_words(job, model)};
  if (outcome == MirrorTest::Outcome::neither_fits && no_such_rotor(model))
    return {contradicted, "weights do not act on this rotor as in " + source_words(model.prior->levels) +
                              ", however phase and angles are declared"};
  if (outcome == MirrorTest::Outcome::neither_fits)
    return {fit_nothing_yet,
            "neither way of reading the phases fits these runs: a sensor, a run or a reading is wrong"};
  if (!runs_agree(model))
    return {fit_nothing_yet,
            fmt::format("the runs do not agree with one another: they scatter {:.1f} times what is stated",
                        excess_scatter(model))};
  return {};
}

}  // namespace trimwright
