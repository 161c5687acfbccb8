#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "check/run_comparison.hpp"
#include "trend.hpp"

namespace trimwright {
namespace {

/// Whether a cause is the rotor's or the measuring chain's.
std::string side_words(MistakeKind cause) {
  if (mistake_of(cause) == MistakeOf::rotor) return "; the rotor, not the sensor";
  return mistake_of(cause) == MistakeOf::measuring ? "; what measures, not the rotor" : "";
}

std::string shares_words(double share) { return fmt::format("{:.0f} %", 100.0 * share); }

}  // namespace

std::string kind_words(SeriesChange::Kind kind) {
  switch (kind) {
    case SeriesChange::Kind::step:
      return "a step";
    case SeriesChange::Kind::lone:
      return "off for a while, then as before";
    case SeriesChange::Kind::last_alone:
      return "the last date alone";
    case SeriesChange::Kind::gradual:
      return "little by little";
  }
  return {};
}

std::string kind_name(SeriesChange::Kind kind) {
  switch (kind) {
    case SeriesChange::Kind::step:
      return "step";
    case SeriesChange::Kind::lone:
      return "lone";
    case SeriesChange::Kind::last_alone:
      return "last_alone";
    case SeriesChange::Kind::gradual:
      return "gradual";
  }
  return {};
}

std::string change_words(const TrendChange& change) {
  using enum SeriesChange::Kind;
  const std::string until =
      change.before.empty() ? "before " + change.first : "between " + change.before + " and " + change.first;
  std::string when;
  switch (change.kind) {
    case step:
      when = "A step " + until;
      break;
    case lone:
      when = change.first == change.last
                 ? "Off on " + change.first + " alone, and as before since"
                 : "Off from " + change.first + " to " + change.last + ", and as before since";
      break;
    case last_alone:
      when = "The last date, " + change.first + ", is off";
      break;
    case gradual:
      when = "Little by little from " + change.first + " to " + change.last;
      break;
  }
  const std::string likely =
      names_a_cause(change.cause)
          ? fmt::format("likeliest, {}: {}", percent_words(change.probability), change.what)
          : change.what;
  return fmt::format("{} (found on {}, by {}): {}{}.", when, change.found,
                     change.by_one_date ? "that date alone" : "the sum of several dates", likely,
                     side_words(change.cause));
}

std::string significance_words(const TrendChange& change) {
  std::string words = fmt::format(
      "The largest change is {} of a limit: {} by the rule of ISO 20816-1 ({} of a boundary; here of the "
      "limit). The maker's manual goes before it.",
      shares_words(change.largest_share), change.significant() ? "significant" : "not significant",
      shares_words(significant_share));
  if (change.kind == SeriesChange::Kind::last_alone)
    words += " One date may be wrong: read once more before anything is done.";
  if (const auto remedy = mistake_remedy(change.cause); !remedy.empty()) words += " " + remedy;
  const bool stayed = change.kind == SeriesChange::Kind::step || change.kind == SeriesChange::Kind::gradual;
  if (const auto event = event_key(change.cause); stayed && !event.empty())
    words += std::string(" If that is what happened, a job that holds runs from before it") +
             (change.cause == MistakeKind::rotor_changed ? "" : ", or takes a prior,") +
             " says so at its first run since: before: [" + event + "].";
  return words;
}

std::string trend_words(const Trend& trend) {
  std::size_t dates = 0, changes = 0, significant = 0;
  for (const auto& spell : trend.spells) {
    dates += spell.dates.size();
    changes += spell.changes.size();
    for (const auto& change : spell.changes)
      if (change.significant()) ++significant;
  }
  const std::string of = " on " + counted(dates, "date") + " of readings";
  if (changes == 0) return "Nothing changed" + of + ".";
  if (changes == 1)
    return "1 change" + of + ", and " + (significant == 1 ? "it is" : "not") + " significant.";
  return counted(changes, "change") + of + ", " + (significant == 0 ? "none" : std::to_string(significant)) +
         " of them significant.";
}

std::string basis_words(const TrendSpell& spell) {
  return spell.foretold ? "Expected is what the runs of " + spell.trim +
                              " foretell, and since then the mean of what was read."
                        : "Expected is the mean of what was read before.";
}

}  // namespace trimwright
