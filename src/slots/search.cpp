#include "trimwright/slot_search.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "descent.hpp"
#include "incumbent.hpp"
#include "share.hpp"
#include "start.hpp"
#include "tables.hpp"
#include "walk.hpp"

namespace trimwright {
namespace slots_detail {
namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kProved = 2e-9;          // ties are 1e-9 wide
constexpr int kAttempts[] = {0, 20, 60};  ///< of a local search, before each rung
constexpr double kNarrow = 0.005;
constexpr double kFar = 0.05;  ///< a goal is far from the bound, as a share of the goal
constexpr std::size_t kLarge = 20'000;
constexpr int kManyAttempts = 1'000'000;
constexpr std::uint64_t kFirstCandidates = 15'000'000;
constexpr std::uint64_t kTieEffortExact = 20'000'000;
constexpr std::uint64_t kTieEffortGap = 200'000;

/// What is known of choices with exactly some number of changes.
struct Exactly {
  std::vector<Share> shares;
  bool listed = false;
  int rung = 0;          ///< of the ladder of thresholds
  double low2 = 0.0;     ///< lower bound of the objective squared
  bool settled = false;  ///< nothing of these can matter any more
};

/// The whole search: one contest per number of changes, each starting from the best of fewer.
class Search {
 public:
  Search(const SlotProblem& problem, const SlotSearchOptions& options)
      : problem_(problem),
        options_(options),
        deadline_(options.deadline),
        crew_(options.threads > 0 ? static_cast<std::size_t>(options.threads) : processors()),
        model_(make_model(problem)) {}

  std::vector<SlotChoice> run() {
    begin();
    if (is_large()) start_at_once(deadline_);
    if (!deadline_.passed_now()) {
      tables_.emplace(model_, patience_);
      first_round();
      later_rounds();
    }
    return answers();
  }

 private:
  void begin();
  [[nodiscard]] bool is_large() const;
  void start_at_once(Deadline& deadline);
  void first_round();
  void later_rounds();
  void solve(std::size_t changes, Deadline deadline);
  bool climb(std::size_t changes, Deadline& deadline);
  void list_shares(std::size_t changes);
  [[nodiscard]] double rung_limit2(std::size_t changes) const;
  void refresh_low(std::size_t changes);
  void break_ties(std::size_t changes, Deadline& deadline);
  void hand_on(std::size_t changes);
  [[nodiscard]] std::vector<SlotChoice> answers() const;
  [[nodiscard]] SlotChoice answer(const Contest& contest, double low2) const;

