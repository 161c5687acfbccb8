// How often the mistake finder names the mistake that was made, on virtual rotors: mistake_table [SEEDS]
// [FIRST SEED]. The table of docs/check.md.
#include <fmt/format.h>

#include <cstdlib>
#include <filesystem>
#include <map>

#include "mistake_trials.hpp"

using namespace trimwright;
using namespace trimwright::testing;

int main(int argc, char** argv) {
  const int seeds = argc > 1 ? std::atoi(argv[1]) : 100;
  const int first = argc > 2 ? std::atoi(argv[2]) : 1001;
  constexpr std::uint64_t draws = 4, draws_of_nothing = 20;
  std::map<MistakeKind, MistakeTally> tallies;
  const auto folder = std::filesystem::temp_directory_path() / fmt::format("mistake-table-{}", first);
  for (int seed = first; seed < first + seeds; ++seed) {
    std::filesystem::remove_all(folder);
    MistakeTrial trial(folder.string(), static_cast<std::uint64_t>(seed));
    for (const MistakeKind kind : mistake_kinds())
      for (std::uint64_t draw = 0; draw < (kind == MistakeKind::nothing ? draws_of_nothing : draws); ++draw)
        tallies[kind].add(kind, trial.judge_mistake(kind, draw));
  }
  std::filesystem::remove_all(folder);
  fmt::print(
      "| mistake made | trials | clear | ranked first | named | kinds named |\n|---|---|---|---|---|---|\n");
  MistakeTally all;
  for (const auto& [kind, one] : tallies) {
    if (kind == MistakeKind::nothing) continue;
    const double n = std::max(one.clear, 1);
    fmt::print("| {} | {} | {} | {:.1f} % | {:.1f} % | {:.2f} |\n", mistake_name(kind), one.trials, one.clear,
               100.0 * one.first / n, 100.0 * one.named / n, one.group / n);
    all.clear += one.clear;
    all.first += one.first;
    all.named += one.named;
  }
  fmt::print("all: {} clear, {:.1f} % ranked first, {:.1f} % named\n", all.clear,
             100.0 * all.first / all.clear, 100.0 * all.named / all.clear);
  const auto& nothing = tallies[MistakeKind::nothing];
  fmt::print("false alarms: {} of {} ({:.2f} %)\n", nothing.alarms, nothing.trials,
             100.0 * nothing.alarms / std::max(nothing.trials, 1));
}
