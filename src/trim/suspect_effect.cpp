#include "trimwright/trim.hpp"

#include <algorithm>

#include "trim_rows.hpp"

namespace trimwright {
namespace {

std::optional<Correction> correction_with(const Job& job, const InfluenceModel& model,
                                          const TrimRequest& request) {
  const auto rows = trim_rows(job, model, request, model.planes);
  if (!rows) return std::nullopt;
  auto correction = correction_of(*rows, request);
  return correction ? std::optional(std::move(*correction)) : std::nullopt;
}

}  // namespace

std::optional<SuspectEffect> effect_of_suspects(const Job& job, const InfluenceModel& model,
                                                const InfluenceReview& review, const TrimRequest& request) {
  SuspectEffect effect;
  std::copy_if(review.readings.begin(), review.readings.end(), std::back_inserter(effect.left_out),
               [](const ReviewedReading& one) { return one.suspect; });
  if (effect.left_out.empty()) return std::nullopt;
  auto with = correction_with(job, model, request);
  if (!with) return std::nullopt;
  effect.with = std::move(*with);
  Job rest = job;
  for (const auto& one : effect.left_out)
    std::erase_if(rest.runs[one.run].readings, [&](const Reading& reading) {
      return reading.speed == one.speed && reading.sensor == one.sensor &&
             reading.component == Component::once_per_rev;
    });
  if (const auto model_of_rest = fit_influence(rest, model.planes))
    effect.without = correction_with(rest, *model_of_rest, request);
  return effect;
}

std::vector<SensorCorrection> corrections_by_sensor(const Job& job, const InfluenceModel& model,
                                                    const TrimRequest& request) {
  std::vector<SensorCorrection> list;
  const auto common = correction_with(job, model, request);
  if (!common) return list;
  list.push_back({{}, *common});
  InfluenceModel plain = model;  // these rows alone ask, not how sure they are
  plain.posterior.reset();
  plain.belief.reset();
  for (std::size_t s = 0; s < job.rotor.sensors.size(); ++s) {
    InfluenceModel own = plain;
    std::erase_if(own.rows, [s](const InfluenceRow& row) { return row.sensor != s; });
    if (own.rows.size() < model.planes.size()) continue;
    if (auto one = correction_with(job, own, request)) list.push_back({s, *std::move(one)});
  }
  if (list.size() < 3) list.clear();
  return list;
}

}  // namespace trimwright
