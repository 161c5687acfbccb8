#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "number_words.hpp"
#include "text_table.hpp"
#include "trimwright/report/model_warnings.hpp"
#include "trimwright/report/text_report.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string coefficient_table(const Job& job, const InfluenceModel& model) {
  TextTable table({{"rpm", Align::left},
                   {"sensor", Align::left},
                   {"plane", Align::left},
                   {"per kg mm", Align::right},
                   {"phase", Align::right},
                   {"±", Align::right},
                   {"unit", Align::left}});
  for (const auto& row : model.rows) {
    const Sensor& sensor = job.rotor.sensors[row.sensor];
    for (std::size_t p = 0; p < model.planes.size(); ++p) {
      const Phasor per_kg_mm = 1000.0 * row.coefficients(static_cast<Eigen::Index>(p));
      const auto seen = shown(sensor, per_kg_mm, model.convention);
      const auto sd = coefficient_sd(row, p);
      table.add({speed_words(job.rotor, job.speeds_rpm[row.speed]), sensor.name,
                 job.rotor.planes[model.planes[p]].name, fmt::format("{:.4g}", seen.amplitude),
                 std::isnan(seen.phase_deg) ? "-" : fmt::format("{:.1f}°", seen.phase_deg),
                 sd ? fmt::format("{:.2g}", sensor.unit.shown_from_peak(1000.0 * *sd)) : "?",
                 sensor.unit.text()});
    }
  }
  return table.text();
}

std::string baseline_table(const Job& job, const InfluenceModel& model) {
  TextTable table({{"rpm", Align::left},
                   {"sensor", Align::left},
                   {"slots empty", Align::right},
                   {"unit", Align::left},
                   {"readings", Align::right},
                   {"to spare", Align::right}});
  for (const auto& row : model.rows) {
    const Sensor& sensor = job.rotor.sensors[row.sensor];
    table.add({speed_words(job.rotor, job.speeds_rpm[row.speed]), sensor.name,
               phasor_words(sensor, row.baseline, model.convention), sensor.unit.text(),
               std::to_string(row.readings), std::to_string(row.spare)});
  }
  return table.text();
}

std::string run_list(const Job& job, const InfluenceModel& model) {
  TextTable table({{"run", Align::left},
                   {"plane", Align::left},
                   {"moment in it", Align::right},
                   {"angle", Align::right}});
  for (const std::size_t run : model.runs_used) {
    const auto unbalance = run_unbalance(job, run);
    for (const std::size_t p : model.planes)
      table.add({job.runs[run].name, job.rotor.planes[p].name,
                 fmt::format("{:.4g} g mm", std::abs(unbalance[p])),
                 fmt::format("{:.1f}°", RotorAngle::of(unbalance[p]).degrees())});
  }
  return table.text();
}

/// The readings furthest from the fit, where there is anything to judge by.
std::string residual_table(const Job& job, const InfluenceModel& model) {
  struct Off {
    const InfluenceRow* row;
    const FittedReading* reading;
    double size;
  };
  std::vector<Off> all;
  for (const auto& row : model.rows)
    for (const auto& reading : row.fit)
      if (row.spare > 0 && row.reading_sd && *row.reading_sd > 0.0)
        all.push_back({&row, &reading, std::abs(reading.read - reading.fitted) / *row.reading_sd});
  if (all.empty()) return {};
  std::stable_sort(all.begin(), all.end(), [](const Off& a, const Off& b) { return a.size > b.size; });
  all.resize(std::min<std::size_t>(all.size(), 6));
  TextTable table({{"run", Align::left},
                   {"rpm", Align::left},
                   {"sensor", Align::left},
                   {"read", Align::right},
                   {"fitted", Align::right},
                   {"off by (standard deviations)", Align::right}});
  for (const auto& off : all) {
    const Sensor& sensor = job.rotor.sensors[off.row->sensor];
    table.add({job.runs[off.reading->run].name, speed_words(job.rotor, job.speeds_rpm[off.row->speed]),
               sensor.name, phasor_words(sensor, off.reading->read, model.convention),
               phasor_words(sensor, off.reading->fitted, model.convention), fmt::format("{:.1f}", off.size)});
  }
  return "\nFURTHEST FROM THE FIT\n" + table.text();
}

std::string mirror_words(const InfluenceModel& model) {
  if (model.convention == PhaseConvention::unknown)
    return "Solved from amplitudes alone: phases took no part, so it does not matter whether they are lag or "
           "lead.";
  const MirrorTest& mirror = model.mirror;
  const std::string odds = odds_words(mirror.log_odds);
  switch (mirror.outcome) {
    case MirrorTest::Outcome::supports_given:
      return fmt::format("The runs support the declared conventions of phase and angle ({} to 1).", odds);
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

std::string quality_lines(const InfluenceModel& model) {
  std::string text = wrapped(
      "  ", fmt::format("Unknowns settled by the runs: {} (baseline and {} plane{}); condition of the "
                        "runs {:.2f}, of the planes {:.2f} (1 is best).",
                        model.rank, model.planes.size(), model.planes.size() == 1 ? "" : "s", model.condition,
                        model.planes_condition));
  if (model.chi_squared_dof > 0)
    text += wrapped(
        "  ", fmt::format("Residuals against the stated repeatability: chi-squared {:.2f} with {} degrees of "
                          "freedom, probability {:.2g}.",
                          model.chi_squared, model.chi_squared_dof, fit_probability(model)));
  return text + wrapped("  ", mirror_words(model));
}

}  // namespace

std::string influence_text(const Job& job, const InfluenceModel& model) {
  std::string text = "Influence coefficients\n======================\n";
  text += "Rotor: " + job.rotor.name + (job.serial.empty() ? "" : ", serial " + job.serial) + "\n";
  text += wrapped(
      "",
      fmt::format("A coefficient is the vibration that 1 kg mm at the {} (rotor angle 0) adds; {} Angles are "
                  "with rotation.",
                  zero_words(job.rotor), phase_sentence(model.convention)));
  text += "\nRUNS USED\n" + run_list(job, model);
  text += "\nCOEFFICIENTS\n" + coefficient_table(job, model);
  text += "\nBASELINE (what would be read with every slot empty, fillers out too; never an actual run)\n" +
          baseline_table(job, model);
  text += "\nHOW WELL THE RUNS SETTLE THIS\n" + quality_lines(model);
  text += residual_table(job, model);
  const auto warnings = model_warnings(job, model);
  if (!warnings.empty()) text += "\nBEFORE YOU TRUST THIS\n";
  for (const auto& warning : warnings) text += wrapped("  * ", warning);
  text += "\nCAUTION\n";
  for (const auto& caution : cautions()) text += wrapped("  ! ", caution);
  return text;
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
