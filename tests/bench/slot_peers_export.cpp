// One problem of a family and this library's answer, as JSON for slot_peers.py.
//
//   slot_peers_export PLANES SLOTS WEIGHTS ROWS CHANGES FITTED STOCK RULE SEED
//
// FITTED and STOCK are 0 or 1; RULE is the number of an EdgeRule but `moment`, 0 for none. Times are
// processor time. The answer is for at most CHANGES changes, to 1 %.

#include <cstdlib>
#include <ctime>
#include <iostream>
#include <nlohmann/json.hpp>

#include "bench/slot_families.hpp"

namespace {

using namespace trimwright;
using Json = nlohmann::json;

Json pair(std::complex<double> z) { return {z.real(), z.imag()}; }

Json problem_json(const SlotProblem& problem) {
  Json json;
  json["max_changes"] = problem.max_changes;
  for (const auto& row : problem.residual) json["residual"].push_back(pair(row));
  for (Eigen::Index i = 0; i < problem.response.rows(); ++i) {
    Json row;
    for (Eigen::Index p = 0; p < problem.response.cols(); ++p) row.push_back(pair(problem.response(i, p)));
    json["response"].push_back(row);
  }
  for (const auto& slot : problem.slots) {
    Json options;
    for (const auto& option : slot.options)
      options.push_back({{"change", pair(option.change)}, {"pieces", option.pieces}});
    json["slots"].push_back({{"plane", slot.plane}, {"holds", slot.holds}, {"options", options}});
  }
  json["stock"] = Json::array();
  for (const auto& stock : problem.in_stock) json["stock"].push_back(stock ? Json(*stock) : Json(nullptr));
  json["budgets"] = Json::array();
  for (const SlotBudget& budget : problem.budgets) {
    Json terms;
    for (const SlotBudget::Term& term : budget.terms)
      terms.push_back({{"slot", term.slot}, {"now", term.now}, {"options", term.options}});
    json["budgets"].push_back({{"limit", budget.limit}, {"terms", terms}});
  }
  json["pairs"] = Json::array();
  for (const SlotPair& one : problem.pairs)
    json["pairs"].push_back(
        {{"first", one.first}, {"second", one.second}, {"alike", one.rule == PairRule::alike}});
  return json;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 10) return 2;
  const auto number = [&](int i) { return std::atoi(argv[i]); };
  const bench::Family family{number(1),
                             number(2),
                             number(3),
                             number(4),
                             number(5),
                             number(6) > 0,
                             number(7) > 0,
                             SlotObjective::worst_ratio,
                             static_cast<bench::EdgeRule>(number(8))};
  SlotProblem problem = bench::draw_problem(family, static_cast<unsigned>(number(9)));
  bench::set_at_edge(family.rule, problem, family.planes);
  const std::clock_t start = std::clock();
  const std::vector<SlotChoice> answers = search_slots(problem, {0.01, 0.005, Deadline::after(60.0), 1});
  const double seconds = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
  Json json = problem_json(problem);
  json["answer"] = {{"objective", answers.back().objective},
                    {"bound", answers.back().bound},
                    {"finished", answers.back().stopped != SlotChoice::Stopped::time_limit},
                    {"seconds", seconds}};
  std::cout << json << "\n";
  return 0;
}
