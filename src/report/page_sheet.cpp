#include "page_sheet.hpp"

#include <fmt/format.h>

#include <cmath>

#include "model_warnings.hpp"
#include "number_words.hpp"
#include "page_tables.hpp"
#include "paper.hpp"
#include "slot_map.hpp"

namespace trimwright {
namespace {

constexpr const char* blank = "";

Markup particulars(const PageView& view) {
  const Job& job = view.job;
  return element("dl", {{"class", "particulars"}},
                 paper_entry("Rotor", job.rotor.name) + paper_entry("Serial", job.serial) +
                     paper_entry("Job", job.title) + paper_entry("Station", job.station) +
                     paper_entry("Date", blank) + paper_entry("Record number", blank) +
                     paper_entry("Digest", blank));
}

Markup number(const std::string& text) { return element("td", {{"class", "number"}}, text); }

/// What the check run read at a place, and the judgement of each reading.
struct Measured {
  std::string words;
  std::string result;
};

Measured measured_at(const PageView& view, std::size_t speed, std::size_t sensor, Component component) {
  Measured measured;
  if (!view.verdict) return measured;
  const Sensor& of = view.rotor().sensors[sensor];
  const auto add = [](std::string& list, const std::string& words) {
    list += (list.empty() ? "" : "; ") + words;
  };
  for (const auto& one : view.verdict->readings) {
    if (one.speed != speed || one.sensor != sensor || one.component != component) continue;
    add(measured.words, read_words(of, one, view.rotor().phase));
    add(measured.result, row_words(one));
  }
  for (const auto& one : view.verdict->missing)
    if (one.speed == speed && one.sensor == sensor && component == Component::once_per_rev)
      measured = {"not read", "✕ MISSING"};
  return measured;
}

/// A place to run: what is expected, where something predicts it, and what was read.
Markup level_row(const PageView& view, const ExpectedReading& one, Component component) {
  const Sensor& sensor = view.rotor().sensors[one.sensor];
  const bool once = component == Component::once_per_rev;
  const PageRow* row = once ? view.row_at(one.speed, one.sensor) : nullptr;
  const auto as_found = once ? shown_reading(view.job, view.found_run, one.speed, one.sensor) : std::nullopt;
  const auto level = [&](const std::optional<double>& peak) {
    return number(peak ? amplitude_words(sensor.unit.shown_from_peak(*peak)) : "–");
  };
  const Measured measured = measured_at(view, one.speed, one.sensor, component);
  return element("tr", {},
                 element("th", {{"scope", "row"}}, speed_words(view.job, one.speed)) +
                     element("td", {}, sensor.name + (once ? "" : ", overall level")) +
                     element("td", {{"class", "unit"}}, sensor.unit.text()) +
                     number(as_found ? reading_words(*as_found) : "") +
                     number(row ? reading_words(row->before) : "") +
                     number(row    ? reading_words(row->after)
                            : once ? "not known"
                                   : "") +
                     number(!once                    ? ""
                            : row && row->differs_by ? amplitude_words(*row->differs_by)
                                                     : "?") +
                     element("td", {{"class", "number write"}}, measured.words) + level(one.stop_above) +
                     level(one.target) + element("td", {{"class", "write"}}, measured.result));
}

Markup levels(const PageView& view) {
  Markup rows;
  for (const auto& one : view.plan.expected) {
    rows += level_row(view, one, Component::once_per_rev);
    if (!measured_at(view, one.speed, one.sensor, Component::overall).words.empty())
      rows += level_row(view, one, Component::overall);
  }
  return page_table("Levels (amplitude ∠ phase " + convention_words(view.rotor().phase) + ")",
                    {{"speed"},
                     {"sensor"},
                     {"unit"},
                     {"as found", true},
                     {"now (fit)", true},
                     {"expected", true},
                     {"differs by", true},
                     {"measured after"},
                     {"limit", true},
                     {"target", true},
                     {"result"}},
                    rows) +
         element(
             "p", {},
             "Differs by: draw the expected and the measured reading as arrows from one point, as long as "
             "the amplitude and turned by the phase. When it is further from tip to tip than this, the "
             "reading differs: change nothing before the cause is found. A reading made off its set speed "
             "may be further away; once it is made, this sheet shows that.");
}

Markup weights(const PageView& view) {
  Markup rows;
  for (const auto& change : view.plan.changes) {
    const Plane& plane = view.rotor().planes[change.plane];
    const auto position = slot_position(view.rotor(), plane, change.slot);
    rows += element(
        "tr", {},
        element("th", {{"scope", "row"}}, plane.name) +
            element("td", {{"class", "number"}}, std::to_string(change.slot)) +
            element("td", {{"class", "number"}}, fmt::format("{:.1f}°", position.angle.degrees())) +
            element("td", {}, position.blade) + element("td", {}, content_words(plane, change.remove)) +
            element("td", {}, content_words(plane, change.fit)) +
            element("td", {{"class", "box"}},
                    change.remove || plane.filler.moment_g_mm > 0.0 ? "☐ out" : "") +
            element("td", {{"class", "box"}}, change.fit || plane.filler.moment_g_mm > 0.0 ? "☐ in" : "") +
            element("td", {{"class", "box"}}, "☐"));
  }
  if (rows.empty() && view.trim.has_slots())
    return element("p", {}, element("b", {}, view.plan.steps.front().instruction));
  if (rows.empty()) {
    for (const auto& part : view.trim.correction.parts)
      rows += element("li", {},
                      fmt::format("☐ {}: add {:.4g} g mm at {}", view.rotor().planes[part.plane].name,
                                  std::abs(part.moment_to_add),
                                  angle_position(view.rotor(), RotorAngle::of(part.moment_to_add)).text()));
    return element("h3", {}, "Moments to add to what is fitted now") + element("ul", {}, rows);
  }
  return page_table("Weights: what changes against what is fitted now (angles with rotation, from the " +
                        zero_words(view.rotor()) + ")",
                    {{"plane"},
                     {"slot", true},
                     {"angle", true},
                     {"blades"},
                     {"take out"},
                     {"put in"},
                     {"out"},
                     {"in"},
                     {"checked"}},
                    rows);
}

Markup fitted_after_plan(const PageView& view) {
  Markup items;
  for (std::size_t p = 0; p < view.fitted.size(); ++p)
    items += element(
        "li", {},
        view.rotor().planes[p].name + ": " + fitted_words(view.rotor().planes[p], view.fitted[p]) + ".");
  return element("h3", {}, "What the planes hold then") + element("ul", {}, items);
}

Markup maps(const PageView& view) {
  Markup drawings;
  for (std::size_t p = 0; p < view.rotor().planes.size(); ++p)
    drawings +=
        element("div", {}, element("h3", {}, view.rotor().planes[p].name) + slot_map(view, p, "sheet"));
  return element("div", {{"class", "sheet-maps"}}, drawings) + slot_map_legend();
}

Markup verdict(const PageView& view) {
  const std::string expected =
      "Expected: " + expected_words(view.trim.predictions, view.trim.not_predicted.size()) + ".";
  const std::string measured =
      view.verdict
          ? fmt::format("Run “{}”: {}", view.job.runs[view.verdict->run].name, verdict_words(*view.verdict))
          : "Measured after: not yet. Write the readings down above.";
  return element("h3", {}, "Verdict") + element("p", {}, expected) +
         element("p", {}, measured + " Released: ☐ yes ☐ no, by a licensed person.");
}

/// What a person completes by hand.
Markup entries() {
  Markup lines;
  for (const char* what : {"Manual and revision", "Torque", "Locking", "Part numbers", "Tools accounted for",
                           "Pieces left over, accounted for"})
    lines += paper_entry(what, blank);
  return element("dl", {{"class", "particulars"}}, lines);
}

/// Where nothing is fitted there is nothing to sign for but run and release.
Markup signatures(const PageView& view) {
  Markup rows;
  const auto& roles = signature_roles();
  const bool nothing = view.trim.has_slots() && view.plan.changes.empty();
  for (std::size_t i = nothing ? 2 : 0; i < roles.size(); ++i)
    rows +=
        element("tr", {{"class", "row"}},
                element("th", {{"scope", "row"}}, roles[i]) + element("td", {{"class", "line"}}, blank) +
                    element("td", {{"class", "line"}}, blank) + element("td", {{"class", "line"}}, blank));
  return page_table("Signatures, for the weights above",
                    {{"role"}, {"name"}, {"signature"}, {"date and time"}}, rows);
}

}  // namespace

Markup page_sheet(const PageView& view) {
  const auto part = [](std::string_view css_class, const Markup& content) {
    return element("div", {{"class", css_class}}, content);
  };
  const std::string date = view.verdict != nullptr ? view.job.runs[view.verdict->run].conditions.when : "";
  return paper(view.job, "sheet", "first", "Balance sheet", date,
               particulars(view) +
                   part("keep", points_under("Before you trust this", model_warnings(view.job, view.model))) +
                   levels(view) + part("keep", verdict(view)) + part("keep", maps(view)) +
                   part("keep only-print", points_under("Cautions", view.plan.cautions)) +
                   part("keep", weights(view) + fitted_after_plan(view) + entries() + signatures(view)));
}

}  // namespace trimwright
