#include <doctest/doctest.h>

#include <algorithm>
#include <map>

#include "check/fitting_mistakes.hpp"
#include "job_builder.hpp"
#include "mistake_trials.hpp"
#include "scratch_folder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

// The long table is tests/bench/mistake_table.cpp; these are other seeds, and few. The aim is nineteen of
// twenty named; mistakes of the check run now stand beside those of the runs before, and some are not told
// apart.
TEST_CASE(
    "The mistake that was made is named, with its run, in three of four trials where it shows clearly") {
  std::map<MistakeKind, MistakeTally> tallies;
  MistakeTally all;
  for (const std::uint64_t seed : {501u, 502u, 503u, 504u}) {
    const ScratchFolder folder;
    MistakeTrial trial(folder.path(), seed);
    for (const MistakeKind kind : mistake_kinds())
      for (std::uint64_t draw = 0; draw < 3; ++draw) {
        const bool of_runs =
            kind == MistakeKind::runs_exchanged || kind == MistakeKind::phase_sense_everywhere;
        const auto result =
            of_runs ? trial.judge_earlier_mistake(kind, draw) : trial.judge_mistake(kind, draw);
        tallies[kind].add(kind, result);
        if (kind != MistakeKind::nothing) all.add(kind, result);
      }
  }
  CHECK(all.clear > 80);
  CHECK(all.named >= 0.75 * all.clear);
  CHECK(tallies[MistakeKind::nothing].trials == 12);
  CHECK(tallies[MistakeKind::nothing].alarms <= 1);
  CHECK(tallies.size() == mistake_kinds().size());
  for (const auto& one : tallies) {
    INFO(mistake_name(one.first));
    if (one.first != MistakeKind::nothing) CHECK(one.second.trials > 0);
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

TEST_CASE("Shown are the mistakes not told apart, the likeliest others, and that nothing is wrong") {
  MistakeRanking ranking;
  for (const double probability : {0.5, 0.3, 0.1, 0.05, 0.03, 0.011, 0.01, 0.001, 0.0001}) {
    ranking.kinds.emplace_back().kind = MistakeKind::missing;
    ranking.kinds.back().probability = probability;
  }
  ranking.kinds.back().kind = MistakeKind::nothing;
  ranking.not_told_apart = 2;
  CHECK(shown_mistakes(ranking) == std::vector<std::size_t>{0, 1, 2, 3, 4, 5, 8});
  ranking.not_told_apart = 8;  // however many they are
  CHECK(shown_mistakes(ranking).size() == 9);
  ranking.not_told_apart = 1;
  ranking.kinds[3].probability = 0.009;
  CHECK(shown_mistakes(ranking) == std::vector<std::size_t>{0, 1, 2, 4, 5, 8});
}

TEST_CASE("No weight is looked for where none can be: in unusable slots, or beyond the stock") {
  Job job = slotted_job({100.0, 200.0});
  job.rotor.planes[0].slots->unusable = {3};
  job.rotor.planes.push_back(slotted_plane("drum", 8, {100.0, 200.0}));
  job.rotor.planes[1].slots->unusable = {2};
  job.runs[0].fitted.resize(2);
  Run check = job.runs[0];
  check.name = "check";
  check.fitted[0].slots[2] = {"w1", 100.0};
  job.runs.push_back(check);
  const auto named = [&](const char* words) {
    const auto all = fitting_mistakes(job, 1);
    return std::any_of(all.begin(), all.end(),
                       [&](const FittingMistake& one) { return one.what.find(words) != std::string::npos; });
  };
  CHECK(named("w2 instead of w1"));
  CHECK_FALSE(named("are in drum"));
  job.rotor.planes[1].slots->unusable = {};
  CHECK(named("are in drum"));
  CHECK_FALSE(named("each in the other plane"));
  job.runs[1].fitted[1].slots[5] = {"w2", 200.0};
  CHECK(named("each in the other plane"));
  job.rotor.planes[0].weights[1].stock = 0;
  CHECK_FALSE(named("w2 instead of w1"));
}
