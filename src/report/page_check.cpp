#include "page_check.hpp"

#include <fmt/format.h>

#include "base/text.hpp"
#include "page_tables.hpp"

namespace trimwright {
namespace {

Markup read_beside_expected(const PageView& view) {
  Markup rows;
  for (const auto& one : view.verdict->readings) {
    if (one.component != Component::once_per_rev) continue;
    const Sensor& sensor = view.rotor().sensors[one.sensor];
    const auto number = [](const std::string& words) { return element("td", {{"class", "number"}}, words); };
    const auto peak = [&](const std::optional<double>& value) {
      return number(value ? amplitude_words(sensor.unit.shown_from_peak(*value)) : "–");
    };
    rows += element(
        "tr", {},
        element("th", {{"scope", "row"}}, speed_words(view.job, one.speed)) + element("td", {}, sensor.name) +
            number(reading_words(as_read(sensor, one, view.rotor().phase))) +
            number(one.expected ? phasor_words(sensor, *one.expected, view.rotor().phase) : "not predicted") +
            peak(one.away()) + peak(one.differs_by) + element("td", {}, row_words(one)));
  }
  for (const auto& one : view.verdict->missing)
    rows += element("tr", {},
                    element("th", {{"scope", "row"}}, speed_words(view.job, one.speed)) +
                        element("td", {},
                                view.rotor().sensors[one.sensor].name +
                                    (one.component == Component::overall ? ", overall level" : "")) +
                        element("td", {{"class", "number"}}, not_read) + element("td") + element("td") +
                        element("td") + element("td", {}, missing_result));
  return page_table(
      "Read beside expected (away: from tip to tip of the two arrows; a reading further away than “differs "
      "by” differs)",
      {{"speed"},
       {"sensor"},
       {"read", true},
       {"expected", true},
       {"away", true},
       {"differs by", true},
       {"result"}},
      rows);
}

/// The likeliest ways in which it may have come about, and what to look at for each.
Markup likely_mistakes(const PageView& view) {
  const MistakeRanking& ranking = view.verdict->mistakes;
  if (ranking.kinds.empty() || ranking.as_predicted()) return {};
  Markup items;
  for (const std::size_t i : shown_mistakes(ranking)) {
    const auto& one = ranking.kinds[i];
    const std::string remedy = mistake_remedy(one.kind, one.run == view.verdict->run);
    items += element(
        "li", {},
        element("b", {}, mistake_words(view.job, one)) +
            Markup::text(": " + percent_words(one.probability) + "." + (remedy.empty() ? "" : " " + remedy)));
  }
  const std::string told =
      ranking.not_told_apart > 1
          ? fmt::format("The readings do not tell the first {} from each other.", ranking.not_told_apart)
          : "";
  return element("h3", {}, "What may have gone wrong, the likeliest first") + element("ol", {}, items) +
         (told.empty() ? Markup() : element("p", {}, told));
}

}  // namespace

Markup check_part(const PageView& view) {
  Markup next;
  for (const auto& sentence : advice_words(view.job, *view.verdict)) next += element("p", {}, sentence);
  return element("h3", {}, "What to do next") + next + likely_mistakes(view) + read_beside_expected(view);
}

}  // namespace trimwright
