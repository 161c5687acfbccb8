#include "trim/opposed_pair.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

SlotChange fitting(const Job& job, int slot, const std::string& id) {
  return {0, slot, held(job.fitted_now[0], slot),
          Piece{id, job.rotor.planes[0].find_weight(id)->moment_g_mm}};
}

}  // namespace

TEST_CASE("A new weight nearly opposite another of its plane is told, whichever was fitted first") {
  Job job = slotted_job({100.0, 200.0});  // 8 slots, 45 degrees apart
  CHECK(opposed_pair(job, {fitting(job, 1, "w1"), fitting(job, 4, "w2")}).empty());
  CHECK(opposed_pair(job, {fitting(job, 1, "w1"), fitting(job, 5, "w2")}) ==
        "w1 in slot 1 and w2 in slot 5 of spinner");
  job.fitted_now[0].slots[2] = {"w1", 100.0};
  CHECK(opposed_pair(job, {fitting(job, 6, "w2")}) == "w2 in slot 6 and w1 in slot 2 of spinner");
  CHECK(opposed_pair(job, {{0, 2, Piece{"w1", 100.0}, std::nullopt}, fitting(job, 6, "w2")}).empty());
}

TEST_CASE("A choice that does as well without weights against each other stands first") {
  // 500 g mm are wanted at 180 degrees. 600 there and 100 opposite is exact; 340 at 135 and at 225 make 481.
  Rotor rotor = free_rotor({}, {"A"});
  rotor.planes.push_back(slotted_plane("spinner", 8, {600.0, 100.0, 340.0}));
  FittedWeights trial;
  trial.slots[3] = {"w1", 600.0};
  const auto known = single_plane_rotor();
  const Job job = job_of(rotor, {known.run(rotor, "baseline", {{}}), known.run(rotor, "trial", {trial})});
  const auto model = fit_influence(job);
  REQUIRE(model);
  TrimRequest request;
  request.max_changes = 2;
  const auto trim = plan_trim(job, *model, request);
  REQUIRE(trim);
  const auto& row = trim->trade_off[trim->chosen];
  CHECK(row.recommended);
  CHECK(row.without_opposed);
  CHECK(row.worst_ratio == doctest::Approx(0.5 - 2.0 * 0.340 * std::sqrt(0.5)));
  CHECK(opposed_pair(job, row.changes).empty());
  REQUIRE(trim->chosen + 1 < trim->trade_off.size());
  const auto& other = trim->trade_off[trim->chosen + 1];
  CHECK_FALSE(opposed_pair(job, other.changes).empty());
  CHECK(other.changes.size() == row.changes.size());
  CHECK(trim->why.find("opposing each other") != std::string::npos);
}
