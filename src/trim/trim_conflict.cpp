#include "trim_conflict.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include "slot_catalogue.hpp"

namespace trimwright {
namespace {

/// A rule and how to be without it.
struct Droppable {
  std::string words;
  std::function<void(Job&, TrimRequest&)> drop;
};

void add_request_rules(const TrimRequest& request, std::vector<Droppable>& rules) {
  rules.push_back({fmt::format("at most {} slots may change", request.max_changes),
                   [](Job&, TrimRequest& r) { r.max_changes = 1'000'000; }});
  if (request.keep_fitted)
    rules.push_back({"the fitted weights stay", [](Job&, TrimRequest& r) { r.keep_fitted = false; }});
  if (request.max_pieces)
    rules.push_back({fmt::format("at most {} pieces in all planes", *request.max_pieces),
                     [](Job&, TrimRequest& r) { r.max_pieces.reset(); }});
}

void add_plane_rules(const Plane& plane, std::size_t p, std::vector<Droppable>& rules) {
  const auto add = [&](bool given, const std::string& words, std::function<void(Plane&)> drop) {
    if (!given) return;
    rules.push_back({plane.name + ": " + words,
                     [p, drop = std::move(drop)](Job& job, TrimRequest&) { drop(job.rotor.planes[p]); }});
  };
  const PlaneRules& r = plane.rules;
  const auto& weights = plane.weights;
  add(std::any_of(weights.begin(), weights.end(), [](const Weight& w) { return w.stock.has_value(); }),
      "stock", [](Plane& of) {
        for (Weight& weight : of.weights) weight.stock.reset();
      });
  add(std::any_of(weights.begin(), weights.end(), [](const Weight& w) { return w.only_in.has_value(); }),
      "only_in", [](Plane& of) {
        for (Weight& weight : of.weights) weight.only_in.reset();
      });
  add(plane.max_total_moment_g_mm.has_value(), "max_total_moment",
      [](Plane& of) { of.max_total_moment_g_mm.reset(); });
  add(plane.max_added_moment_g_mm.has_value(), "max_added_moment",
      [](Plane& of) { of.max_added_moment_g_mm.reset(); });
  add(r.max_pieces.has_value(), "max_pieces", [](Plane& of) { of.rules.max_pieces.reset(); });
  add(r.max_mass_g.has_value(), "max_mass", [](Plane& of) { of.rules.max_mass_g.reset(); });
  add(r.max_slot_mass_g.has_value(), "max_slot_mass", [](Plane& of) { of.rules.max_slot_mass_g.reset(); });
  add(r.max_slot_moment_g_mm.has_value(), "max_slot_moment",
      [](Plane& of) { of.rules.max_slot_moment_g_mm.reset(); });
  add(!r.apart.empty(), "apart", [](Plane& of) { of.rules.apart.clear(); });
  add(!r.together.empty(), "together", [](Plane& of) { of.rules.together.clear(); });
  add(!r.alike.empty(), "alike", [](Plane& of) { of.rules.alike.clear(); });
}

/// Whether it is proved that no choice keeps the rules; empty: neither a choice nor a proof was found in
/// time.
std::optional<bool> impossible(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                               const std::vector<std::size_t>& planes, const Deadline& deadline) {
  const auto rows = trim_rows(job, model, request, planes);
  if (!rows) return std::nullopt;
  SlotProblem problem = SlotCatalogue(job, request, *rows).problem();
  problem.residual = Eigen::VectorXcd::Ones(1);  // nothing to gain: any choice will do
  problem.response = Eigen::MatrixXcd::Zero(1, problem.response.cols());
  problem.max_changes = std::min(problem.max_changes, static_cast<int>(problem.slots.size()));
  constexpr double any = std::numeric_limits<double>::infinity();
  const std::vector<SlotChoice> choices = search_slots(problem, {0.0, any, deadline});
  if (choices.back().admissible) return false;
  return std::isinf(choices.back().bound) ? std::optional(true) : std::nullopt;
}

}  // namespace

Conflict conflicting_rules(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                           const std::vector<std::size_t>& planes, const Deadline& deadline) {
  std::vector<Droppable> rules;
  add_request_rules(request, rules);
  for (const std::size_t p : planes) add_plane_rules(job.rotor.planes[p], p, rules);
  Job looser = job;
  TrimRequest less = request;
  Conflict conflict;
  double open = static_cast<double>(rules.size());
  for (const Droppable& rule : rules) {
    Job job_without = looser;
    TrimRequest request_without = less;
    rule.drop(job_without, request_without);
    const auto still =
        impossible(job_without, model, request_without, planes, deadline.after_share(1.0 / open--));
    conflict.smallest = conflict.smallest && still.has_value();
    if (still.value_or(false)) {
      looser = std::move(job_without);
      less = std::move(request_without);
    } else {
      conflict.rules.push_back(rule.words);
    }
  }
  return conflict;
}

}  // namespace trimwright
