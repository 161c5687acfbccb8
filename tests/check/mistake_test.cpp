#include <doctest/doctest.h>

#include <map>

#include "mistake_trials.hpp"
#include "scratch_folder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

// The long table is tests/bench/mistake_table.cpp; these are other seeds, and few.
TEST_CASE("The mistake that was made is named in nine of ten trials where it moves a reading clearly") {
  std::map<MistakeKind, MistakeTally> tallies;
  MistakeTally all;
  for (const std::uint64_t seed : {501u, 502u, 503u, 504u}) {
    const ScratchFolder folder;
    MistakeTrial trial(folder.path(), seed);
    for (const MistakeKind kind : mistake_kinds())
      for (std::uint64_t draw = 0; draw < 3; ++draw) {
        const auto result = trial.judge_mistake(kind, draw);
        tallies[kind].add(kind, result);
        if (kind != MistakeKind::nothing) all.add(kind, result);
      }
  }
  CHECK(all.clear > 80);
  CHECK(all.named >= 0.9 * all.clear);
  CHECK(tallies[MistakeKind::nothing].trials == 12);
  CHECK(tallies[MistakeKind::nothing].alarms <= 1);
  for (const auto& [kind, one] : tallies) {
    INFO(mistake_name(kind));
    if (kind != MistakeKind::nothing) CHECK(one.trials > 0);
  }
}

TEST_CASE("Probabilities of all kinds add up to one, and every kind has a name of its own") {
  const ScratchFolder folder;
  MistakeTrial trial(folder.path(), 511);
  const auto result = trial.judge_mistake(MistakeKind::missing, 0);
  REQUIRE(result.possible);
  double sum = 0.0;
  std::map<std::string, int> names;
  for (const auto& one : result.ranking.kinds) sum += one.probability;
  CHECK(sum == doctest::Approx(1.0));
  for (const auto kind : mistake_kinds()) ++names[mistake_name(kind)];
  CHECK(names.size() == mistake_kinds().size());
}
