// Looks for a better plan than the one called optimal, under every rule there is.
//
//   slot_fuzz small COUNT [SEED]      small problems, against trying everything
//   slot_fuzz large SECONDS [SEED]    problems of real size, against annealing: no admissible choice may beat
//   a bound; SECONDS of processor time
//
// Prints each counter-example's seed; ends with 1 when there was one. Each problem has its own seed, so that
// `slot_fuzz large 0 SEED` tries that one again.

#include <fmt/format.h>

#include <cstdlib>
#include <ctime>
#include <string>

#include "slots/enumeration.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;
using Changes = std::vector<SlotChoice::Change>;

/// Processor time of this process [s].
double seconds_used() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

bool admissible(const SlotProblem& problem, const Changes& changes) {
  return keeps_stock(problem, changes) && keeps_moment_limits(problem, moments_of(problem, changes)) &&
         keeps_slot_rules(problem, changes);
}

/// What is wrong with the answers to a small problem; empty: nothing.
std::string wrong_against_enumeration(const SlotProblem& problem) {
  const std::vector<Enumerated> all = enumerate(problem);
  const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, Deadline::after(60.0)});
  for (std::size_t m = 0; m < found.size(); ++m) {
    const Enumerated* best = best_of(problem, all, m);
    if (found[m].admissible != (best != nullptr)) return fmt::format("m = {}: admissible or not", m);
    if (best == nullptr) continue;
    if (!found[m].proved_optimal) return fmt::format("m = {}: not proved", m);
    if (!same_changes(found[m].changes, best->changes))
      return fmt::format("m = {}: found {:.12g}, best {:.12g}", m, found[m].objective, best->objective);
  }
  return {};
}

int run_small(unsigned count, unsigned first_seed) {
  int wrong = 0;
  for (unsigned seed = first_seed; seed < first_seed + count; ++seed) {
    Draw draw(seed);
    const std::string complaint = wrong_against_enumeration(random_ruled_problem(draw));
    if (complaint.empty()) continue;
    ++wrong;
    fmt::print("seed {}: {}\n", seed, complaint);
  }
  fmt::print("small: {} problems, {} wrong, {:.0f} s of processor time\n", count, wrong, seconds_used());
  return wrong;
}

SlotProblem large_problem(Draw& draw) {
  Recipe recipe;
  recipe.planes = draw.integer(1, 3);
  recipe.rows = 2 * draw.integer(2, 12);
  recipe.slots = recipe.planes * 12 * draw.integer(1, 3);
  recipe.stacks = draw.chance(0.2);
  recipe.weights = draw.integer(2, recipe.stacks ? 3 : 8);
  recipe.max_changes = draw.integer(2, 8);
  recipe.stock = draw.chance(0.5);
  recipe.limits = draw.chance(0.2);
  recipe.ring_symmetry = draw.chance(0.3);
  recipe.rules = draw.chance(0.7);
  recipe.fitted = draw.chance(0.5) ? 0.0 : draw.uniform(0.0, 0.3);
  return random_problem(recipe, draw);
}

/// Annealing over the choices of at most `most` changes, from `changes`.
class Annealing {
 public:
  Annealing(const SlotProblem& problem, std::size_t most, Draw& draw)
      : problem_(problem), most_(most), draw_(draw) {}

  /// The smallest objective met.
  double run(Changes changes, int steps) {
    double now = judged(problem_, changes).objective;
    double least = now;
    for (int step = 0; step < steps; ++step) {
      Changes next = changes;
      for (int move = draw_.integer(1, 3); move > 0; --move) mutate(next);
      if (next.size() > most_) continue;
      const double objective = judged(problem_, next).objective;
      const double temperature = 0.3 * least * (1.0 - static_cast<double>(step) / steps);
      if (objective > now - temperature * std::log(draw_.uniform(1e-12, 1.0))) continue;
      if (!admissible(problem_, next)) continue;
      changes = next;
      now = objective;
      least = std::min(least, now);
    }
    return least;
  }

