#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "model_warnings.hpp"
#include "plan_parts.hpp"
#include "review_words.hpp"
#include "runs/used_runs.hpp"
#include "text_table.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string coefficient_table(const Job& job, const InfluenceModel& model, std::size_t width) {
  TextTable table({{"sensor", Align::left},
                   {"plane", Align::left},
                   {"speed", Align::left},
                   {"per 1000 g mm", Align::right},
                   {"phase", Align::right},
                   {"±", Align::right},
                   {"unit", Align::left}});
  for (std::size_t s = 0; s < job.rotor.sensors.size(); ++s)
    for (std::size_t p = 0; p < model.planes.size(); ++p)
      for (const auto& row : model.rows) {
        if (row.sensor != s) continue;
        const Sensor& sensor = job.rotor.sensors[s];
        const Phasor per_1000 = 1000.0 * row.coefficients(static_cast<Eigen::Index>(p));
        const auto seen = shown(sensor, per_1000, model.convention);
        const auto sd = coefficient_sd(model, row, p);
        table.add({sensor.name, job.rotor.planes[model.planes[p]].name, speed_words(job, row.speed),
                   fmt::format("{:.4g}", seen.amplitude),
                   std::isnan(seen.phase_deg) ? "-" : angle_words(seen.phase_deg),
                   sd ? fmt::format("{:.2g}", sensor.unit.shown_from_peak(1000.0 * *sd)) : "?",
                   sensor.unit.text()});
      }
  return table.text(width) + wrapped("  ",
                                     "±: the usual error of the coefficient in any one direction; ? where "
                                     "nothing tells how well readings "
                                     "repeat. Read each sensor and plane down the speeds: a reading mistyped "
                                     "at one speed shows as a jump "
                                     "of amplitude or phase there. So does a resonance.");
}

std::string baseline_table(const Job& job, const InfluenceModel& model, std::size_t width) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"slots empty", Align::right},
                   {"unit", Align::left},
                   {"readings", Align::right},
                   {"to spare", Align::right}});
  for (const auto& row : model.rows) {
    const Sensor& sensor = job.rotor.sensors[row.sensor];
    table.add({speed_words(job, row.speed), sensor.name, phasor_words(sensor, row.baseline, model.convention),
               sensor.unit.text(), std::to_string(row.readings), std::to_string(row.spare)});
  }
  return table.text(width);
}

std::string run_list(const Job& job, const InfluenceModel& model, std::size_t width) {
  TextTable table({{"run", Align::left},
                   {"plane", Align::left},
                   {"moment in it", Align::right},
                   {"angle", Align::right}});
  for (const std::size_t run : model.runs.used) {
    const auto unbalance = run_unbalance(job, run);
    for (const std::size_t p : model.planes)
      table.add({job.runs[run].name, job.rotor.planes[p].name, moment_words(std::abs(unbalance[p])),
                 unbalance[p] == 0.0 ? "-" : angle_words(RotorAngle::of(unbalance[p]).degrees())});
  }
  return table.text(width);
}

/// Two readings of one place between which the weights of one plane alone changed.
struct WorkedPair {
  const InfluenceRow* row = nullptr;
  const FittedReading *before = nullptr, *after = nullptr;
  std::size_t p = 0;  ///< entry of InfluenceModel::planes
};

std::optional<WorkedPair> worked_pair(const Job& job, const InfluenceModel& model) {
  for (const auto& row : model.rows)
    for (std::size_t k = 1; k < row.fit.size(); ++k) {
      const auto changed = planes_changed(job, {row.fit.front().run, row.fit[k].run});
      if (changed.size() != 1) continue;
      const auto at = std::find(model.planes.begin(), model.planes.end(), changed.front());
      if (at == model.planes.end()) continue;
      const auto p = static_cast<std::size_t>(at - model.planes.begin());
      return WorkedPair{&row, &row.fit.front(), &row.fit[k], p};
    }
  return std::nullopt;
}

