#include "review_words.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <map>

#include "convention_words.hpp"
#include "model_warnings.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

std::string joined(const std::vector<std::string>& parts, const std::string& last) {
  std::string text;
  for (std::size_t i = 0; i < parts.size(); ++i)
    text += (i == 0 ? "" : i + 1 == parts.size() ? " " + last + " " : ", ") + parts[i];
  return text;
}

std::string speed_range(const Job& job, const AlikePlanes& one) {
  const bool low = one.from == 0, high = one.to + 1 == job.speeds_rpm.size();
  if (low && high) return "at every speed";
  if (low) return "up to " + speed_words(job, one.to);
  if (high) return "from " + speed_words(job, one.from) + " up";
  return "from " + speed_words(job, one.from) + " to " + speed_words(job, one.to);
}

const InfluenceRow* row_at(const InfluenceModel& model, std::size_t speed, std::size_t sensor) {
  const auto found = std::find_if(model.rows.begin(), model.rows.end(), [&](const InfluenceRow& row) {
    return row.speed == speed && row.sensor == sensor;
  });
  return found == model.rows.end() ? nullptr : &*found;
}

/// Runs whose readings stand as far off as `one` at its speed and sensor: none of them can be told apart.
std::vector<std::string> equally_far(const Job& job, const InfluenceReview& review,
                                     const ReviewedReading& one) {
  std::vector<std::string> runs;
  for (const auto& other : review.readings)
    if (other.speed == one.speed && other.sensor == one.sensor && other.studentised &&
        *other.studentised > as_far_share * *one.studentised)
      runs.push_back("\"" + job.runs[other.run].name + "\"");
  return runs;
}

std::string suspect_sentence(const Job& job, const InfluenceModel& model, const InfluenceReview& review,
                             const ReviewedReading& one) {
  const auto runs = equally_far(job, review, one);
  const std::string place = place_words(job, one.speed, one.sensor);
  if (runs.size() > 1)
    return fmt::format(
        "Repeat {} in runs {}: one of these readings is wrong ({:.1f} times the usual scatter apart, which "
        "happens by chance "
        "with a probability of {:.2g}), and the runs cannot tell which.",
        place, joined(runs, "and"), *one.studentised, one.probability);
  return fmt::format(
      "Repeat {} of run \"{}\", or look up what was written down: {}, {:.1f} times the usual "
      "scatter apart (which happens by chance with a probability of {:.2g}).",
      place, job.runs[one.run].name, read_and_fitted(job, model, one), *one.studentised, one.probability);
}

}  // namespace

std::string read_and_fitted(const Job& job, const InfluenceModel& model, const ReviewedReading& one) {
  const InfluenceRow* row = row_at(model, one.speed, one.sensor);
  const Sensor& sensor = job.rotor.sensors[one.sensor];
  if (row != nullptr)
    for (const auto& fit : row->fit)
      if (fit.run == one.run)
        return fmt::format("{} {} was read, {} is what the fit makes of it",
                           phasor_words(sensor, fit.read, model.convention), sensor.unit.text(),
                           phasor_words(sensor, fit.fitted, model.convention));
  return "it is far from the fit";
}

std::vector<std::string> likeness_words(const Job& job, const InfluenceModel& model,
                                        const InfluenceReview& review) {
  std::vector<std::string> words;
  for (const auto& one : review.alike_planes)
    words.push_back(
        fmt::format("Planes {} and {} act alike at the {} sensor {} (likeness {:.2f}; 1: the same): those "
                    "readings do not tell which of "
                    "the two to change.",
                    job.rotor.planes[one.first].name, job.rotor.planes[one.second].name,
                    job.rotor.sensors[one.sensor].name, speed_range(job, one), one.cosine));
  if (model.planes.size() < 2) return words;
  words.push_back(fmt::format(
      "How differently the planes act, all readings together: {:.2f} (singular values; all 1: quite "
      "differently; "
      "one near 0: "
      "alike). {}",
      fmt::join(review.singular_values, ", "),
      model.planes_condition > large_condition
          ? "The least is so small that the planes' weights may fight each other."
      : review.alike_planes.empty() ? "No two planes act alike anywhere."
                                    : "Taken together, the readings tell the planes apart."));
  return words;
}

namespace {

bool above_limit(const Job& job, const Run& run) {
  return std::any_of(run.readings.begin(), run.readings.end(), [&](const Reading& one) {
    return one.amplitude > place_of(job, one.speed, one.sensor).limit;
  });
}

}  // namespace

