#include "odd_entries.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <map>

#include "base/date.hpp"

namespace trimwright {
namespace {

using Concern = ReadinessConcern;
using PlaceKey = std::pair<std::size_t, std::size_t>;  // speed, sensor

/// One digit written for another, left out or doubled, or two exchanged.
bool a_digit_apart(double one, double other) {
  std::string a = std::to_string(std::lround(one)), b = std::to_string(std::lround(other));
  if (a.size() > b.size()) std::swap(a, b);
  if (a.size() + 1 == b.size()) {
    for (std::size_t i = 0; i < b.size(); ++i)
      if (std::string(b).erase(i, 1) == a) return true;
    return false;
  }
  if (a.size() != b.size()) return false;
  std::vector<std::size_t> unlike;
  for (std::size_t i = 0; i < a.size(); ++i)
    if (a[i] != b[i]) unlike.push_back(i);
  if (unlike.size() == 1) return true;
  return unlike.size() == 2 && a[unlike[0]] == b[unlike[1]] && a[unlike[1]] == b[unlike[0]];
}

/// The same, of some speed that stands for the point at `point`.
bool mistyped_for(const Job& job, double rpm, double point) {
  const double reach = job.rotor.speed_tolerance_rpm;
  for (double meant = std::ceil(point - reach); meant <= std::max(point + reach, point); meant += 1.0)
    if (a_digit_apart(rpm, meant)) return true;
  return a_digit_apart(rpm, point);
}

/// The numbers of a text, and the text without them.
std::pair<std::vector<double>, std::string> numbers_of(const std::string& text) {
  std::pair<std::vector<double>, std::string> parts;
  for (std::size_t i = 0; i < text.size();) {
    if (text[i] < '0' || text[i] > '9') {
      parts.second += text[i++];
      continue;
    }
    char* end = nullptr;
    parts.first.push_back(std::strtod(text.c_str() + i, &end));
    i = static_cast<std::size_t>(end - text.c_str());
  }
  return parts;
}

/// Whether two conditions are worded alike and no number is more than twice the other.
bool much_alike(const std::string& one, const std::string& other) {
  const auto [a, text_a] = numbers_of(one);
  const auto [b, text_b] = numbers_of(other);
  return text_a == text_b && std::equal(a.begin(), a.end(), b.begin(), b.end(), [](double x, double y) {
           return std::max(x, y) <= 2.0 * std::min(x, y);
         });
}

}  // namespace

void judge_speeds(const Job& job, const std::vector<std::size_t>& runs,
                  std::vector<ReadinessFinding>& findings) {
  std::map<PlaceKey, double> made;  // [rpm]
  std::map<PlaceKey, std::vector<std::size_t>> by;
  for (const std::size_t r : runs)
    for (const auto& one : job.runs[r].readings) {
      made[{one.speed, one.sensor}] = one.rpm;
      auto& in = by[{one.speed, one.sensor}];
      if (in.empty() || in.back() != r) in.push_back(r);
    }
  if (runs.size() < 2) return;
  for (const auto& [place, in] : by) {
    if (in.size() != 1) continue;
    for (const auto& [other, others] : by) {
      if (other.second != place.second || other.first == place.first ||
          std::find(others.begin(), others.end(), in.front()) != others.end())
        continue;
      if (!mistyped_for(job, made[place], job.speeds_rpm[other.first])) continue;
      const std::string meant = speed_words(job, other.first);
      const auto told =
          std::find_if(findings.begin(), findings.end(), [&, s = place.first, &r = in](const auto& one) {
            return one.concern == Concern::lone_speed && one.speed == s && one.runs == r && one.what == meant;
          });
      if (told == findings.end())
        findings.push_back({Concern::lone_speed, place.first, place.second, in, 0.0, 0.0, meant});
      else
        told->sensor.reset();  // of more sensors than one
    }
  }
}

void judge_conditions(const Job& job, const std::vector<std::size_t>& runs,
                      std::vector<ReadinessFinding>& findings) {
  const auto& first = job.runs[runs.front()].conditions;
  const auto& matters = job.conditions_that_matter;
  const auto is_named = [&](const std::string& name) {
    return std::find(matters.begin(), matters.end(), name) != matters.end();
  };
  const auto tell = [&](const std::vector<std::size_t>& of, const std::string& what) {
    findings.push_back({Concern::other_conditions, {}, {}, of, 0.0, 0.0, what});
  };
  for (const std::size_t r : runs) {
    const auto& now = job.runs[r].conditions;
    for (const auto& [name, value] : now.other)
      for (const auto& [known, before] : first.other)
        if (name == known &&
            (matters.empty() ? !much_alike(value, before) : value != before && is_named(name)))
          tell({runs.front(), r}, name + ": " + before + " and " + value);
    for (const auto& name : matters)
      if (std::none_of(now.other.begin(), now.other.end(),
                       [&](const auto& one) { return one.first == name; }))
        tell({r}, name + " is not said");
    const auto then = day_of(first.when), day = day_of(now.when);
    if (then && day && *day - *then > std::chrono::days(30))
      tell({runs.front(), r}, std::to_string((*day - *then).count()) + " days apart");
  }
}

void judge_lists(const Job& job, const std::vector<std::size_t>& runs,
                 std::vector<ReadinessFinding>& findings) {
  const auto& first = job.runs[runs.front()].fitted;
  for (std::size_t k = 1; k < runs.size(); ++k) {
    const auto& fitted = job.runs[runs[k]].fitted;
    std::string gone;
    std::size_t kept = 0;
    bool adds = false, again = false;
    for (std::size_t p = 0; p < fitted.size(); ++p) {
      for (const auto& [slot, piece] : first[p].slots) {
        kept += fitted[p].slots.contains(slot);
        if (fitted[p].slots.contains(slot)) continue;
        gone += (gone.empty() ? "" : ", ") + piece_words(piece, "the ") + " in " + job.rotor.planes[p].name +
                " slot " + std::to_string(slot);
        const auto lists = [p, at = slot, &was = piece](const std::vector<FittedWeights>& then) {
          return held(then[p], at) == was;
        };
        again |= lists(job.fitted_now);
        for (std::size_t later = k + 1; later < runs.size(); ++later)
          again |= lists(job.runs[runs[later]].fitted);
      }
      for (const auto& [slot, piece] : fitted[p].slots) adds |= !first[p].slots.contains(slot);
    }
    if (adds && !gone.empty() && (again || kept == 0))
      findings.push_back({Concern::no_longer_listed, {}, {}, {runs[k]}, 0.0, 0.0, gone});
  }
}

}  // namespace trimwright
