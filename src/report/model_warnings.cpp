#include "trimwright/report/model_warnings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "number_words.hpp"

namespace trimwright {
namespace {

/// Below this probability a fit is called worse than the stated repeatability explains.
constexpr double doubtful = 0.01;

std::string mirror_warning(const InfluenceModel& model) {
  if (model.mirror.outcome != MirrorTest::Outcome::contradicts) return {};
  return fmt::format(
      "The runs contradict the declared conventions: read as {}, or with angles the other way round, "
      "they fit {:.0e} times better. Do not fit anything before this is settled.",
      convention_words(model.convention == PhaseConvention::lag ? PhaseConvention::lead
                                                                : PhaseConvention::lag),
      std::exp(std::min(-model.mirror.log_odds, 690.0)));
}

}  // namespace

std::vector<std::string> model_warnings(const Job& job, const InfluenceModel& model) {
  std::vector<std::string> warnings;
  if (const auto mirror = mirror_warning(model); !mirror.empty()) warnings.push_back(mirror);
  for (const auto& run : job.runs)
    if (run.set_aside)
      warnings.push_back(fmt::format("Run \"{}\" is set aside: {}.", run.name, *run.set_aside));
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    if (std::find(model.planes.begin(), model.planes.end(), p) == model.planes.end())
      warnings.push_back(fmt::format("No run changed the weights of plane \"{}\": it is not used.",
                                     job.rotor.planes[p].name));
  const auto place = [&](std::size_t speed, std::size_t sensor) {
    return fmt::format("{} at {:.0f} rpm", job.rotor.sensors[sensor].name, job.speeds_rpm[speed]);
  };
  for (const auto& one : model.left_out)
    warnings.push_back(fmt::format("Left out, run \"{}\", {}: {}.", job.runs[one.run].name,
                                   place(one.speed, one.sensor), one.why));
  for (const auto& one : model.unsettled)
    warnings.push_back(
        fmt::format("NOT PREDICTED: {} ({}). Watch it in the run.", place(one.speed, one.sensor), one.why));
  if (model.condition > 30.0)
    warnings.push_back(
        fmt::format("The runs hardly separate the planes (condition {:.0f}): small reading errors become "
                    "large weights.",
                    model.condition));
  if (model.planes_condition > 30.0)
    warnings.push_back(
        fmt::format("The planes act almost alike at these speeds and sensors (condition {:.0f}): their "
                    "weights may fight each other; trim with fewer planes.",
                    model.planes_condition));
  if (fit_probability(model) < doubtful)
    warnings.push_back(
        fmt::format("The readings scatter more than their stated repeatability explains (probability "
                    "{:.1g}): the rotor or the conditions changed between runs, or a reading is wrong.",
                    fit_probability(model)));
  return warnings;
}

}  // namespace trimwright