std::vector<std::string> what_to_repeat(const Job& job, const InfluenceModel& model,
                                        const InfluenceReview& review) {
  std::vector<std::string> words;
  for (const auto& run : review.runs)
    if (run.suspect)
      words.push_back(fmt::format(
          "{} run \"{}\": the other runs predict something else (probability "
          "{:.2g} by chance). Was everything fitted that is written down?",
          above_limit(job, job.runs[run.run]) ? "Look for what is wrong with, and do not repeat as it was,"
                                              : "Repeat",
          job.runs[run.run].name, run.probability));
  std::vector<std::pair<std::size_t, std::size_t>> told;
  for (const auto& one : review.readings) {
    const std::pair place{one.speed, one.sensor};
    if (!one.suspect) continue;
    const bool again = std::find(told.begin(), told.end(), place) != told.end();
    told.push_back(place);
    if (!again) words.push_back(suspect_sentence(job, model, review, one));
  }
  for (const auto& one : model.unsettled)
    words.push_back(fmt::format("Repeat {}: {}, so nothing can be foretold there.",
                                place_words(job, one.speed, one.sensor), one.why));
  for (const auto& trial : review.trials)
    if (trial.too_small() && !model.posterior)  // with a posterior, ± tells how well the effect is known
      words.push_back(
          fmt::format("Repeat run \"{}\" with a heavier weight: its effect is too small to trust at {}.",
                      job.runs[trial.run].name, place_words(job, trial.speed, trial.sensor)));
  if (const auto spare = nothing_spare(job, model))
    words.push_back(finding_words(job, *spare) + " " + what_to_do(spare->concern));
  if (!words.empty() || review.readings_tested == 0) return words;
  const auto& far = review.readings.front();
  words.push_back(fmt::format(
      "No reading asks to be repeated: the furthest off, {} of run \"{}\", is as far by chance with a "
      "probability of {:.2g}, and {} were tested.",
      place_words(job, far.speed, far.sensor), job.runs[far.run].name, far.probability,
      review.readings_tested));
  return words;
}

std::vector<std::string> suspect_words(const Job& job, const SuspectEffect& effect) {
  if (!effect.without)
    return {"Without the suspect readings the rest settles no correction: repeat them before any weight."};
  std::vector<std::string> words;
  for (std::size_t p = 0; p < effect.with.parts.size(); ++p) {
    const auto& with = effect.with.parts[p].moment_to_add;
    const auto& without = effect.without->parts[p].moment_to_add;
    const double moved = std::abs(with - without);
    const std::string by = moved > 1e-6 * (std::abs(with) + std::abs(without))
                               ? "they move it by " + moment_words(moved)
                               : "it is the same, as other readings decide it alone";
    words.push_back(fmt::format("{}: {} with the suspect readings, {} without; {}.",
                                job.rotor.planes[effect.with.parts[p].plane].name, moment_words(with),
                                moment_words(without), by));
  }
  return words;
}

std::vector<std::string> sensor_words(const Job& job, const std::vector<SensorCorrection>& corrections) {
  constexpr double quite_apart_deg = 60.0;
  std::vector<std::string> words;
  for (const auto& one : corrections) {
    std::vector<std::string> asks;
    for (const auto& part : one.correction.parts)
      asks.push_back(moment_words(part.moment_to_add, 0) + " in " + job.rotor.planes[part.plane].name);
    words.push_back(fmt::format("{}: {}.", one.sensor ? job.rotor.sensors[*one.sensor].name : "all together",
                                fmt::join(asks, ", ")));
  }
  words.emplace_back(
      "What this is for: a sensor that asks for quite another angle than the others is one to look at. No ± "
      "is given; "
      "one that asks a little differently is no worse for it.");
  const auto apart = [](const SensorCorrection& a, const SensorCorrection& b) {
    for (std::size_t p = 0; p < a.correction.parts.size(); ++p)
      if (std::abs(std::arg(a.correction.parts[p].moment_to_add *
                            std::conj(b.correction.parts[p].moment_to_add))) > radians(quite_apart_deg))
        return true;
    return false;
  };
  for (std::size_t i = 1; i < corrections.size(); ++i)
    for (std::size_t k = i + 1; k < corrections.size(); ++k)
      if (apart(corrections[i], corrections[k]))
        words.push_back(fmt::format(
            "{} and {} ask for angles more than {:.0f}° apart. A phase read in the other sense, a sensor "
            "turned over or a lost reference looks so; so do readings that these planes cannot lower "
            "together.",
            job.rotor.sensors[*corrections[i].sensor].name, job.rotor.sensors[*corrections[k].sensor].name,
            quite_apart_deg));
  return words;
}

}  // namespace trimwright