/// One coefficient from two readings, step by step, for a pocket calculator.
std::string worked_lines(const Job& job, const InfluenceModel& model) {
  const auto pair = worked_pair(job, model);
  if (!pair) return {};
  const Sensor& sensor = job.rotor.sensors[pair->row->sensor];
  const std::size_t plane = model.planes[pair->p];
  const auto reading = [&](Phasor x) {
    const auto seen = shown(sensor, x, model.convention);
    return fmt::format("{:.4g} ∠ {}", seen.amplitude, angle_words(seen.phase_deg));
  };
  const Phasor dx = pair->after->read - pair->before->read;
  const auto u = run_unbalance(job, pair->before->run)[plane],
             v = run_unbalance(job, pair->after->run)[plane];
  const std::string first = "\"" + job.runs[pair->before->run].name + "\"",
                    second = "\"" + job.runs[pair->after->run].name + "\"";
  return "\nONE OF THEM BY HAND (arrows are subtracted; the table takes all runs together)\n" +
         wrapped("  ", place_words(job, pair->row->speed, pair->row->sensor) + ", plane " +
                           job.rotor.planes[plane].name + ":") +
         wrapped("  ",
                 fmt::format("read: {} in {}, {} in {}; the change is {} {}.", reading(pair->after->read),
                             second, reading(pair->before->read), first, reading(dx), sensor.unit.text())) +
         wrapped("  ", fmt::format("fitted: {}, and {} before; the change is {}.", moment_words(v),
                                   moment_words(u), moment_words(v - u))) +
         wrapped("  ",
                 fmt::format("one over the other, times 1000: {} per 1000 g mm (the phase is that of the "
                             "reading {} the angle of the weight).",
                             reading(1000.0 * dx / (v - u)),
                             model.convention == PhaseConvention::lag ? "plus" : "less"));
}

bool one_spare_somewhere(const InfluenceModel& model) {
  return std::any_of(model.rows.begin(), model.rows.end(), [](const auto& row) { return row.spare == 1; });
}

/// Runs predicted from the others, and the readings furthest from the fit.
std::string review_tables(const Job& job, const InfluenceModel& model, const InfluenceReview& review,
                          std::size_t width) {
  std::string text;
  if (review.runs_tested > 0) {
    TextTable runs(
        {{"run", Align::left}, {"readings", Align::right}, {"probability", Align::right}, {"", Align::left}});
    for (const auto& one : review.runs)
      runs.add({job.runs[one.run].name, std::to_string(one.components / 2),
                one.components > 0 ? fmt::format("{:.2g}", one.probability) : "-",
                one.suspect           ? "SUSPECT"
                : one.components == 0 ? "the others cannot predict it"
                                      : ""});
    text +=
        "\nEACH RUN AS THE OTHERS PREDICT IT (how probable so large a difference is)\n" + runs.text(width);
  }
  if (review.readings_tested == 0) return text;
  TextTable table({{"run", Align::left},
                   {"speed", Align::left},
                   {"sensor", Align::left},
                   {"off by (± of its own)", Align::right},
                   {"own share", Align::right},
                   {"probability", Align::right},
                   {"", Align::left}});
  constexpr std::size_t most = 8;
  for (std::size_t i = 0; i < std::min(most, review.readings.size()) && review.readings[i].studentised; ++i) {
    const auto& one = review.readings[i];
    table.add({job.runs[one.run].name, speed_words(job, one.speed), job.rotor.sensors[one.sensor].name,
               fmt::format("{:.1f}", *one.studentised), fmt::format("{:.0f} %", 100.0 * one.leverage),
               fmt::format("{:.2g}", one.probability), one.suspect ? "SUSPECT" : ""});
  }
  text += "\nFURTHEST FROM THE FIT\n" + table.text(width);
  text += wrapped(
      "  ",
      fmt::format("A reading is suspect below {:.2g} ({:.0f} % over the {} tested), of a speed and sensor "
                  "only the furthest: one wrong "
                  "reading puts the others off, too. off by: from what the fit makes of it, in units of "
                  "the usual scatter of that distance in any one direction. own share: how much of "
                  "its own fit a reading decides; at 100 % nothing checks it.{}",
                  suspect_level / review.readings_tested, 100.0 * suspect_level, review.readings_tested,
                  one_spare_somewhere(model)
                      ? " Where a speed and sensor have one reading to spare, all their readings are "
                        "equally far off: repeat the run in which most of them stand."
                      : ""));
  return text;
}

std::string lack_of_fit_line(const InfluenceReview& review) {
  if (!review.lack_of_fit) return {};
  const auto& test = *review.lack_of_fit;
  return wrapped(
      "  ",
      fmt::format(
          "Straight line: the readings lie {:.2f} times as far from one as repeats lie from each other "
          "(squares compared: F with {} and {} degrees of freedom); when nothing is wrong they do so or "
          "more with a probability of {:.2g}: {}.",
          test.f, test.fit_dof, test.pure_dof, test.probability,
          test.probability < 0.01
              ? "the vibration does NOT follow the weights in a straight line, or a run is "
                "wrong"
              : "nothing speaks against a straight line"));
}

