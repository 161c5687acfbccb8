#include "trim/recommendation.hpp"

#include <doctest/doctest.h>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

TradeOffRow row_of(int changes, double worst_ratio, double targets, double limits, double expected_worst) {
  TradeOffRow row;
  row.changes.resize(static_cast<std::size_t>(changes));
  row.worst_ratio = worst_ratio;
  row.outlook = Outlook{{{0.0, 1.0, limits, targets}}, limits, targets, expected_worst};
  return row;
}

Recommendation advised(const std::vector<TradeOffRow>& rows) {
  const Job job = slotted_job({300.0});
  InfluenceModel model;
  model.belief.emplace();
  model.belief->rows = {{0, 0}};
  return recommendation(job, rows, 0.0, model, Outlook{{}, 1.0, 0.8, 0.1});
}

}  // namespace

TEST_CASE("The likeliest row is recommended, not the one of the smallest expected amplitude") {
  auto likelier = row_of(2, 0.20, 0.89, 1.0, 0.22);
  likelier.by_chance = true;
  const auto advice = advised({row_of(0, 0.9, 0.0, 0.7, 0.9), row_of(2, 0.15, 0.67, 1.0, 0.25), likelier,
                               row_of(3, 0.14, 0.90, 1.0, 0.2)});
  CHECK(advice.row == 2);  // within two points of the best, with a change less
  CHECK(advice.why.find("2 slots changed") != std::string::npos);
  CHECK(advice.why.find("89 %") != std::string::npos);
  CHECK(advice.why.find("not the choice of the smallest") != std::string::npos);
}

TEST_CASE("Where targets cannot be met, weights that halve the vibration are recommended, not none") {
  const auto advice = advised({row_of(0, 0.715, 0.0, 0.98, 0.72), row_of(1, 0.5, 0.0, 0.99, 0.51),
                               row_of(2, 0.338, 0.01, 1.0, 0.35), row_of(5, 0.33, 0.01, 1.0, 0.34)});
  CHECK(advice.row == 2);
  CHECK(advice.why.find("No choice is likely to meet every target") == 0);
  CHECK(advice.why.find("A at 3000 rpm (1 %)") != std::string::npos);
  CHECK(advice.why.find("do not come near enough") != std::string::npos);
}

TEST_CASE("Where nothing tells how well readings repeat the smallest ratio decides, and it is said why") {
  auto rows = std::vector{row_of(0, 0.9, 0, 0, 0), row_of(1, 0.32, 0, 0, 0), row_of(3, 0.30, 0, 0, 0)};
  for (auto& row : rows) row.outlook.reset();
  for (auto& row : rows) row.meets_limits = true;
  const auto advice = advised(rows);
  CHECK(advice.row == 1);
  CHECK(advice.why.find("nothing tells how well readings repeat") != std::string::npos);
}
