#include "page_sheet.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "balance_sheet.hpp"
#include "convention_words.hpp"
#include "model_warnings.hpp"
#include "page_frame.hpp"
#include "page_tables.hpp"
#include "paper.hpp"
#include "runs/as_found.hpp"
#include "slot_map.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

/// What the check run read at a place, and the judgement of each reading.
struct Measured {
  SheetCell cell;
  std::string result;
};

Measured measured_at(const PageView& view, std::size_t speed, std::size_t sensor, Component component) {
  Measured measured;
  if (!view.verdict) return measured;
  const Sensor& of = view.rotor().sensors[sensor];
  for (const auto& one : view.verdict->readings) {
    if (one.speed != speed || one.sensor != sensor || one.component != component) continue;
    measured.cell.add(as_read(of, one, view.rotor().phase));
    measured.result += (measured.result.empty() ? "" : "; ") + row_words(one);
  }
  for (const auto& one : view.verdict->missing)
    if (one.speed == speed && one.sensor == sensor && one.component == component)
      measured = {not_read, missing_result};
  return measured;
}

std::optional<ShownReading> as_found_at(const PageView& view, std::size_t speed, std::size_t sensor,
                                        Component component) {
  const std::size_t run = view.verdict ? view.verdict->run : view.job.runs.size();
  const auto read = read_as_found(view.job, run, speed, sensor, component);
  if (!read) return std::nullopt;
  const Sensor& of = view.rotor().sensors[sensor];
  return read->x ? shown(of, *read->x, view.rotor().phase)
                 : ShownReading{of.unit.shown_from_peak(read->amplitude), std::nan("")};
}

/// A place to run: what is expected, where something predicts it, and what was read.
SheetLevel level_at(const PageView& view, const ExpectedReading& one, Component component) {
  const Sensor& sensor = view.rotor().sensors[one.sensor];
  const bool once = component == Component::once_per_rev;
  const PageRow* row = once ? view.row_at(one.speed, one.sensor) : nullptr;
  const auto seen = [&](const std::optional<double>& peak) {
    return peak ? std::optional(sensor.unit.shown_from_peak(*peak)) : std::nullopt;
  };
  const Measured measured = measured_at(view, one.speed, one.sensor, component);
  SheetLevel level{speed_words(view.job, one.speed), sensor.name, sensor.unit.text(), !once};
  level.as_found = as_found_at(view, one.speed, one.sensor, component);
  if (row) {
    level.now = row->before;
    level.expected = row->after;
    level.differs_by = row->differs_by;
  }
  level.measured = measured.cell;
  level.limit = seen(one.stop_above);
  level.target = seen(one.target);
  level.result = measured.result;
  return level;
}

void add_levels(const PageView& view, BalanceSheet& sheet) {
  const auto wanted = readings_to_make(view.job);
  const auto overall_wanted = [&](const ExpectedReading& at) {
    return std::any_of(wanted.begin(), wanted.end(), [&](const PlaceToRead& one) {
      return one.speed == at.speed && one.sensor == at.sensor && one.component == Component::overall;
    });
  };
  for (const auto& one : view.plan.expected) {
    sheet.levels.push_back(level_at(view, one, Component::once_per_rev));
    if (view.verdict ? !measured_at(view, one.speed, one.sensor, Component::overall).cell.words.empty()
                     : overall_wanted(one))
      sheet.levels.push_back(level_at(view, one, Component::overall));
  }
}

/// What was fitted before the weights of this sheet.
const std::vector<FittedWeights>& fitted_before(const PageView& view) {
  return view.verdict ? fitted_as_found(view.job, view.verdict->run) : view.job.fitted_now;
}

/// What the planes hold with the plan carried out, and what changes until then.
void add_planes(const PageView& view, const std::vector<FittedWeights>& before, BalanceSheet& sheet) {
  for (std::size_t p = 0; p < view.fitted.size(); ++p)
    sheet.planes.push_back(sheet_plane(view.rotor().planes[p], view.fitted[p], content_words));
  for (const auto& change : changes_between(view.rotor(), before, view.fitted)) {
    const Plane& plane = view.rotor().planes[change.plane];
    const Weight* weight = catalogue_weight(plane, change.fit);
    const auto position = slot_position(view.rotor(), plane, change.slot);
    sheet.changes.push_back({plane.name, change.slot, position.angle.degrees(), position.blade,
                             content_words(plane, change.remove), content_words(plane, change.fit),
                             weight ? weight->part_number : ""});
  }
}

/// What each weight is that the sheet and its drawings name: the record's sheet, whose tables are the same,
/// knows names alone.
Markup weights_named(const PageView& view, const std::vector<FittedWeights>& before) {
  std::vector<std::string> named;
  for (std::size_t p = 0; p < view.fitted.size(); ++p) {
    const Plane& plane = view.rotor().planes[p];
    const auto marks = weight_marks(plane);
    for (std::size_t w = 0; w < plane.weights.size(); ++w) {
      const Weight& weight = plane.weights[w];
      const auto holds = [&](const FittedWeights& fitted) {
        return std::any_of(fitted.slots.begin(), fitted.slots.end(),
                           [&](const auto& one) { return one.second.weight_id == weight.id; });
      };
      if (!holds(view.fitted[p]) && !holds(before[p])) continue;
      named.push_back(fmt::format("{} {}{}: {}", plane.name, weight.id,
                                  marks[w] == weight.id ? "" : " (marked " + marks[w] + ")",
                                  weight.size_words()));
    }
  }
  return named.empty() ? Markup()
                       : element("p", {}, fmt::format("Weights named here: {}.", fmt::join(named, "; ")));
}

