#include "run_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "balance_sheet.hpp"
#include "convention_words.hpp"
#include "page_frame.hpp"
#include "page_tables.hpp"
#include "paper.hpp"
#include "slot_map.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

/// Where to read: as in the runs so far; before any, every sensor at every speed that the job names.
std::vector<Place> places_on_sheet(const Job& job) {
  auto places = places_to_run(job);
  if (!places.empty()) return places;
  for (std::size_t v = 0; v < job.speeds_rpm.size(); ++v)
    for (std::size_t s = 0; s < job.rotor.sensors.size(); ++s)
      if (const LimitBand* band = job.rotor.sensors[s].band_at(job.speeds_rpm[v]))
        places.push_back({v, s, band->limit, band->target});
  return places;
}

Markup written_cell() { return element("td", {{"class", "writing"}}); }

Markup reading_boxes(const Job& job) {
  Markup rows;
  const auto& sensors = job.rotor.sensors;
  const bool some_open = std::any_of(sensors.begin(), sensors.end(),
                                     [&](const Sensor& sensor) { return limits_open(job.rotor, sensor); });
  const auto row = [&](const std::string& speed, const Sensor& sensor, const std::string& stop,
                       const std::string& target) {
    const auto level = [&](const std::string& words) {
      return limits_open(job.rotor, sensor) ? written_cell() : element("td", {{"class", "number"}}, words);
    };
    rows += element("tr", {{"class", "row"}},
                    element("th", {{"scope", "row"}}, speed) + element("td", {}, sensor.name) +
                        element("td", {{"class", "unit"}}, sensor.unit.text()) + level(stop) + level(target) +
                        written_cell() + written_cell() + written_cell());
  };
  const auto places = places_on_sheet(job);
  for (const auto& one : places) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    row(speed_words(job, one.speed), sensor, amplitude_words(sensor.unit.shown_from_peak(one.limit)),
        one.target ? amplitude_words(sensor.unit.shown_from_peak(*one.target)) : "–");
  }
  for (int line = 0; places.empty() && line < 5; ++line)
    for (const auto& sensor : job.rotor.sensors) row("", sensor, "", "");
  const std::string phase = job.rotor.phase == PhaseConvention::unknown
                                ? std::string("phase, degrees lag or lead")
                                : "phase, degrees " + convention_words(job.rotor.phase);
  return page_table(
      std::string(
          "Readings (once per revolution; end the run at once when a reading passes its stop level)") +
          (some_open
               ? ". Limits are not given yet: write in the stop levels of the maker's manual before the run."
               : ""),
      {{"speed"},
       {"sensor"},
       {"unit"},
       {"stop above", true},
       {"target", true},
       {"amplitude"},
       {phase},
       {"overall level"}},
      rows);
}

/// Limits by speed where no speed is named yet.
Markup limit_list(const Job& job) {
  if (!places_on_sheet(job).empty()) return {};
  Markup items;
  for (const auto& sensor : job.rotor.sensors) {
    if (limits_open(job.rotor, sensor)) continue;
    std::string words;
    for (const auto& band : sensor.bands)
      words += (words.empty() ? "" : "; ") +
               (std::isfinite(band.up_to_rpm) ? "up to " + speed_words(job.rotor, band.up_to_rpm)
                : words.empty()               ? std::string("at any speed")
                                              : std::string("at any higher speed")) +
               " stop above " + amplitude_words(sensor.unit.shown_from_peak(band.limit)) + " " +
               sensor.unit.text();
    items += element("li", {}, sensor.name + ": " + words);
  }
  return items.empty() ? Markup() : element("ul", {}, items);
}

/// "K3 (2.2 g)", where the mass is known: no table of weights stands beside it.
std::string weighed_words(const Plane& plane, const std::optional<Piece>& piece) {
  const Weight* weight = catalogue_weight(plane, piece);
  return content_words(plane, piece) +
         (weight != nullptr && weight->mass_g ? fmt::format(" ({:.6g} g)", *weight->mass_g) : "");
}

std::string fitted_words(const Plane& plane, const FittedWeights& fitted) {
  return all_held_words(sheet_plane(plane, fitted, weighed_words));
}

Markup fitted_table(const Job& job, const PageView* trial) {
  Markup rows;
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p) {
    const Plane& plane = job.rotor.planes[p];
    rows += element(
        "tr", {{"class", "row"}},
        element("th", {{"scope", "row"}}, plane.name) +
            (job.runs.empty() ? Markup{}
                              : element("td", {}, fitted_words(plane, job.runs.back().fitted[p]))) +
            (trial == nullptr
                 ? written_cell()
                 : element("td", {{"class", "writing"}}, "☐ " + fitted_words(plane, trial->fitted[p]))));
  }
  auto columns = std::vector<PageColumn>{{"plane"}, {"in this run: slot and weight"}};
  if (!job.runs.empty()) columns.insert(columns.begin() + 1, {"in run “" + job.runs.back().name + "”"});
  return page_table("Fitted in this run: every slot that holds a weight, and which", columns, rows);
}

/// Conditions that the runs so far tell, each with a line of its own.
Markup conditions(const Job& job) {
  Markup entries = paper_entry("Run", "") + paper_entry("Date and time", "") + paper_entry("Made by", "") +
                   paper_entry("Wind", "") + paper_entry("Warm-up", "") +
                   paper_entry("Dwell at each speed", "");
  std::vector<std::string> told{"wind", "warm_up", "dwell"};
  for (const auto& run : job.runs)
    for (const auto& [what, words] : run.conditions.other) {
      if (std::find(told.begin(), told.end(), what) != told.end()) continue;
      told.push_back(what);
      entries += paper_entry(what, "");
    }
  return element("dl", {{"class", "particulars"}}, entries);
}

}  // namespace

Markup run_sheet(const Job& job, std::string_view css_class, const PageView* trial) {
  Markup maps;
  for (std::size_t i = 0; trial != nullptr && i < trial->plan.changes.size(); ++i) {
    const std::size_t plane = trial->plan.changes[i].plane;
    maps += element("div", {}, plane_drawing(*trial, plane, "sheet"));
  }
  if (!maps.empty()) maps = element("div", {{"class", "sheet-maps"}}, maps) + slot_map_legend();
  Markup caution = element("p", {}, element("b", {}, cautions().front()));
  return paper(
      job, "run-sheet", css_class, "Run sheet", "",
      caution + conditions(job) + element("div", {{"class", "keep"}}, fitted_table(job, trial)) + maps +
          limit_list(job) + reading_boxes(job) +
          element("dl", {{"class", "particulars keep"}},
                  paper_entry("What was noticed", "") + paper_entry("Slots checked by (second person)", "") +
                      paper_entry("Run made by: signature", "")) +
          (trial == nullptr ? Markup() : steps_on_paper(trial->plan)));
}

}  // namespace trimwright
