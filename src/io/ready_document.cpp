#include "ready_document.hpp"

#include "json_parts.hpp"
#include "runs/next_steps.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

std::string concern_name(ReadinessConcern concern) {
  switch (concern) {
    case ReadinessConcern::no_readings:
      return "no_readings";
    case ReadinessConcern::unread_run:
      return "unread_run";
    case ReadinessConcern::doubled_readings:
      return "doubled_readings";
    case ReadinessConcern::contradicts:
      return "contradicts";
    case ReadinessConcern::lone_speed:
      return "lone_speed";
    case ReadinessConcern::odd_effect:
      return "odd_effect";
    case ReadinessConcern::runs_disagree:
      return "runs_disagree";
    case ReadinessConcern::no_longer_listed:
      return "no_longer_listed";
    case ReadinessConcern::trial_weight_in:
      return "trial_weight_in";
    case ReadinessConcern::not_fitted_now:
      return "not_fitted_now";
    case ReadinessConcern::to_confirm:
      return "to_confirm";
    case ReadinessConcern::went_above_limit:
      return "went_above_limit";
    case ReadinessConcern::nothing_spare:
      return "nothing_spare";
    case ReadinessConcern::other_conditions:
      return "other_conditions";
    case ReadinessConcern::below_target:
      return "below_target";
    case ReadinessConcern::above_limit:
      return "above_limit";
    case ReadinessConcern::no_repeat:
      return "no_repeat";
    case ReadinessConcern::does_not_repeat:
      return "does_not_repeat";
    case ReadinessConcern::drifts:
      return "drifts";
    case ReadinessConcern::not_as_foretold:
      return "not_as_foretold";
    case ReadinessConcern::mostly_other:
      return "mostly_other";
    case ReadinessConcern::more_than_all:
      return "more_than_all";
    case ReadinessConcern::scatters_within:
      return "scatters_within";
    case ReadinessConcern::no_phase:
      return "no_phase";
    case ReadinessConcern::too_small:
      return "too_small";
  }
  return {};
}

Json finding_json(const Job& job, const ReadinessFinding& finding) {
  Json runs = Json::array();
  for (const std::size_t run : finding.runs) runs.push_back(job.runs[run].name);
  Json json = {{"concern", concern_name(finding.concern)},
               {"speed_rpm", finding.speed ? Json(job.speeds_rpm[*finding.speed]) : Json(nullptr)},
               {"sensor", finding.sensor ? Json(job.rotor.sensors[*finding.sensor].name) : Json(nullptr)},
               {"runs", runs},
               {"ratio", finding.ratio},
               {"turn_deg", finding.turn_deg},
               {"text", finding_words(job, finding)},
               {"what_to_do", what_to_do(finding.concern)}};
  if (finding.speed) tell_state(json, state_at(job, *finding.speed));
  return json;
}

}  // namespace

std::string ready_json(const Job& job, const Readiness& readiness, bool knows_type) {
  Json json = document_header("ready", job);
  json["ready"] = readiness.ready();
  json["answer"] = answer_words(readiness);
  json["run_judged"] = readiness.judged ? Json(job.runs[*readiness.judged].name) : Json(nullptr);
  json["overall_read"] = readiness.overall_read;
  json["repeated"] = readiness.repeated;
  json["scatter_stated"] = readiness.scatter_stated;
  json["findings"] = Json::array();
  for (const auto& finding : readiness.findings) json["findings"].push_back(finding_json(job, finding));
  const NextSteps next = next_steps(job, knows_type);
  json["missing"] = next.missing;
  json["next"] = {{"command", next.command}, {"purpose", next.purpose}};
  json["cautions"] = cautions();
  return json.dump(2) + "\n";
}

}  // namespace trimwright