/// What trial weights changed, where it was little.
std::string trial_lines(const Job& job, const InfluenceReview& review) {
  std::string text;
  for (const auto& trial : review.trials)
    if (trial.too_small())
      text += wrapped(
          "  ",
          fmt::format("Run \"{}\" moved {} least, by {:.0f} % and {:.0f}°. A trial weight should move every "
                      "place by {:.0f} % of its amplitude or turn it by {:.0f}° (common practice, no "
                      "published source).",
                      job.runs[trial.run].name, place_words(job, trial.speed, trial.sensor),
                      100.0 * trial.amplitude_share, trial.phase_deg, 100.0 * least_amplitude_share,
                      least_phase_deg));
  return text;
}

/// Each other way of declaring, beside what is declared.
std::string convention_odds_words(const PriorUse& prior) {
  std::string words = "Runs and prior, of what is declared over the likeliest other way:";
  for (const auto& one : prior.conventions)
    if (one.which != Convention::declared)
      words += one.log_odds > 0.0
                   ? fmt::format(" 1 to {} AGAINST: {};", odds_words(-one.log_odds), one.what)
                   : fmt::format(" {} to 1 for, not: {};", odds_words(-one.log_odds), one.what);
  words.back() = '.';
  return words;
}

std::string mirror_words(const InfluenceModel& model) {
  if (model.convention == PhaseConvention::unknown)
    return "Solved from amplitudes alone: phases took no part, so it does not matter whether they are lag or "
           "lead.";
  if (model.prior && !model.prior->conventions.empty()) return convention_odds_words(*model.prior);
  const MirrorTest& mirror = model.runs.mirror;
  const std::string odds = odds_words(mirror.log_odds);
  switch (mirror.outcome) {
    case MirrorTest::Outcome::supports_given:
      return fmt::format(
          "The runs support that phase and angles go together as declared ({} to 1). Both the other way "
          "round, or "
          "slot 1 elsewhere, would fit as well: runs alone cannot tell that.",
          odds);
    case MirrorTest::Outcome::contradicts:
      return fmt::format("The runs speak AGAINST the declared conventions of phase and angle ({} to 1).",
                         odds);
    case MirrorTest::Outcome::neither_fits:
      return "Neither way of reading the phases fits these runs: a sensor, a run or a reading is wrong.";
    case MirrorTest::Outcome::cannot_tell:
      break;
  }
  return "The runs cannot tell lag from lead: that takes one run more than planes + 1, with a weight in a "
         "direction "
         "not in line with the trial weights.";
}

std::string part_words(const Sensor& sensor, const NoisePart& part) {
  if (part.source == NoisePart::Source::unknown) return "not known";
  return fmt::format("{:.2g} {} ({})", sensor.unit.shown_from_peak(part.sd), sensor.unit.text(),
                     part.source == NoisePart::Source::stated ? "stated" : "estimated");
}

/// How the readings scatter, part by part, and whether the rotor looks like its fleet.
std::string noise_lines(const Job& job, const InfluenceModel& model) {
  if (!model.posterior)
    return wrapped("  ", "Nothing tells how well the readings repeat: no ± can be given.");
  const NoiseModel& noise = model.posterior->noise;
  std::string text;
  for (std::size_t s = 0; s < noise.sensors.size(); ++s) {
    const Sensor& sensor = job.rotor.sensors[s];
    text += wrapped("  ", fmt::format("{}: a reading scatters by {} within a run, by {} from run to run{}.",
                                      sensor.name, part_words(sensor, noise.sensors[s].within),
                                      part_words(sensor, noise.sensors[s].run_to_run),
                                      noise.sensors[s].proportional > 0.0
                                          ? fmt::format(", and by {:g} % of itself",
                                                        100.0 * noise.sensors[s].proportional)
                                          : ""));
  }
  if (noise.widened > 1.0)
    text +=
        wrapped("  ", fmt::format("The readings scatter too much for this: every ± is widened {:.1f} times.",
                                  noise.widened));
  if (noise.degrees_of_freedom < 1e6)
    text += wrapped(
        "  ",
        fmt::format(
            "This scatter is itself known only as well as {:.0f} independent differences of readings tell it "
            "(degrees of freedom{}): nine true values in ten lie within {:.2f} times ±.",
            noise.degrees_of_freedom, model.runs.misfit_dof > 0 ? "; not those above" : "",
            interval_factor(0.9, noise.degrees_of_freedom)));
  if (const auto sampling = model.belief ? sampling_of(*model.belief) : std::nullopt)
    text += wrapped(
        "  ", fmt::format("Chances are shares of {} cases drawn from all that the readings leave possible, "
                          "worth {:.0f} independent "
                          "ones; the four series of them {} (split R-hat {:.3f}; 1: no difference).",
                          sampling->draws, sampling->effective_draws,
                          sampling->split_r_hat > agreeing_r_hat ? "do NOT agree: do not rely on the chances"
                                                                 : "agree",
                          sampling->split_r_hat));
  if (model.prior && model.prior->fleet)
    text += wrapped(
        "  ",
        fmt::format(
            "Beside {}: this rotor lies off what they tell by {:.1f} where about {} is usual (squares added "
            "up, in units of their scatter); by chance it lies so far off or further with a probability of "
            "{:.2g}.",
            source_words(model.prior->levels), model.prior->fleet->distance, model.prior->fleet->components,
            model.prior->fleet->probability));
  else if (model.prior)
    text += wrapped("  ", "The coefficients come from " + source_words(model.prior->levels) +
                              ", with what these runs add.");
  return text;
}

