// How often the mistake finder names the mistake that was made, on virtual rotors: mistake_table [SEEDS]
// [FIRST SEED] [DRAWS]. The table of docs/check.md.
#include <fmt/format.h>

#include <cstdlib>
#include <filesystem>
#include <map>

#include "mistake_trials.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

using enum MistakeKind;
const std::vector<MistakeKind> in_earlier_runs{mirrored, shifted, wrong_size,     left_in,
                                               polarity, unit,    runs_exchanged, phase_sense_everywhere};

/// What a clear mistake was taken for, on standard error.
void confess(MistakeKind kind, const MistakeTrial::Result& result) {
  if (!result.possible || !result.clear) return;
  if (result.ranking.as_predicted()) return fmt::print(stderr, "{}: as predicted\n", mistake_name(kind));
  const auto& kinds = result.ranking.kinds;
  const auto& first = kinds.front();
  for (std::size_t i = 0; i < result.ranking.not_told_apart; ++i)
    if (kinds[i].answer == 0 && (names_a_cause(kind) ? kinds[i].kind == kind && kinds[i].run == result.run
                                                     : !names_a_cause(kinds[i].kind)))
      return;
  const auto run = [](const std::optional<std::size_t>& one) {
    return one ? std::to_string(*one) : std::string("any");
  };
  fmt::print(stderr, "{} of run {} taken for {} of run {} ({:.2f}, misfit {:.0f}): {}\n", mistake_name(kind),
             run(result.run), mistake_name(first.kind), run(first.run), first.probability, first.misfit,
             first.what);
}

void add(MistakeTally& tally, MistakeKind kind, const MistakeTrial::Result& result) {
  tally.add(kind, result);
  confess(kind, result);
}

void print(const std::map<MistakeKind, MistakeTally>& tallies, const char* where) {
  MistakeTally all;
  for (const auto& [kind, one] : tallies) {
    if (kind == nothing) continue;
    const double n = std::max(one.clear, 1);
    fmt::print("| {} | {} | {} | {} | {:.1f} % | {:.1f} % | {:.2f} |\n", mistake_name(kind), where,
               one.trials, one.clear, 100.0 * one.first / n, 100.0 * one.named / n, one.group / n);
    all.clear += one.clear;
    all.first += one.first;
    all.named += one.named;
  }
  const double n = std::max(all.clear, 1);
  fmt::print("all, {}: {} clear, {:.1f} % ranked first, {:.1f} % named\n", where, all.clear,
             100.0 * all.first / n, 100.0 * all.named / n);
}

}  // namespace

int main(int argc, char** argv) {
  const int seeds = argc > 1 ? std::atoi(argv[1]) : 100;
  const int first = argc > 2 ? std::atoi(argv[2]) : 1001;
  const std::uint64_t draws = argc > 3 ? static_cast<std::uint64_t>(std::atoi(argv[3])) : 4;
  std::map<MistakeKind, MistakeTally> in_check, earlier;
  const auto folder = std::filesystem::temp_directory_path() / fmt::format("mistake-table-{}", first);
  for (int seed = first; seed < first + seeds; ++seed) {
    std::filesystem::remove_all(folder);
    MistakeTrial trial(folder.string(), static_cast<std::uint64_t>(seed));
    for (const MistakeKind kind : mistake_kinds())
      if (kind != runs_exchanged && kind != phase_sense_everywhere)
        for (std::uint64_t draw = 0; draw < (kind == nothing ? 5 : 1) * draws; ++draw)
          add(in_check[kind], kind, trial.judge_mistake(kind, draw));
    for (const MistakeKind kind : in_earlier_runs)
      for (std::uint64_t draw = 0; draw < draws; ++draw)
        add(earlier[kind], kind, trial.judge_earlier_mistake(kind, draw));
  }
  std::filesystem::remove_all(folder);
  fmt::print(
      "| mistake made | in | trials | clear | ranked first | named | mistakes named "
      "|\n|---|---|---|---|---|---|---|\n");
  print(in_check, "check run");
  print(earlier, "a trial run");
  const auto& sound = in_check[nothing];
  fmt::print("false alarms: {} of {} ({:.2f} %)\n", sound.alarms, sound.trials,
             100.0 * sound.alarms / std::max(sound.trials, 1));
}
