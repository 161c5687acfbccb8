#include "plan_parts.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "convention_words.hpp"
#include "text_table.hpp"

namespace trimwright {

using Align = TextTable::Align;

std::string title_lines(const Job& job, const std::string& title) {
  std::string text = title + "\n" + std::string(title.size(), '=') + "\n";
  text += "Rotor: " + job.rotor.name + (job.serial.empty() ? "" : ", serial " + job.serial) + "\n";
  if (!job.title.empty()) text += "Job: " + job.title + "\n";
  if (!job.station.empty()) text += "Station: " + job.station + "\n";
  return text;
}

std::string headline(const Job& job, const std::string& what) {
  return title_lines(job, what) +
         wrapped("", fmt::format("Angles are rotor angles, with rotation, from the {}; {}",
                                 zero_words(job.rotor), phase_sentence(job.rotor.phase)));
}

std::string missing_lines(const NextSteps& next) {
  if (next.missing.empty()) return {};
  std::string text = section("WHAT IS MISSING, IN ORDER");
  for (std::size_t i = 0; i < next.missing.size(); ++i)
    text += wrapped(fmt::format("  {}. ", i + 1), next.missing[i]);
  return text;
}

std::string section(const std::string& title) { return "\n" + title + "\n"; }

std::string caution_lines() {
  std::string text = section("CAUTION");
  for (const auto& caution : cautions()) text += wrapped("  ! ", caution);
  return text;
}

std::string points_below(const std::string& title, const std::vector<std::string>& points) {
  std::string text = points.empty() ? "" : section(title);
  for (const auto& point : points) text += wrapped("  * ", point);
  return text;
}

std::string warning_lines(const std::vector<std::string>& warnings) {
  return points_below("BEFORE YOU TRUST THIS", warnings);
}

std::string step_lines(const BalancePlan& plan) {
  std::string text = section("STEPS");
  int number = 0;
  for (const auto& step : plan.steps) {
    text += wrapped(fmt::format("  {:2}. ", ++number), step.instruction);
    for (const auto& line : step.particulars) text += wrapped("      - ", line);
    if (step.sign) text += "      Done by: ____________________\n";
  }
  return text;
}

std::string change_table(const Job& job, const std::vector<SlotChange>& changes, std::size_t width) {
  if (changes.empty()) return "  No slot changes.\n";
  TextTable table({{"plane", Align::left},
                   {"slot", Align::right},
                   {"take out", Align::left},
                   {"put in", Align::left},
                   {"angle", Align::right},
                   {"blades", Align::left}});
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    const auto position = slot_position(job.rotor, plane, change.slot);
    table.add({plane.name, std::to_string(change.slot), content_words(plane, change.remove),
               content_words(plane, change.fit), angle_words(position.angle.degrees()), position.blade});
  }
  table.leave_out_if_empty("blades");
  return table.text(width);
}

std::string staying_words(const Job& job, const std::vector<SlotChange>& changes) {
  constexpr std::size_t most_named = 6;
  std::vector<std::string> stays;
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    for (const auto& [slot, piece] : job.fitted_now[p].slots)
      if (std::none_of(changes.begin(), changes.end(),
                       [&, at = slot](const SlotChange& one) { return one.plane == p && one.slot == at; }))
        stays.push_back(fmt::format("{} slot {} ({})", job.rotor.planes[p].name, slot, piece_words(piece)));
  if (stays.empty()) return {};
  return "Do not take out, it stays in: " +
         (stays.size() > most_named ? fmt::format("all else that is fitted, {} pieces", stays.size())
                                    : fmt::format("{}", fmt::join(stays, ", "))) +
         ".";
}

}  // namespace trimwright
