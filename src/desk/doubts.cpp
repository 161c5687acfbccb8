#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "base/text.hpp"
#include "report/review_words.hpp"
#include "request.hpp"
#include "runs/odd_effects.hpp"
#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/review.hpp"

namespace trimwright {
namespace {

/// Which of the two is the further off: along the reading, or across it.
std::string part_that_is_off(const InfluenceModel& model, const ReviewedReading& one) {
  for (const auto& row : model.rows)
    for (const auto& fit : row.fit)
      if (row.speed == one.speed && row.sensor == one.sensor && fit.run == one.run) {
        const Phasor ratio = fit.read / fit.fitted;
        return std::abs(std::arg(ratio)) > std::abs(std::log(std::abs(ratio))) ? "phase" : "amplitude";
      }
  return "amplitude";
}

/// Suspect readings by place: often the runs cannot tell which of a place's is wrong. The review's order, the
/// places by their furthest; where the weights of one run alone had an odd effect there, its reading first,
/// and where those of all but one had, that one's.
std::vector<std::vector<ReviewedReading>> suspects_by_place(const Job& job, const InfluenceModel& model) {
  std::vector<std::vector<ReviewedReading>> places;
  for (const auto& one : review_influence(job, model).readings) {
    if (!one.suspect) continue;
    const auto at = std::find_if(places.begin(), places.end(), [&](const auto& place) {
      return job.speeds_rpm[place.front().speed] == job.speeds_rpm[one.speed] &&
             place.front().sensor == one.sensor;
    });
    if (at == places.end())
      places.push_back({one});
    else
      at->push_back(one);
  }
  std::vector<ReadinessFinding> odd;
  judge_effects(job, model.runs.used, odd);
  for (auto& place : places) {
    const auto is_odd = [&](const ReviewedReading& one) {
      return std::any_of(odd.begin(), odd.end(), [&](const ReadinessFinding& finding) {
        return finding.speed == one.speed && finding.sensor == one.sensor && finding.runs.front() == one.run;
      });
    };
    const auto odd_ones = std::count_if(place.begin(), place.end(), is_odd);
    if (odd_ones == 1) std::stable_partition(place.begin(), place.end(), is_odd);
    if (odd_ones > 1 && odd_ones + 1 == std::ssize(place))
      std::stable_partition(place.begin(), place.end(), std::not_fn(is_odd));
  }
  return places;
}

/// "10 %" or "10 deg", not negative; 0 where nothing is given.
Result<double> figure_of(const std::string& text, const std::string& unit) {
  if (text.empty()) return 0.0;
  const auto figure = parse_quantity(text);
  if (!figure || figure->unit != unit || !(figure->value >= 0.0))
    return fail("\"" + shortened(text) + "\" does not say by how much readings scatter",
                "a number of " + unit + ", as 10 " + unit);
  return figure->value;
}

}  // namespace

Result<DeskJson> scatter_of_paper(const DeskRequest& request) {
  const auto amplitude = figure_of(request.text("amplitude"), "%");
  if (!amplitude) return tl::unexpected(amplitude.error());
  const auto phase = figure_of(request.text("phase"), "deg");
  if (!phase) return tl::unexpected(phase.error());
  const double across = 100.0 * radians(*phase);
  const double larger = std::max(*amplitude, across);
  const std::string words = fmt::format(
      "{:g} degrees move the end of a reading sideways by {:.3g} % of its amplitude (1 degree: 1.75 %). The "
      "file holds one figure for both directions: the larger of {:g} % and {:.3g} % is taken.",
      *phase, across, *amplitude, across);
  return DeskJson{{"proportional", fmt::format("{:.3g} %", larger)}, {"words", words}};
}

Result<DeskJson> doubted_readings(const DeskRequest& request) {
  const auto file = read_job(request.job());
  if (!file) return tl::unexpected(file.error());
  DeskJson doubts = DeskJson::array();
  const auto settled = influenced(*file);
  if (!settled) return DeskJson{{"readings", std::move(doubts)}};
  const auto& [job, model] = *settled;
  const auto places = suspects_by_place(job, model);
  for (std::size_t group = 0; group < places.size(); ++group)
    for (const auto& one : places[group])
      for (const auto& reading : job.runs[one.run].readings)
        if (reading.speed == one.speed && reading.sensor == one.sensor && reading.x)
          doubts.push_back({{"file", reading.where.file},
                            {"line", reading.where.line},
                            {"key", part_that_is_off(model, one)},
                            {"what", read_and_fitted(job, model, one)},
                            {"group", group},
                            {"less", one.run != places[group].front().run}});
  return DeskJson{{"readings", std::move(doubts)}};
}

}  // namespace trimwright