std::string quality_lines(const InfluenceModel& model) {
  std::string text = wrapped(
      "  ",
      fmt::format(
          "The runs settle {} unknowns (baseline and {} plane{}). On the way to them a reading's error grows "
          "at most {:.2f} times by the choice of trial weights (condition of the runs) and {:.2f} times by "
          "how alike "
          "the planes act (condition of the planes); 1 is best.",
          model.runs.rank, model.planes.size(), model.planes.size() == 1 ? "" : "s", model.runs.condition,
          model.planes_condition));
  if (model.runs.misfit_dof > 0)
    text += wrapped(
        "  ",
        fmt::format(
            "The readings scatter about the fit {:.2f} times as much as stated (repeatability, "
            "run-to-run change, proportional part; squares compared). When nothing is wrong they do "
            "so or more in {} of jobs (added up, {:.2f} where {} is usual, two for each reading more than "
            "the unknowns: chi-squared).",
            model.runs.misfit / model.runs.misfit_dof, percent_words(fit_probability(model)),
            model.runs.misfit, model.runs.misfit_dof));
  return text + wrapped("  ", mirror_words(model));
}

}  // namespace

std::string influence_text(const Job& job, const InfluenceModel& model, std::size_t width) {
  std::string text = title_lines(job, "Influence coefficients");
  text += wrapped(
      "", fmt::format(
              "A coefficient is the vibration that 1000 g mm at the {} (rotor angle 0) adds; {} Angles are "
              "with rotation.",
              zero_words(job.rotor), phase_sentence(model.convention)));
  text += "\nRUNS USED\n" + run_list(job, model, width);
  text += "\nCOEFFICIENTS\n" + coefficient_table(job, model, width) + worked_lines(job, model);
  text += "\nBASELINE (with every slot empty, fillers out too; never an actual run)\n" +
          baseline_table(job, model, width);
  text += "\nHOW WELL THE RUNS SETTLE THIS\n" + quality_lines(model) + noise_lines(job, model);
  const InfluenceReview review = review_influence(job, model);
  for (const auto& line : likeness_words(job, model, review)) text += wrapped("  ", line);
  text += lack_of_fit_line(review) + trial_lines(job, review) + review_tables(job, model, review, width);
  text += points_below("WHAT TO REPEAT", what_to_repeat(job, model, review));
  if (const auto effect = effect_of_suspects(job, model, review))
    text += points_below("THE CORRECTION WITH AND WITHOUT THE SUSPECT READINGS (weights of any size)",
                         suspect_words(job, *effect));
  if (const auto alone = corrections_by_sensor(job, model); !alone.empty())
    text += points_below("WHAT EACH SENSOR ALONE ASKS FOR (weights of every size, at every angle)",
                         sensor_words(job, alone));
  return text + warning_lines(model_warnings(job, model)) + caution_lines();
}

std::string tolerance_text(double rpm) {
  TextTable table({{"grade", Align::left}, {"permissible g mm per kg", Align::right}});
  for (const double grade : balance_quality_grades())
    table.add(
        {fmt::format("G {:g}", grade), fmt::format("{:.4g}", permissible_specific_unbalance(grade, rpm))});
  std::string text =
      fmt::format(
          "Permissible residual specific unbalance at {:.0f} rpm, ISO 21940-11 (rotors with rigid "
          "behaviour, in "
          "a balancing machine)\n",
          rpm) +
      table.text() +
      wrapped("  ",
              "For the shop. Never an acceptance limit on wing: those are vibration limits of the engine "
              "maker's current manual.");
  for (const auto& caution : cautions()) text += wrapped("  ! ", caution);
  return text;
}

}  // namespace trimwright
