#include "trimwright/files.hpp"

#include "json_parts.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

Json readings_json(const Job& job, const Verdict& verdict) {
  Json list = Json::array();
  for (const auto& one : verdict.readings) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const auto seen = [&](const std::optional<double>& peak) {
      return peak ? Json(sensor.unit.shown_from_peak(*peak)) : Json(nullptr);
    };
    const auto phase = [&](const std::optional<Phasor>& x) {
      return x ? Json(shown(sensor, *x, job.rotor.phase).phase_deg) : Json(nullptr);
    };
    Json entry = place_json(job, one.speed, one.sensor);
    entry.update({{"unit", sensor.unit.text()},
                  {"component", name(one.component)},
                  {"first", seen(one.first)},
                  {"amplitude", seen(one.amplitude)},
                  {"phase_deg", phase(one.x)},
                  {"limit", seen(one.limit)},
                  {"target", seen(one.target)},
                  {"above_limit", one.above_limit()},
                  {"above_target", one.above_target()}});
    entry["expected"] = one.expected ? seen(std::abs(*one.expected)) : Json(nullptr);
    entry["expected_phase_deg"] = phase(one.expected);
    entry["expected_sd"] = seen(one.expected_sd);
    const auto off = one.off_by_sd();
    entry["off_by_sd"] = off ? Json(*off) : Json(nullptr);
    entry["away"] = seen(one.away());
    entry["differs_by"] = seen(one.differs_by);
    entry["differs"] = one.differs();
    entry["result"] = row_words(one);
    list.push_back(std::move(entry));
  }
  return list;
}

Json missing_json(const Job& job, const Verdict& verdict) {
  Json list = Json::array();
  for (const auto& one : verdict.missing) {
    Json entry = place_json(job, one.speed, one.sensor);
    entry["component"] = name(one.component);
    list.push_back(std::move(entry));
  }
  return list;
}

Json mistakes_json(const Job& job, const MistakeRanking& ranking) {
  Json list = Json::array();
  for (std::size_t i = 0; i < ranking.kinds.size(); ++i) {
    const auto& one = ranking.kinds[i];
    list.push_back({{"kind", mistake_name(one.kind)},
                    {"run", one.run ? Json(job.runs[*one.run].name) : Json(nullptr)},
                    {"what", one.what},
                    {"undone", one.undone.empty() ? Json(nullptr) : Json(one.undone)},
                    {"probability", one.probability},
                    {"log_evidence", one.log_evidence},
                    {"misfit", one.misfit},
                    {"answer", one.answer},
                    {"not_told_apart", i < ranking.not_told_apart}});
  }
  return list;
}

}  // namespace

std::string check_json(const Job& job, const Verdict& verdict) {
  Json json = document_header("check", job);
  json["run"] = job.runs[verdict.run].name;
  json["verdict"] = outcome_name(verdict.outcome);
  json["verdict_words"] = verdict_words(verdict);
  json["as_predicted"] =
      verdict.mistakes.kinds.empty() ? Json(nullptr) : Json(verdict.mistakes.as_predicted());
  json["runs_agree"] = verdict.mistakes.runs_agree;
  json["not_predicted"] = verdict.not_predicted.empty() ? Json(nullptr) : Json(verdict.not_predicted);
  json["worst_ratio"] = verdict.worst_ratio;
  json["readings"] = readings_json(job, verdict);
  json["missing"] = missing_json(job, verdict);
  json["mistakes"] = mistakes_json(job, verdict.mistakes);
  const bool judged = !verdict.mistakes.kinds.empty();
  json["chi_squared"] = judged ? Json(verdict.mistakes.chi_squared) : Json(nullptr);
  json["chi_squared_probability"] = judged ? Json(verdict.mistakes.probability) : Json(nullptr);
  Json open = Json::array();
  for (const std::size_t r : verdict.mistakes.not_examined) open.push_back(job.runs[r].name);
  json["runs_not_examined"] = std::move(open);
  json["degrees_of_freedom"] = verdict.mistakes.degrees_of_freedom;
  json["advice"] = advice_name(verdict.advice);
  json["what_to_do"] = advice_words(job, verdict);
  json["refined"] = verdict.refined ? Json::parse(influence_json(job, *verdict.refined)) : Json(nullptr);
  json["next_trim"] = nullptr;
  if (verdict.refined && verdict.next) {
    const Job after = job_after(job, verdict.run);
    const auto steps = plan_steps(after, *verdict.next);
    json["next_trim"] = Json::parse(plan_json(after, *verdict.refined, *verdict.next, steps));
  }
  json["cautions"] = cautions();
  return json.dump(2) + "\n";
}

}  // namespace trimwright
