#include "next_steps.hpp"

#include <algorithm>

#include "base/text.hpp"
#include "used_runs.hpp"

namespace trimwright {
namespace {

void lacks_of_rotor(const Rotor& rotor, std::vector<std::string>& missing) {
  if (!rotor.to_confirm.empty())
    missing.push_back(
        "Compare with the maker's manual and put right in the rotor file what is open or only assumed: " +
        listed_to_confirm(rotor) + ". Then take the words off its list to_confirm.");
  for (const auto& plane : rotor.planes)
    if (plane.slots && plane.weights.empty())
      missing.push_back("List in the rotor file the weights that plane " + plane.name +
                        " takes, with their stock.");
}

}  // namespace

bool called_trial(const Run& run) { return lower_case(run.name).find("trial") != std::string::npos; }

std::string listed_to_confirm(const Rotor& rotor) {
  std::string words;
  for (const auto& one : rotor.to_confirm) words += (words.empty() ? "" : ", ") + one;
  return words;
}

Result<void> check_confirmed(const Rotor& rotor) {
  if (rotor.to_confirm.empty()) return {};
  return fail(
      "the rotor file lists under to_confirm what is open or only assumed: " + listed_to_confirm(rotor),
      "each compared with the maker's manual, put right and taken off the list");
}

NextSteps next_steps(const Job& job, bool knows_type) {
  NextSteps next;
  lacks_of_rotor(job.rotor, next.missing);
  for (const auto& run : job.runs)
    if (!run.set_aside && run.readings.empty())
      next.missing.push_back("Make run \"" + run.name +
                             "\" and enter its readings: amplitude and phase at each speed.");
  if (runs_read(job).empty()) {
    if (job.runs.empty()) next.missing.push_back("Make a baseline run and enter it as a run of the job.");
    next.command = "ready";
    next.purpose = "once this is done: it says whether the runs are a base to trim on";
    return next;
  }
  const auto tried = planes_changed(job, runs_read(job));
  std::string untried;
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    if (std::find(tried.begin(), tried.end(), p) == tried.end())
      untried += (untried.empty() ? "" : ", ") + job.rotor.planes[p].name;
  if (!knows_type && tried.empty()) {
    next.missing.push_back(
        "Make a trial run: a known weight in one plane, everything else as it was. No plane was tried yet: " +
        untried + ".");
    next.command = "trial";
    next.purpose = "to be told which weight in which slot";
    return next;
  }
  if (!knows_type && !untried.empty())
    next.missing.push_back("No trial run was made yet in: " + untried +
                           ". trimwright trial says whether one is worth making.");
  if (job.serial.empty())
    next.missing.emplace_back("Write the serial of the engine into the job: it cannot be filed without.");
  if (!job.rotor.to_confirm.empty()) {
    next.command = "ready";
    next.purpose = "once this is done: it says whether the runs are a base to trim on";
    return next;
  }
  next.command = "plan";
  next.purpose = "for the weights to fit; after the run with them, trimwright check judges it";
  return next;
}

}  // namespace trimwright