  const SlotProblem& problem_;
  const SlotSearchOptions& options_;
  Deadline deadline_;
  Crew crew_;
  Model model_;
  Patience patience_;
  std::optional<Tables> tables_;
  CertificatePool pool_;
  std::vector<Contest> contests_;  ///< at most 0, 1, ... changes
  std::vector<Exactly> exactly_;   ///< exactly 0, 1, ... changes
};

/// No change, and a bound that holds for any number of changes.
void Search::begin() {
  const std::size_t most = model_.max_changes;
  contests_.assign(most + 1, Contest(model_, options_));
  exactly_.assign(most + 1, Exactly{});
  const bool as_it_is = keeps_rules(model_, {});
  if (as_it_is) contests_[0].improve({});
  hand_on(0);
  exactly_[0].low2 = as_it_is ? contests_[0].best2() : kInfinity;
  exactly_[0].settled = true;
  if (model_.planes.empty() || model_.hopeless) return;
  const double low2 = TotalBound(model_).of_any();
  for (std::size_t changes = 1; changes <= most; ++changes) exactly_[changes].low2 = low2;
}

/// Whether tables, and bounds for each way to share changes out, take long.
bool Search::is_large() const {
  std::size_t entries = 0;
  for (const PlaneModel& plane : model_.planes) entries += plane.entries.size();
  return model_.planes.size() > 3 && entries * model_.max_changes > kLarge;
}

/// Good choices by local search, then a bound for each number of changes, before anything is tabulated.
void Search::start_at_once(Deadline& deadline) {
  const std::size_t most = model_.max_changes;
  for (std::size_t changes = 1; changes <= most; ++changes) {
    contests_[changes] = contests_[changes - 1];
    Descent(model_, changes, contests_[changes], deadline).run(kManyAttempts, kFirstCandidates / most);
  }
  TotalBound bound(model_);
  for (std::size_t changes = 1; changes <= most && !deadline.passed_now(); ++changes) {
    const double low2 = bound.of_at_most(changes, deadline);
    if (!(low2 > exactly_[changes].low2)) return;  // nor will it be for more
    exactly_[changes].low2 = low2;
  }
}

void Search::first_round() {
  const std::size_t most = model_.max_changes;
  for (std::size_t changes = 1; changes <= most; ++changes) {
    contests_[changes].inherit(contests_[changes - 1]);
    solve(changes, deadline_.after_share(1.0 / static_cast<double>(most - changes + 1)));
  }
}

void Search::later_rounds() {
  while (!deadline_.passed_now()) {
    std::vector<std::size_t> open;
    for (std::size_t changes = 1; changes < exactly_.size(); ++changes) {
      if (!exactly_[changes].settled) open.push_back(changes);
    }
    if (open.empty()) return;
    for (std::size_t i = 0; i < open.size(); ++i) {
      solve(open[i], deadline_.after_share(1.0 / static_cast<double>(open.size() - i)));
      hand_on(open[i]);
    }
  }
}

/// A choice found for some number of changes is one for more changes as well.
void Search::hand_on(std::size_t changes) {
  for (std::size_t more = changes + 1; more < contests_.size(); ++more)
    contests_[more].inherit(contests_[more - 1]);
}

void Search::solve(std::size_t changes, Deadline deadline) {
  Contest& contest = contests_[changes];
  if (contest.goal2(changes) < 0.0) {
    exactly_[changes].settled = true;
    return;
  }
  start_from_fewer(model_, changes, contest, deadline);
  list_shares(changes);
  while (!deadline.passed_now()) {
    if (!climb(changes, deadline)) break;
  }
  refresh_low(changes);
  exactly_[changes].settled = exactly_[changes].low2 >= contest.goal2(changes);
  break_ties(changes, deadline);
}

void Search::list_shares(std::size_t changes) {
  Exactly& exactly = exactly_[changes];
  if (exactly.listed) return;
  exactly.shares = shares_of(model_, *tables_, changes);
  for (Share& share : exactly.shares) share.low2 = exactly.low2;
  exactly.listed = true;
}

void Search::refresh_low(std::size_t changes) {
  Exactly& exactly = exactly_[changes];
  if (!exactly.listed) return;
  double low2 = kInfinity;
  for (const Share& share : exactly.shares) low2 = std::min(low2, share.low2);
  exactly.low2 = low2;
}

/// The next threshold: between the bound and the goal, so that a poor best does not make the search wide.
double Search::rung_limit2(std::size_t changes) const {
  constexpr double kFractions[] = {0.1, 0.3, 0.6};
  const Exactly& exactly = exactly_[changes];
  const double goal2 = contests_[changes].goal2(changes);
  const double low = std::sqrt(exactly.low2);
  if (std::isinf(goal2)) {
    if (exactly.rung > 8) return kInfinity;
    const double base = std::max(low, 0.01 * model_.scale);
    return std::pow(base * std::pow(1.5, exactly.rung), 2);
  }
  const double goal = std::sqrt(goal2);
  // In one plane a narrow gap leaves so little room between the rows that a rung would cost what the goal
  // does.
  const bool narrow = model_.planes.size() == 1 && goal - low < kNarrow * goal;
  if (narrow || exactly.rung >= 3 || (exactly.rung == 2 && goal - low < kFar * goal)) return goal2;
  return std::pow(low + (goal - low) * kFractions[exactly.rung], 2);
}

/// One rung: every share that the threshold does not rule out. False when there is no more to climb.
bool Search::climb(std::size_t changes, Deadline& deadline) {
  Exactly& exactly = exactly_[changes];
  Contest& contest = contests_[changes];
  const double goal2 = contest.goal2(changes);
  for (Share& share : exactly.shares) {
    if (deadline.passed_now()) return false;
    if (share.low2 < goal2 && !share.certified) pool_.certify(model_, *tables_, share, goal2);
  }
  refresh_low(changes);
  if (exactly.low2 >= goal2) return false;
  Descent(model_, changes, contest, deadline).run(kAttempts[std::min<int>(exactly.rung, 2)]);
  if (exactly.low2 >= contest.goal2(changes)) return false;
  const double limit2 = rung_limit2(changes);
  contest.look_for_better(changes, limit2);
  std::stable_sort(exactly.shares.begin(), exactly.shares.end(),
                   [](const Share& a, const Share& b) { return a.low2 < b.low2; });
  ShareWalk walk(model_, *tables_, contest, deadline, patience_, &crew_);
  for (Share& share : exactly.shares) {
    if (share.low2 >= contest.limit2()) continue;
    if (!walk.run(share)) return false;
  }
  ++exactly.rung;
  return true;
}

/// Among the choices as good as the proved best, the one that comes first.
void Search::break_ties(std::size_t changes, Deadline& deadline) {
  Contest& contest = contests_[changes];
  if (!contest.found() || contest.best().size() != changes) return;
  const double allowance = std::max(kProved * contest.value(), rounding(model_));
  if (std::sqrt(exactly_[changes].low2) < contest.value() - allowance) return;
  contest.look_for_tied();
  ShareWalk walk(model_, *tables_, contest, deadline, patience_, &crew_);
  const bool exact = options_.relative_gap <= 0.0 && options_.absolute_gap <= 0.0;
  walk.limit_effort(exact ? kTieEffortExact : kTieEffortGap);
  for (Share share : exactly_[changes].shares) {
    if (share.low2 > contest.prune2()) continue;
    if (!share.certified) pool_.certify(model_, *tables_, share, contest.prune2());
    if (share.low2 > contest.prune2()) continue;
    if (!walk.run(share)) break;
  }
}

SlotChoice Search::answer(const Contest& contest, double low2) const {
  SlotChoice choice;
  choice.admissible = contest.found();
  choice.objective = contest.found() ? std::sqrt(contest.best2()) : kInfinity;
  choice.bound = std::min(std::sqrt(std::max(0.0, low2)), choice.objective);
  const double allowance = std::max(kProved * choice.objective, rounding(model_));
  choice.proved_optimal = contest.found() ? choice.objective - choice.bound <= allowance : std::isinf(low2);
  const double gap = std::max(options_.relative_gap * choice.objective, options_.absolute_gap);
  const bool closed = contest.found() && choice.objective - choice.bound <= gap * (1.0 + 1e-6);
  choice.stopped = choice.proved_optimal ? SlotChoice::Stopped::proved
                   : closed              ? SlotChoice::Stopped::gap_reached
                                         : SlotChoice::Stopped::time_limit;
  for (const Pick& pick : contest.best()) {
    choice.changes.push_back({model_.entry(pick).problem_slot, model_.entry(pick).problem_option});
  }
  return choice;
}

std::vector<SlotChoice> Search::answers() const {
  std::vector<double> low2;  // of at most 0, 1, ... changes
  for (const Exactly& exactly : exactly_) {
    low2.push_back(std::min(low2.empty() ? kInfinity : low2.back(), exactly.low2));
  }
  std::vector<SlotChoice> answers;
  for (std::size_t m = 0; m < contests_.size(); ++m) answers.push_back(answer(contests_[m], low2[m]));
  const auto wanted = static_cast<std::size_t>(std::max(0, problem_.max_changes)) + 1;
  while (answers.size() < wanted) answers.push_back(answers.back());
  return answers;
}

}  // namespace
}  // namespace slots_detail

std::vector<SlotChoice> search_slots(const SlotProblem& problem, const SlotSearchOptions& options) {
  return slots_detail::Search(problem, options).run();
}

}  // namespace trimwright
