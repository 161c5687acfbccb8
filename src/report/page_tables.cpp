#include "page_tables.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "convention_words.hpp"

namespace trimwright {
namespace {

Markup cell(const std::string& words) { return element("td", {}, words); }
Markup unit_cell(const Sensor& sensor) { return element("td", {{"class", "unit"}}, sensor.unit.text()); }
Markup number_cell(const std::string& words) { return element("td", {{"class", "number"}}, words); }

std::string or_dash(const std::optional<double>& value) { return value ? amplitude_words(*value) : "–"; }

Markup live_cell(std::string_view css_class, const std::string& words) {
  return element("td", {{"class", css_class}}, words);
}

std::string nine_in_ten_words(const Sensor& sensor, const PageView& view, const PageRow& row) {
  const auto& reading = view.trim.predictions[view.number(row)].reading;
  return reading ? amplitude_words(sensor.unit.shown_from_peak(reading->low)) + "-" +
                       amplitude_words(sensor.unit.shown_from_peak(reading->high))
                 : "?";
}

/// A place to run; one that nothing predicts is to be watched.
Markup expected_row(const PageView& view, const ExpectedReading& one) {
  const Sensor& sensor = view.rotor().sensors[one.sensor];
  const PageRow* row = view.row_at(one.speed, one.sensor);
  const auto level = [&](const std::optional<double>& peak) {
    return number_cell(or_dash(peak ? std::optional(sensor.unit.shown_from_peak(*peak)) : std::nullopt));
  };
  const Markup place =
      element("th", {{"scope", "row"}}, speed_words(view.job, one.speed)) + cell(sensor.name);
  const Markup levels = level(one.stop_above) + level(one.target) + unit_cell(sensor);
  if (row == nullptr)
    return element("tr", {},
                   place + number_cell("not known") + cell("watch it") + number_cell("–") + number_cell("?") +
                       element("td", {{"class", "number plan-only"}}, "?") + number_cell("?") + levels);
  return element(
      "tr", {{"data-row", view.number(*row)}},
      place + live_cell("number live after", reading_words(row->after)) +
          live_cell("live result", level_words(row->after.amplitude, row->limit, row->target)) +
          number_cell(reading_words(row->before)) +
          live_cell("number live sd", row->after_sd ? amplitude_words(*row->after_sd) : "?") +
          element("td", {{"class", "number plan-only"}}, nine_in_ten_words(sensor, view, *row)) +
          live_cell("number live differs", row->differs_by ? amplitude_words(*row->differs_by) : "?") +
          levels);
}

}  // namespace

Markup page_table(const std::string& caption, const std::vector<PageColumn>& columns, const Markup& rows) {
  Markup head;
  for (const auto& column : columns)
    head += element("th",
                    {{"scope", "col"}, {"class", (column.number ? "number " : "words ") + column.css_class}},
                    column.words);
  const Markup table =
      element("table", {},
              element("caption", {}, caption) + element("thead", {}, element("tr", {}, head)) +
                  element("tbody", {}, rows));
  return element("div", {{"class", "scroll"}, {"role", "region"}, {"tabindex", "0"}, {"aria-label", caption}},
                 table);
}

Markup expected_table(const PageView& view) {
  Markup rows;
  for (const auto& one : view.plan.expected) rows += expected_row(view, one);
  return page_table(
      "Expected in the next run (amplitude ∠ phase " + convention_words(view.rotor().phase) + ")",
      {{"speed"},
       {"sensor"},
       {"expected", true},
       {"result"},
       {"now (fit)", true},
       {"±", true},
       {"9 in 10", true, "plan-only"},
       {"differs by", true},
       {"limit", true},
       {"target", true},
       {"unit"}},
      rows);
}

Markup influence_table(const PageView& view) {
  Markup rows;
  for (const auto& row : view.model.rows) {
    const Sensor& sensor = view.rotor().sensors[row.sensor];
    for (std::size_t p = 0; p < view.model.planes.size(); ++p) {
      const auto seen =
          shown(sensor, 1000.0 * row.coefficients(static_cast<Eigen::Index>(p)), view.rotor().phase);
      const auto sd = coefficient_sd(view.model, row, p);
      rows += element("tr", {},
                      element("th", {{"scope", "row"}}, view.rotor().planes[view.model.planes[p]].name) +
                          cell(speed_words(view.job, row.speed)) + cell(sensor.name) +
                          number_cell(reading_words(seen)) +
                          number_cell(sd ? amplitude_words(1000.0 * sensor.unit.shown_from_peak(*sd)) : "?") +
                          unit_cell(sensor));
    }
  }
  return page_table("Influence of each plane: vibration added by 1000 g mm at rotor angle 0",
                    {{"plane"}, {"speed"}, {"sensor"}, {"amplitude ∠ phase", true}, {"±", true}, {"unit"}},
                    rows);
}

Markup trade_off_table(const PageView& view) {
  Markup rows;
  for (std::size_t i = 0; i < view.trim.trade_off.size(); ++i) {
    const auto& row = view.trim.trade_off[i];
    std::string remark = row.recommended ? "recommended" : "";
    if (i == view.trim.chosen) remark += remark.empty() ? "this plan" : ", this plan";
    rows += element(
        "tr", {},
        element("th", {{"scope", "row"}}, std::to_string(row.changes.size())) +
            number_cell(fmt::format("{:.3f}", row.worst_ratio)) + cell(proof_words(view.trim, row)) +
            number_cell(row.outlook ? percent_words(row.outlook->meets_targets) : "?") + cell(remark));
  }
  return page_table(
      "Fewer or more slots changed",
      {{"slots changed"}, {"largest / limit", true}, {"proved"}, {"chance of all targets", true}, {"remark"}},
      rows);
}

}  // namespace trimwright
