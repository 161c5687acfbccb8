#include <chrono>

#include "base/date.hpp"
#include "base/text.hpp"
#include "record_content.hpp"

namespace trimwright {
namespace {

/// Days before the filing that a check run may have been made without a word.
constexpr int days_without_a_word = 366;

}  // namespace

Result<std::string> filing_date(const std::string& what, const std::string& when,
                                const FilingDetails& details) {
  const std::string date = when.substr(0, 10);
  const auto day = day_of(when), today = day_of(details.filed_at);
  if (!day)
    return fail(when.empty() ? what + " does not say when it was made"
                             : what + " was made at \"" + shortened(when) + "\", which begins with no date",
                "\"when: 2031-05-12 14:20\" of that run");
  if (!details.dated.empty() && details.dated != date)
    return fail("--dated says " + shortened(details.dated) + ", " + what + " was made on " + date,
                "the same date in both");
  const bool usual = today && *day <= *today + std::chrono::days(1) &&
                     *day >= *today - std::chrono::days(days_without_a_word);
  if (usual || !details.dated.empty()) return date;
  return fail(what + " was made on " + date + ", and today is " + details.filed_at.substr(0, 10),
              "its right date, or --dated " + date + " where that is right");
}

namespace {

/// The day, and the time of day where both tell it.
bool made_before(const std::string& one, const std::string& other) {
  if (!day_of(one) || !day_of(other)) return false;
  const auto time = [](const std::string& when) {
    return when.size() >= 16 && when[13] == ':' ? when.substr(11, 5) : std::string{};
  };
  const int days = one.compare(0, 10, other, 0, 10);
  if (days != 0 || time(one).empty() || time(other).empty()) return days < 0;
  return time(one) < time(other);
}

}  // namespace

Result<void> check_made_in_order(const Job& job, std::size_t check_run) {
  const Run& check = job.runs[check_run];
  for (std::size_t r = 0; r < check_run; ++r) {
    const Run& run = job.runs[r];
    if (!made_before(check.conditions.when, run.conditions.when)) continue;
    return fail(fmt::format("the check run \"{}\" was made at {}, before run \"{}\", which was made at {}",
                            shortened(check.name), shortened(check.conditions.when), shortened(run.name),
                            shortened(run.conditions.when)),
                "the right \"when\" of both runs: the check run is made after the runs before it");
  }
  return {};
}

}  // namespace trimwright
