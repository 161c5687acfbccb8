#include "trend_text.hpp"

#include <fmt/format.h>

#include "base/text.hpp"
#include "plan_parts.hpp"
#include "text_table.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

/// What changed, place by place.
std::string change_table(const TrendSpell& spell, const TrendChange& change) {
  TextTable table({{"place", Align::left},
                   {"before", Align::right},
                   {"after", Align::right},
                   {"changed by", Align::right},
                   {"of limit", Align::right}});
  for (const auto& one : change.places) {
    const Place& place = spell.places[one.place].place;
    const Sensor& sensor = spell.job.rotor.sensors[place.sensor];
    const auto words = [&](Phasor x) { return phasor_words(sensor, x, spell.job.rotor.phase); };
    table.add({one_line(place_words(spell.job, place.speed, place.sensor)), words(one.before),
               words(one.after),
               fmt::format("{} ± {}",
                           amplitude_words(sensor.unit.shown_from_peak(std::abs(one.after - one.before))),
                           amplitude_words(sensor.unit.shown_from_peak(one.sd))),
               fmt::format("{:.0f} %", 100.0 * one.share_of_limit)});
  }
  return table.text();
}

std::string readings_table(const TrendSpell& spell, const TrendPlace& place) {
  const Sensor& sensor = spell.job.rotor.sensors[place.place.sensor];
  TextTable table({{"date", Align::left},
                   {"read", Align::right},
                   {"expected", Align::right},
                   {"off by", Align::right},
                   {"±", Align::right},
                   {"note", Align::left}});
  for (std::size_t t = 0; t < place.readings.size(); ++t) {
    const TrendReading& one = place.readings[t];
    if (!one.x) continue;
    const auto amplitude = [&](double peak) { return amplitude_words(sensor.unit.shown_from_peak(peak)); };
    table.add({spell.dates[t].when, phasor_words(sensor, *one.x, spell.job.rotor.phase),
               one.expected ? phasor_words(sensor, *one.expected, spell.job.rotor.phase) : "-",
               one.expected ? amplitude(std::abs(*one.x - *one.expected)) : "-",
               one.expected ? amplitude(one.sd) : "-", one_line(spell.dates[t].note)});
  }
  table.leave_out_if_empty("note");
  return table.text();
}

std::string spell_text(const TrendSpell& spell) {
  const std::string since = spell.trim.empty() ? "Before any trim" : "Since " + spell.trim;
  std::string text = wrapped("", one_line(since) + ": " + counted(spell.dates.size(), "date") + ", " +
                                     spell.dates.front().when + " to " + spell.dates.back().when + ". " +
                                     one_line(basis_words(spell)));
  for (const auto& [sensor, times] : spell.scatter)
    text += wrapped("  * ", fmt::format("Sensor \"{}\" scatters {:.2g} times as much from date to date as "
                                        "is stated: so much is allowed for.",
                                        one_line(sensor), times));
  for (const auto& note : spell.notes) text += wrapped("  * ", one_line(note));
  if (spell.changes.empty()) text += "\nNothing changed.\n";
  for (const auto& change : spell.changes) {
    text += "\n" + wrapped("  ! ", one_line(change_words(change)));
    text += wrapped("    ", one_line(significance_words(change))) + change_table(spell, change);
  }
  for (const auto& place : spell.places)
    text += "\n" +
            wrapped("", one_line(place_words(spell.job, place.place.speed, place.place.sensor)) + ", " +
                            spell.job.rotor.sensors[place.place.sensor].unit.text()) +
            readings_table(spell, place);
  return text;
}

}  // namespace

std::string trend_text(const Trend& trend) {
  std::string text = wrapped("", "Trend of " + one_line(trend.rotor) + ", serial " + one_line(trend.serial)) +
                     wrapped("", trend_words(trend));
  for (const auto& spell : trend.spells) text += "\n" + spell_text(spell);
  text += "\n" + wrapped("", "±: one standard deviation of a reading about what is expected, a component.");
  return text + caution_lines();
}

}  // namespace trimwright
