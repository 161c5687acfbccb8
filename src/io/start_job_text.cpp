#include <fmt/format.h>

#include "csv_rows.hpp"
#include "start_texts.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

std::string trial_name(const StartPlane& plane) { return "trial " + plane.name; }

/// "{front plane: {7: S2}}": how a person writes what is fitted.
std::string fitted_example(const StartPlane& plane, int slot) {
  return fmt::format("{{{}: {{{}: {}}}}}", yaml_text(plane.name), slot,
                     plane.weights.empty() ? "ID" : yaml_text(plane.weights.back().id));
}

/// What is fitted as the job has it: a map stands plain.
std::string fitted_text(const std::string& fitted) {
  return fitted.starts_with('{') ? fitted : yaml_text(fitted);
}

std::string run_lines(const StartJob& job, std::size_t r) {
  const StartRun& run = job.runs[r];
  std::string text = "  - name: " + yaml_text(run.name) + "\n";
  if (r == 0)
    text += fmt::format(
        "    # when: 2031-05-12 09:40\n    # who: R. Orrin\n"
        "    # conditions: {{warm_up: 5 min at idle, dwell: 60 s, wind: 4 kt on the nose}}\n"
        "    # All weights that are in, by plane and slot, as {}; none: empty slots and fillers only.\n",
        fitted_example(job.planes.front(), 1));
  if (!job.table_names_runs) text += "    readings: " + yaml_text(job.table) + "\n";
  return text + "    fitted: " + (run.fitted.empty() ? "none" : fitted_text(run.fitted)) + "\n";
}

}  // namespace

std::string start_job_text(const StartJob& job) {
  std::string text =
      R"(trimwright: job 1
# What was done on one engine. Enter each run in the order made, with ALL that was fitted.
rotor: rotor.yaml
)";
  text += job.serial.empty() ? "# Needed to file the job.\n# serial: 123456\n"
                             : "serial: " + yaml_text(job.serial) + "\n";
  text += "# Amplitude and phase of every run: one row for each speed.\n";
  if (job.table_names_runs) text += "readings: " + yaml_text(job.table) + "\n";
  if (job.speeds_were_set && !job.speeds.empty()) {
    text += "speeds:\n";
    for (const auto& speed : job.speeds) text += "  - {at: " + yaml_text(speed) + "}\n";
  }
  text += "runs:\n";
  for (std::size_t r = 0; r < job.runs.size(); ++r) text += run_lines(job, r);
  const std::string as_found = yaml_text("same as " + job.runs.front().name);
  if (!job.has_trials()) {
    text +=
        "  # A second run with nothing changed shows how far readings repeat:\n  # - name: repeat\n  #   "
        "fitted: " +
        as_found +
        "\n  # The trial runs, once \"trimwright trial job.yaml\" has named the weight and the slot; as many "
        "as are made:\n";
    for (const auto& plane : job.planes)
      text += "  # - name: " + yaml_text(trial_name(plane)) +
              "\n  #   fitted: " + fitted_example(plane, plane.slots > 0 ? (plane.slots + 1) / 2 : 1) + "\n";
  }
  text +=
      "# What is on the rotor when the plan is made, where it is not what was in in the last run, such as a "
      "trial\n# weight that was taken out again:\n";
  return text +
         (job.fitted_now.empty() ? "# fitted_now: " + as_found
                                 : "fitted_now: " + fitted_text(job.fitted_now)) +
         "\n";
}

std::string start_table_text(const StartJob& job) {
  std::vector<std::string> heading{"run", "speed"};
  for (const auto& sensor : job.sensors) {
    heading.push_back(sensor.name + " [" + sensor.unit.text() + "]");
    heading.push_back(sensor.name + (job.phase == "unknown" ? " [deg]" : " [deg " + job.phase + "]"));
  }
  heading.emplace_back("note");
  std::vector<std::string> runs{job.runs.front().name};
  for (const auto& plane : job.planes) runs.push_back(trial_name(plane));
  // Spreadsheets of countries with a decimal comma part cells at semicolons, others at commas; told which it
  // is, all read it.
  std::string text = "sep=;\r\n" + csv_line(heading, ';');
  for (const auto& run : runs)
    for (const auto& speed : job.speeds.empty() ? std::vector<std::string>{""} : job.speeds) {
      std::vector<std::string> row(heading.size());
      row[0] = run;
      row[1] = speed;
      text += csv_line(row, ';');
    }
  return text;
}

}  // namespace trimwright