 private:
  [[nodiscard]] int options(int slot) const {
    return static_cast<int>(problem_.slots[static_cast<std::size_t>(slot)].options.size());
  }
  void mutate(Changes& changes) {
    const bool remove = !changes.empty() && draw_.chance(0.4);
    if (remove) changes.erase(changes.begin() + draw_.integer(0, static_cast<int>(changes.size()) - 1));
    if (remove && draw_.chance(0.3)) return;
    const int slot = draw_.integer(0, static_cast<int>(problem_.slots.size()) - 1);
    if (options(slot) == 0) return;
    const SlotChoice::Change change{slot, draw_.integer(0, options(slot) - 1)};
    const auto at =
        std::find_if(changes.begin(), changes.end(), [&](const auto& c) { return c.slot >= slot; });
    if (at != changes.end() && at->slot == slot) {
      *at = change;
    } else {
      changes.insert(at, change);
    }
  }

  const SlotProblem& problem_;
  std::size_t most_;
  Draw& draw_;
};

struct Tally {
  long problems = 0, answers = 0, proved = 0, infeasible = 0, open = 0, wrong = 0;
};

void try_large(unsigned seed, Tally& tally) {
  Draw draw(seed);
  const SlotProblem problem = large_problem(draw);
  const bool exact = draw.chance(0.3);
  const SlotSearchOptions options{exact ? 0.0 : 0.01, exact ? 0.0 : 0.005, Deadline::after(3.0)};
  const std::vector<SlotChoice> found = search_slots(problem, options);
  ++tally.problems;
  const auto complain = [&](std::size_t m, const std::string& what) {
    ++tally.wrong;
    fmt::print("seed {}, m = {}: {}\n", seed, m, what);
    std::fflush(stdout);
  };
  Changes seen;
  bool any_seen = false;
  for (std::size_t m = 0; m < found.size(); ++m) {
    const SlotChoice& answer = found[m];
    ++tally.answers;
    if (answer.proved_optimal) ++tally.proved;
    if (answer.stopped == SlotChoice::Stopped::time_limit) ++tally.open;
    if (!answer.admissible) {
      if (answer.proved_optimal) ++tally.infeasible;
      if (!answer.proved_optimal) continue;
      const Changes random = random_choice(problem, draw);
      if (random.size() <= m && admissible(problem, random)) complain(m, "called infeasible, but is not");
      continue;
    }
    if (!admissible(problem, answer.changes)) complain(m, "the answer breaks a rule");
    const double objective = judged(problem, answer.changes).objective;
    if (std::abs(objective - answer.objective) > 1e-9 * (objective + scale_of(problem)))
      complain(m, "the objective is not that of the changes");
    Annealing annealing(problem, m, draw);
    double least = annealing.run(answer.changes, 3000);
    if (any_seen) least = std::min(least, annealing.run(seen, 3000));
    if (least < answer.bound - 1e-9 * (answer.bound + scale_of(problem)))
      complain(m, fmt::format("{:.12g} is below the bound {:.12g}", least, answer.bound));
    if (!any_seen || draw.chance(0.3)) seen = answer.changes;
    any_seen = true;
  }
}

int run_large(double seconds, unsigned first_seed) {
  Tally tally;
  unsigned seed = first_seed;
  do {
    try_large(seed++, tally);
    if (tally.problems % 500 == 0 || seconds_used() >= seconds) {
      fmt::print(
          "large: {} problems, {} answers ({} proved optimal, {} of them infeasible; {} open), {} wrong, "
          "{:.0f} s\n",
          tally.problems, tally.answers, tally.proved, tally.infeasible, tally.open, tally.wrong,
          seconds_used());
      std::fflush(stdout);
    }
  } while (seconds_used() < seconds);
  return static_cast<int>(tally.wrong);
}

}  // namespace

int main(int argc, char** argv) {
  const std::string mode = argc > 2 ? argv[1] : "";
  const unsigned seed = argc > 3 ? static_cast<unsigned>(std::atoi(argv[3])) : 1;
  if (mode == "small") return run_small(static_cast<unsigned>(std::atoi(argv[2])), seed) > 0 ? 1 : 0;
  if (mode == "large") return run_large(std::atof(argv[2]), seed) > 0 ? 1 : 0;
  fmt::print(stderr, "slot_fuzz small COUNT [SEED], or slot_fuzz large SECONDS [SEED]\n");
  return 2;
}