/// Of two planes both, of more those that change.
Markup maps(const PageView& view) {
  Markup drawings;
  const auto& planes = view.rotor().planes;
  const auto changes = [&](std::size_t p) {
    return std::any_of(view.plan.changes.begin(), view.plan.changes.end(),
                       [&](const SlotChange& change) { return change.plane == p; });
  };
  for (std::size_t p = 0; p < planes.size(); ++p)
    if (planes.size() < 3 || changes(p)) drawings += element("div", {}, plane_drawing(view, p, "sheet"));
  return element("div", {{"class", "sheet-maps"}}, drawings) + slot_map_legend();
}

BalanceSheet sheet_of(const PageView& view) {
  const Job& job = view.job;
  BalanceSheet sheet;
  sheet.rotor = job.rotor.name;
  sheet.serial = job.serial;
  sheet.job = job.title;
  sheet.station = job.station;
  sheet.phase = convention_words(job.rotor.phase);
  sheet.angles_from = zero_words(job.rotor);
  sheet.warnings = model_warnings(job, view.model);
  sheet.cautions = view.plan.cautions;
  add_levels(view, sheet);
  if (view.verdict) {
    const Run& run = job.runs[view.verdict->run];
    sheet.made = true;
    sheet.run = run.name;
    sheet.date = run.conditions.when;
    sheet.made_by = run.conditions.who;
    sheet.conditions.assign(run.conditions.other.begin(), run.conditions.other.end());
    sheet.verdict = {verdict_words(*view.verdict)};
  } else {
    sheet.verdict = {
        "Expected: " + expected_words(view.trim.predictions, view.trim.not_predicted.size()) + ".",
        "Measured after: not yet. Write the readings down above."};
  }
  add_planes(view, fitted_before(view), sheet);
  return sheet;
}

/// What is told where no slot changes: why, or the moments of planes without slots.
Markup nothing_changes(const PageView& view) {
  if (view.trim.has_slots()) return element("p", {}, element("b", {}, view.plan.steps.front().instruction));
  Markup items;
  for (const auto& part : view.trim.correction.parts)
    items += element("li", {},
                     fmt::format("☐ {}: add {} at {}", view.rotor().planes[part.plane].name,
                                 moment_words(std::abs(part.moment_to_add)),
                                 angle_position(view.rotor(), RotorAngle::of(part.moment_to_add)).text()));
  return element("h3", {}, "Moments to add to what is fitted now") + element("ul", {}, items);
}

Markup cell_markup(SheetColumn::Kind kind, const std::string& words) {
  constexpr const char* classes[] = {"", "number", "unit", "number write", "box", "line"};
  if (kind == SheetColumn::Kind::words) return element("td", {}, words);
  return element("td", {{"class", classes[static_cast<std::size_t>(kind)]}}, words);
}

Markup table_markup(const SheetPart& part) {
  std::vector<PageColumn> columns;
  for (const auto& column : part.columns)
    columns.push_back({column.words, column.kind == SheetColumn::Kind::number});
  Markup rows;
  for (const auto& row : part.rows) {
    Markup cells = element("th", {{"scope", "row"}}, row[0].words);
    for (std::size_t c = 1; c < row.size(); ++c) cells += cell_markup(part.columns[c].kind, row[c].words);
    rows += element("tr", {}, cells);
  }
  return page_table(part.heading, columns, rows);
}

Markup entries_markup(const SheetPart& part) {
  Markup list;
  for (const auto& row : part.rows)
    list += element("div", {},
                    element("dt", {}, row[0].words) +
                        element("dd", {{"class", row[1].words.empty() ? "line" : "known"}}, row[1].words));
  const Markup entries = element("dl", {{"class", "particulars"}}, list);
  return part.heading.empty() ? entries : element("h3", {}, part.heading) + entries;
}

Markup part_markup(const SheetPart& part) {
  Markup set;
  std::vector<std::string> lines;
  switch (part.kind) {
    case SheetPart::Kind::entries:
      set = entries_markup(part);
      break;
    case SheetPart::Kind::table:
      set = table_markup(part);
      break;
    case SheetPart::Kind::points:
      for (const auto& row : part.rows) lines.push_back(row[0].words);
      set = listed_under("h3", part.heading, lines);
      break;
    case SheetPart::Kind::sentences:
      set = element("h3", {}, part.heading);
      for (const auto& row : part.rows) set += element("p", {}, row[0].words);
  }
  if (!part.note.empty()) set += element("p", {}, part.note);
  return part.key == "level" ? set : element("div", {{"class", "keep"}}, set);
}

}  // namespace

Markup page_sheet(const PageView& view) {
  Markup parts, attested;  // what is signed stands with its signatures
  const BalanceSheet sheet = sheet_of(view);
  const auto& before = fitted_before(view);
  for (auto& part : sheet_parts(sheet)) {
    const bool nothing_fitted = sheet.changes.empty() && view.trim.has_slots();
    if (part.key == "signature" && nothing_fitted)  // nobody signs for fitting nothing
      part.rows.erase(part.rows.begin(), part.rows.begin() + 2);
    if (part.key == "fitted" && sheet.changes.empty()) attested += nothing_changes(view);
    if (part.key == "weight" || part.key == "fitted" || part.key == "entry" || part.key == "signature")
      attested += part_markup(part);
    else if (part.key == "caution")
      parts += element("div", {{"class", "only-print"}}, part_markup(part));
    else
      parts += part_markup(part);
    if (part.key == "fitted")
      attested += weights_named(view, before) + element("div", {{"class", "keep"}}, maps(view));
  }
  return paper(view.job, "sheet", "first", "Trim sheet", sheet.date,
               parts + element("div", {{"class", "keep"}}, attested) +
                   (view.verdict == nullptr ? steps_on_paper(view.plan) : Markup()));
}

}  // namespace trimwright
