#include "trimwright/report.hpp"

#include <fmt/format.h>

#include "model_warnings.hpp"
#include "number_words.hpp"
#include "page_assets.hpp"
#include "page_plots.hpp"
#include "page_sheet.hpp"
#include "page_tables.hpp"
#include "page_view.hpp"
#include "plan_parts.hpp"
#include "slot_map.hpp"

namespace trimwright {
namespace {

/// Nothing is ever fetched: the file speaks for itself, with the network off or on.
constexpr const char* fetch_nothing =
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'; form-action "
    "'none'";

Markup page_section(std::string_view id, const std::string& heading, const Markup& content) {
  const std::string heading_id = std::string(id) + "-heading";
  return element("section", {{"id", id}, {"aria-labelledby", heading_id}},
                 element("h2", {{"id", heading_id}}, heading) + content);
}

Markup head(const PageView& view) {
  const std::string serial = view.job.serial.empty() ? "" : " " + view.job.serial;
  return element(
      "head", {},
      element("meta", {{"charset", "utf-8"}}) +
          element("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}}) +
          element("meta", {{"name", "color-scheme"}, {"content", "light dark"}}) +
          element("meta", {{"http-equiv", "Content-Security-Policy"}, {"content", fetch_nothing}}) +
          element("title", {}, "Balance page: " + view.rotor().name + serial) +
          element("style", {}, Markup::own(page_css)) +
          element("style", {{"id", "dark"}, {"media", "screen and (prefers-color-scheme: dark)"}},
                  Markup::own(page_dark_css)));
}

Markup facts(const PageView& view) {
  const auto fact = [](const std::string& term, const std::string& words) {
    return words.empty() ? Markup() : element("div", {}, element("dt", {}, term) + element("dd", {}, words));
  };
  const Job& job = view.job;
  return element("dl", {{"class", "facts"}},
                 fact("Rotor", job.rotor.name) + fact("Serial", job.serial) + fact("Job", job.title) +
                     fact("Station", job.station) +
                     fact("Angles", "rotor angles, with rotation, from the " + zero_words(job.rotor)) +
                     fact("Phase", convention_words(job.rotor.phase)));
}

Markup contents(const PageView& view) {
  const auto link = [](const std::string& to, const std::string& words) {
    return element("li", {}, element("a", {{"href", "#" + to}}, words));
  };
  Markup links = link("weights", "Weights") + link("levels", "Levels") + link("plots", "Plots");
  if (view.trim.has_slots()) links += link("choice", "Fewer or more");
  links += link("influence", "Influence") + link("steps", "Steps") + link("sheet", "Sheet");
  return element("nav", {{"aria-label", "On this page"}}, element("ul", {}, links));
}

Markup header(const PageView& view) {
  return element(
      "header", {},
      element("h1", {}, "Balance page") + facts(view) + contents(view) +
          element("p", {{"id", "tools"}, {"hidden", "hidden"}},
                  element("button", {{"type", "button"}, {"id", "theme"}}, "Dark / light") +
                      element("button", {{"type", "button"}, {"id", "print"}}, "Print the sheet")));
}

Markup first_words(const PageView& view) {
  Markup words = element("p", {{"class", "verdict"}},
                         "Plan: " + expected_words(view.trim.predictions, view.trim.not_predicted.size()));
  if (view.verdict)
    words += element("p", {{"class", "verdict"}},
                     "Run “" + view.job.runs[view.verdict->run].name + "”: " + verdict_words(*view.verdict));
  words += element("p", {},
                   outlook_words(view.trim.predictions, view.trim.not_predicted.size(), view.trim.outlook));
  for (const auto& note : view.trim.notes) words += element("p", {}, note);
  const Markup warnings = points_under("Before you trust this", model_warnings(view.job, view.model));
  if (!warnings.empty()) words += element("div", {{"class", "warning"}}, warnings);
  return words + element("details", {{"class", "warning"}, {"open", "open"}},
                         element("summary", {}, "Cautions: read before any work on the engine") +
                             points_under("Cautions", view.plan.cautions));
}

/// What the script fills; without script it stays hidden.
Markup try_out_bar() {
  const auto button = [](const std::string& id, const std::string& words) {
    return element("button", {{"type", "button"}, {"id", id}}, words);
  };
  return element("div",
                 {{"id", "tryout"},
                  {"role", "region"},
                  {"aria-label", "What if: your own choice"},
                  {"hidden", "hidden"}},
                 element("p", {{"id", "tryout-words"}, {"role", "status"}}) +
                     element("p", {{"class", "buttons"}},
                             button("undo", "Undo") + button("redo", "Redo") + button("reset", "To plan") +
                                 button("as-fitted", "To now") + button("save", "Save")));
}

Markup plane_part(const PageView& view, std::size_t p) {
  const Plane& plane = view.rotor().planes[p];
  const ViewingEnd end = plane.slots ? plane.slots->numbered.seen_from : view.rotor().rotation.seen_from;
  Markup part = element("h3", {}, plane.name + (plane.access == Access::hard ? " (hard to reach)" : ""));
  part += element("p", {{"class", "seen"}}, "Drawn as " + seen_words(end) + ".");
  part += slot_map(view, p, "map");
  part += element("div", {{"class", "tray"}, {"data-plane", p}});
  if (!plane.weights.empty())
    part += element("details", {}, element("summary", {}, "Weights in the catalogue") + weight_table(plane));
  return element("div", {{"class", "plane"}}, part);
}

Markup weights_section(const PageView& view) {
  Markup planes;
  for (std::size_t p = 0; p < view.rotor().planes.size(); ++p) planes += plane_part(view, p);
  const Markup help = element("p", {{"id", "tryout-help"}, {"hidden", "hidden"}},
                              "What if: tap a slot to choose what it holds, or drag a weight to another "
                              "slot. With the keyboard: arrows go from "
                              "slot to slot, Enter opens the choice, M moves what the slot holds, Delete "
                              "empties it. Levels and plots follow.");
  const Markup own = element("div", {{"id", "own"}, {"class", "warning"}, {"hidden", "hidden"}},
                             element("h3", {}, "Shown below is your own choice, not the plan") +
                                 element("ul", {{"id", "own-changes"}}));
  return page_section("weights", "Weights",
                      element("div", {{"class", "lists"}}, change_lists(view)) + own + help +
                          slot_map_legend() + element("div", {{"class", "planes"}}, planes) + try_out_bar());
}

Markup plots_section(const PageView& view) {
  Markup plots = series_legend(view);
  if (view.rotor().speed_100_rpm)
    plots += element(
        "p", {},
        fmt::format("Numbers beside the points: speed in % of {:.0f} rpm.", *view.rotor().speed_100_rpm));
  for (std::size_t s = 0; s < view.rotor().sensors.size(); ++s) {
    bool any = false;
    for (const auto& row : view.rows) any = any || row.sensor == s;
    if (!any) continue;
    const Sensor& sensor = view.rotor().sensors[s];
    plots +=
        element("h3", {}, "Sensor " + sensor.name + (sensor.mounting.empty() ? "" : ", " + sensor.mounting));
    plots += element("div", {{"class", "plots"}},
                     polar_plot(view, s, false) + polar_plot(view, s, true) + amplitude_plot(view, s) +
                         phase_plot(view, s));
  }
  return page_section("plots", "Vibration", plots);
}

Markup influence_section(const PageView& view) {
  Markup key;
  for (std::size_t p = 0; p < view.model.planes.size(); ++p)
    key +=
        element("li", {}, fmt::format("{}: plane {}", p + 1, view.rotor().planes[view.model.planes[p]].name));
  Markup plots;
  for (std::size_t s = 0; s < view.rotor().sensors.size(); ++s) {
    bool any = false;
    for (const auto& row : view.rows) any = any || row.sensor == s;
    if (any) plots += influence_plot(view, s);
  }
  return page_section(
      "influence", "Influence vectors",
      element("p", {}, "Labels: number of the plane, then the speed.") +
          element("ul", {{"class", "legend"}}, key) + element("div", {{"class", "plots"}}, plots) +
          element("details", {}, element("summary", {}, "The same as a table") + influence_table(view)));
}

Markup steps_section(const PageView& view) {
  Markup items;
  for (const auto& step : view.plan.steps) {
    Markup points;
    for (const auto& particular : step.particulars) points += element("li", {}, particular);
    items +=
        element("li", {},
                element("p", {}, step.instruction) + (points.empty() ? Markup() : element("ul", {}, points)) +
                    (step.sign ? element("p", {}, "Done by: ____________________") : Markup()));
  }
  return page_section("steps", "Steps", element("ol", {{"class", "steps"}}, items));
}

}  // namespace

std::string balance_page(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                         const BalancePlan& plan, const std::string& page_data, const Verdict* verdict) {
  const PageView view = page_view(job, model, trim, plan, verdict);
  Markup main = page_section("result", "Result", first_words(view)) + weights_section(view) +
                page_section("levels", "Levels", expected_table(view)) + plots_section(view);
  if (trim.has_slots())
    main += page_section("choice", "Fewer or more slots",
                         element("div", {{"class", "plots"}}, trade_off_plot(view) + trade_off_table(view)));
  main += influence_section(view) + steps_section(view) + page_sheet(view);
  const Markup body =
      element("a", {{"class", "skip"}, {"href", "#main"}}, "To the content") + header(view) +
      element("main", {{"id", "main"}}, main) +
      element("script", {{"type", "application/json"}, {"id", "page-data"}}, Markup::json(page_data)) +
      element("script", {}, Markup::own(page_js));
  return "<!DOCTYPE html>\n" +
         element("html", {{"lang", "en"}}, head(view) + element("body", {}, body)).html() + "\n";
}

}  // namespace trimwright
