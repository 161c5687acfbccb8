#include "trimwright/report.hpp"

#include <fmt/format.h>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "model_warnings.hpp"
#include "page_cards.hpp"
#include "page_check.hpp"
#include "page_frame.hpp"
#include "page_levels.hpp"
#include "page_plots.hpp"
#include "page_sheet.hpp"
#include "page_tables.hpp"
#include "page_view.hpp"
#include "plot_parts.hpp"
#include "run_sheet.hpp"
#include "slot_map.hpp"
#include "slot_moments.hpp"

namespace trimwright {
namespace {

Markup button(const std::string& id, const std::string& words) {
  return element("button", {{"type", "button"}, {"id", id}}, words);
}

/// A verdict's sign set apart from its words.
Markup signed_words(const std::string& sign, const std::string& words) {
  return element("span", {{"class", "sign"}}, sign) + Markup::text(" ") +
         element("span", {{"class", "words"}}, words);
}

Markup verdict_line(const PageView& view) {
  const std::string expected = expected_words(view.trim.predictions, view.trim.not_predicted.size());
  const auto blank = expected.find(' ');
  if (view.verdict == nullptr && !view.trim.trust.sound())
    return element("p", {{"class", "verdict signed stop"}},
                   signed_words("✕", view.trim.trust.words() + " What to look at stands below.")) +
           element("p", {{"class", "chance"}}, "By these runs: " + expected.substr(blank + 1) + ".");
  if (view.verdict == nullptr) {
    const bool stop = expected.starts_with("✕");
    return element("p", {{"class", stop ? "verdict signed stop" : "verdict signed"}},
                   signed_words(expected.substr(0, blank), expected.substr(blank + 1)));
  }
  const std::string run = view.job.runs[view.verdict->run].name;
  Markup missing;
  for (const auto& one : view.verdict->missing)
    missing += element("li", {}, fmt::format("✕ {}: {}", not_read, missing_words(view.job, one)));
  if (!missing.empty()) missing = element("ul", {{"class", "missing"}}, missing);
  const bool accepted = view.verdict->outcome != Outcome::not_accepted;
  return element("p", {{"class", accepted ? "verdict" : "verdict stop"}},
                 "Run “" + run + "”: " + verdict_words(*view.verdict)) +
         element("p", {{"class", "verdict"}}, "The plan expected: " + expected) + missing;
}

Markup result_section(const PageView& view) {
  return element(
      "section", {{"id", "result"}, {"aria-labelledby", "result-heading"}},
      element("h1", {{"id", "result-heading"}}, view.verdict == nullptr ? "Balance plan" : "Check run") +
          verdict_line(view) +
          cautions_part(view.plan.cautions, model_warnings(view.job, view.model), !view.trim.trust.sound()));
}

/// What the script fills; without script it stays hidden.
Markup try_out_bar() {
  return element("div",
                 {{"id", "tryout"},
                  {"role", "region"},
                  {"aria-label", "What if: your own choice"},
                  {"hidden", "hidden"}},
                 element("p", {{"id", "tryout-words"}, {"role", "status"}}) +
                     element("svg", {{"id", "mini"}, {"aria-hidden", "true"}}) +
                     element("p", {{"class", "buttons"}},
                             button("undo", "Undo") + button("redo", "Redo") + button("reset", "Plan") +
                                 button("as-fitted", "As now") + button("save", "Save")));
}

Markup plane_part(const PageView& view, std::size_t p) {
  const Plane& plane = view.rotor().planes[p];
  Markup part = plane_drawing(view, p, "map") + moments_list(plane_moments(view, p), view.verdict != nullptr);
  part += element("div", {{"class", "tray"}, {"data-plane", p}});
  if (!plane.weights.empty())
    part += element("details", {}, element("summary", {}, "Weights in the catalogue") + weight_table(plane));
  return element("div", {{"class", "plane"}}, part);
}

Markup weights_section(const PageView& view) {
  return element(
      "section", {{"id", "weights"}, {"aria-labelledby", "weights-heading"}},
      element("div", {{"class", "heading"}}, element("h2", {{"id", "weights-heading"}}, work_words(view))) +
          change_cards(view));
}

Markup note_lines(const PageView& view) {
  Markup notes;
  for (const auto& note : view.trim.notes) notes += element("p", {{"class", "chance"}}, note);
  return notes;
}

Markup slots_section(const PageView& view) {
  Markup notes, planes;
  if (view.verdict == nullptr) notes = note_lines(view);
  for (std::size_t p = 0; p < view.rotor().planes.size(); ++p) planes += plane_part(view, p);
  const Markup help =
      element("p", {{"id", "tryout-help"}, {"class", "chance"}, {"hidden", "hidden"}},
              "What if: tap a slot to choose what it holds, or drag a weight to another slot. "
              "With the keyboard: arrows go from slot to slot, Enter opens the choice, M moves "
              "what the slot holds, Delete empties it. Levels follow.");
  const Markup own = element("div", {{"id", "own"}, {"class", "own"}, {"hidden", "hidden"}},
                             element("h3", {}, "These slots show your own choice, not the plan") +
                                 element("ul", {{"id", "own-changes"}}));
  return element("section", {{"id", "slots"}, {"aria-labelledby", "slots-heading"}},
                 element("h2", {{"id", "slots-heading"}, {"class", "unseen"}}, "Slots") + notes + own +
                     element("div", {{"class", "planes"}}, planes) + slot_map_legend() + help);
}

std::string chance_sentences(const PageView& view) {
  std::string words = outlook_words(view.trim.predictions, view.trim.not_predicted.size(), view.trim.outlook);
  for (const auto& note : chance_notes(view.job, view.model, view.trim.predictions, view.trim.outlook))
    words += " " + note;
  return words;
}

Markup levels_section(const PageView& view) {
  return element(
      "section", {{"id", "levels"}, {"class", "levels"}, {"aria-labelledby", "levels-heading"}},
      element(
          "div", {{"class", "heading"}},
          element("h2", {{"id", "levels-heading"}}, view.verdict == nullptr ? "Expected levels" : "Levels") +
              element("small", {},
                      view.verdict == nullptr ? "bar: part of the limit; figure: expected"
                                              : "bar: part of the limit; figure: as read")) +
          level_bars_of(view) + level_bars_key(view) + try_out_bar() +
          (view.verdict != nullptr ? Markup()
                                   : element("p", {{"class", "chance plan-only"}}, chance_sentences(view))) +
          element("details", {}, element("summary", {}, "Every figure") + expected_table(view)));
}

bool shown_at_all(const PageView& view, std::size_t sensor) { return !rows_of(view, sensor).empty(); }
bool has_phases(const PageView& view) { return view.rotor().phase != PhaseConvention::unknown; }

Markup why_section(const PageView& view) {
  Markup trials;
  for (std::size_t s = 0; s < view.rotor().sensors.size(); ++s)
    if (shown_at_all(view, s)) trials += trial_plot(view, s);
  Markup content =
      element("p", {},
              "At every place: the arrow of what is there now, what each plane's change adds to it, "
              "and their sum, what is expected (thick). The shaded ellipse holds the next reading nine "
              "times in ten. Dashed circle: target. These show the plan, not what is tried out.") +
      sum_plots(view);
  if (view.verdict != nullptr) content = note_lines(view) + content;
  if (!trials.empty())
    content +=
        element("h3", {}, "What the trial runs did") +
        element("p", {}, "From each reading of the first run to that of the run with a trial weight.") +
        element("div", {{"class", "plots"}}, trials);
  const std::string& why = view.trim.why;
  const auto sentence = why.find(". ");
  if (sentence != std::string::npos) content = element("p", {}, why) + content;
  return folded("why", "Why these weights",
                why.empty() ? std::string("the vectors that add up")
                            : why.substr(0, sentence == std::string::npos ? sentence : sentence + 1),
                content);
}

Markup plots_section(const PageView& view) {
  Markup sensors;
  for (std::size_t s = 0; s < view.rotor().sensors.size(); ++s) {
    if (!shown_at_all(view, s)) continue;
    Markup plots = amplitude_plot(view, s);
    if (has_phases(view))
      plots += phase_plot(view, s) + polar_plot(view, s, false) + polar_plot(view, s, true);
    sensors += element("div", {{"class", "plots four"}}, plots);
  }
  Markup words = series_legend(view);
  if (view.rotor().speed_100_rpm)
    words += element(
        "p", {},
        fmt::format("Numbers beside the points: speed in % of {:.0f} rpm.", *view.rotor().speed_100_rpm));
  return folded("vibration", "Vibration",
                "polar, and against speed: as found, now, expected; follows what is tried out",
                words + sensors);
}

Markup choice_section(const PageView& view) {
  std::string answer;
  for (const auto& row : view.trim.trade_off)
    answer += fmt::format("{}{}: {:.2f}", answer.empty() ? "largest over its limit with " : ", ",
                          row.changes.size(), row.worst_ratio);
  return folded("choice", "Fewer or more slots", answer,
                element("div", {{"class", "plots"}}, trade_off_plot(view) + trade_off_table(view)));
}

Markup influence_section(const PageView& view) {
  Markup key;
  for (std::size_t p = 0; p < view.model.planes.size(); ++p)
    key +=
        element("li", {}, fmt::format("{}: plane {}", p + 1, view.rotor().planes[view.model.planes[p]].name));
  Markup plots;
  for (std::size_t s = 0; s < view.rotor().sensors.size() && has_phases(view); ++s)
    if (shown_at_all(view, s)) plots += influence_plot(view, s);
  const Markup labels = view.model.planes.size() > 2
                            ? Markup()
                            : element("p", {}, "Labels: number of the plane, then the speed.") +
                                  element("ul", {{"class", "legend"}}, key);
  return folded("influence", "Influence vectors", "what 1000 g mm in each plane adds",
                labels + element("div", {{"class", "plots"}}, plots) + influence_table(view));
}

Markup steps_section(const PageView& view) {
  return folded("steps", "Steps", counted(view.plan.steps.size(), "step") + ", from making safe to comparing",
                step_list(view.plan));
}

Markup conventions_section(const PageView& view) {
  const auto fact = [](const std::string& term, const std::string& words) {
    return words.empty() ? Markup() : element("div", {}, element("dt", {}, term) + element("dd", {}, words));
  };
  const Job& job = view.job;
  const std::string phase =
      job.rotor.phase == PhaseConvention::lag
          ? "lag: degrees the rotor has turned from the reference pulse to the vibration's positive peak"
      : job.rotor.phase == PhaseConvention::lead ? "lead: degrees the rotor has still to turn from the "
                                                   "vibration's positive peak to the reference pulse"
                                                 : "not known: it took no part";
  return folded(
      "conventions", "Words and angles", "what angle, phase and “differs by” mean here",
      element("dl", {{"class", "facts"}},
              fact("Rotor", job.rotor.name) + fact("Serial", job.serial) + fact("Job", job.title) +
                  fact("Station", job.station) +
                  fact("Angle", "rotor angle, growing with rotation, from the " + zero_words(job.rotor)) +
                  fact("Phase", phase) +
                  fact("Differs by",
                       fmt::format(
                           "a reading further from the expected one than this, from tip to tip of the two "
                           "arrows, is not as expected: one sound reading in {} is",
                           one_sound_reading_in))));
}

/// What is shown here and what is printed, by boxes that need no script: they stand before the sheets.
Markup paper_choice() {
  const auto box = [](const std::string& id, const std::string& words) {
    return element("input", {{"type", "checkbox"}, {"id", id}, {"class", "choose"}}) +
           element("label", {{"for", id}}, words);
  };
  return element("h2", {{"class", "screen"}}, "Sheets to print and sign") +
         element("p", {{"class", "screen chance"}},
                 "Printing this page prints the trim sheet: the plan as the program made it, never what is "
                 "tried out.") +
         box("show-sheet", "Show the trim sheet here") +
         box("show-run-sheet", "Show a blank run sheet, for any run") +
         box("print-run-sheet", "Print the run sheet instead");
}

}  // namespace

std::string balance_page(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                         const BalancePlan& plan, const std::string& page_data, const Verdict* verdict) {
  const PageView view = page_view(job, model, trim, plan, verdict);
  const Markup work =
      element("div", {{"class", "work"}}, weights_section(view) + levels_section(view) + slots_section(view));
  Markup more;
  if (verdict != nullptr)
    more += folded("check", "What the check says", "read beside expected, and what to do next",
                   check_part(view), true);
  if (has_phases(view)) more += why_section(view);
  if (trim.has_slots()) more += choice_section(view);
  more += plots_section(view) + steps_section(view) + influence_section(view) + conventions_section(view);
  const Markup main = result_section(view) + work + element("div", {{"class", "more"}}, more) +
                      paper_choice() + page_sheet(view) + run_sheet(view.job, "second", nullptr);
  return page_document(job, "Balance page", masthead(job) + element("main", {{"id", "main"}}, main),
                       page_data);
}

}  // namespace trimwright
