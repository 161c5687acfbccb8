#include "recommendation.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"

namespace trimwright {
namespace {

/// Below this chance of the best row, what is gained in limits and amplitudes counts beside the targets.
constexpr double even_chance = 0.5;

double largest_chance(const std::vector<TradeOffRow>& rows, double Outlook::*chance) {
  double best = 0.0;
  for (const auto& row : rows) best = std::max(best, (*row.outlook).*chance);
  return best;
}

double least_worst(const std::vector<TradeOffRow>& rows) {
  double best = rows.front().outlook->expected_worst;
  for (const auto& row : rows) best = std::min(best, row.outlook->expected_worst);
  return best;
}

std::string slots_words(std::size_t count) {
  return fmt::format("{} slot{} changed", count, count == 1 ? "" : "s");
}

/// "front at 2874 rpm (31 %)": the places that most likely stay above their target, with the chance of each
/// to stay below.
std::string hard_places(const Job& job, const InfluenceModel& model, const Outlook& outlook) {
  std::string words;
  for (std::size_t i = 0; i < outlook.readings.size(); ++i) {
    if (outlook.readings[i].below_target >= 0.8) continue;
    const auto [speed, sensor] = model.belief->rows[i];
    words += fmt::format("{}{} ({})", words.empty() ? "" : ", ", place_words(job, speed, sensor),
                         percent_words(outlook.readings[i].below_target));
  }
  return words;
}

/// Why no row is likely to meet the targets.
std::string unlikely_words(const Job& job, const InfluenceModel& model, const Outlook& chosen,
                           const std::optional<Outlook>& with_any_weights) {
  const auto places = hard_places(job, model, chosen);
  std::string words =
      places.empty() ? "" : " Hardest to bring down, with the chance of each: " + places + ".";
  if (!with_any_weights) return words;
  const double any = with_any_weights->meets_targets;
  return words +
         (any >= even_chance
              ? fmt::format(
                    " The moments asked for would do it in {} of cases; these weights and slots do not "
                    "come near enough to them.",
                    percent_words(any))
              : fmt::format(
                    " With weights of every size and at every angle the chance would be {}: the planes, or "
                    "what is known so far of how they act, are not enough.",
                    percent_words(any)));
}

/// By chance; where even the best is unlikely, the fewest changes that gain as much in every respect.
Recommendation by_chance(const Job& job, const std::vector<TradeOffRow>& rows, const InfluenceModel& model,
                         const std::optional<Outlook>& with_any_weights) {
  const double targets = largest_chance(rows, &Outlook::meets_targets),
               limits = largest_chance(rows, &Outlook::meets_limits);
  const double worst = least_worst(rows);
  const auto gains = [&](const TradeOffRow& row, bool chance, bool size) {
    const Outlook& one = *row.outlook;
    return (!chance || one.meets_targets >= targets - probability_indifference) &&
           (targets >= even_chance || (one.meets_limits >= limits - probability_indifference &&
                                       (!size || one.expected_worst <= worst + ratio_indifference)));
  };
  const auto first = [&](bool chance, bool size) {
    return std::find_if(rows.begin(), rows.end(),
                        [&](const TradeOffRow& row) { return gains(row, chance, size); });
  };
  auto row = first(true, true);
  if (row == rows.end()) row = first(targets < 0.1 ? false : true, targets < 0.1);
  if (row == rows.end())
    row = std::min_element(rows.begin(), rows.end(), [](const auto& a, const auto& b) {
      return a.outlook->expected_worst < b.outlook->expected_worst;
    });
  Recommendation answer{static_cast<std::size_t>(row - rows.begin()), {}};
  const Outlook& chosen = *row->outlook;
  if (targets >= even_chance) {
    answer.why = fmt::format(
        "Recommended: {}, the fewest whose chance of meeting every target ({}) is as good as any found ({}).",
        slots_words(row->changes.size()), percent_words(chosen.meets_targets), percent_words(targets));
    if (row->by_chance)
      answer.why +=
          " It is not the choice of the smallest expected amplitude: one place that is sure to be low is no "
          "help "
          "where another, less sure, may be high.";
    return answer;
  }
  answer.why =
      fmt::format(
          "No choice is likely to meet every target (at best {}). Recommended: {}, because no fewer gain "
          "as much: the largest reading is then expected at {:.2f} of its limit, with {} at {:.2f}, and "
          "every limit is met with a chance of {}.",
          percent_words(targets), slots_words(row->changes.size()), chosen.expected_worst,
          slots_words(rows.front().changes.size()), rows.front().outlook->expected_worst,
          percent_words(chosen.meets_limits)) +
      unlikely_words(job, model, chosen, with_any_weights);
  return answer;
}

int rank(const TradeOffRow& row) { return row.meets_targets ? 2 : row.meets_limits ? 1 : 0; }

Recommendation by_ratio(const std::vector<TradeOffRow>& rows, double sd_of_best) {
  int best_rank = 0;
  double best = rows.front().worst_ratio;
  for (const auto& row : rows) {
    best_rank = std::max(best_rank, rank(row));
    best = std::min(best, row.worst_ratio);
  }
  const double enough = best + std::max(ratio_indifference, sd_of_best) + 1e-12;
  auto row = std::find_if(rows.begin(), rows.end(), [&](const TradeOffRow& one) {
    return one.worst_ratio <= enough && rank(one) == best_rank;
  });
  if (row == rows.end())
    row = std::min_element(rows.begin(), rows.end(), [&](const TradeOffRow& a, const TradeOffRow& b) {
      return std::pair(-rank(a), a.worst_ratio) < std::pair(-rank(b), b.worst_ratio);
    });
  return {static_cast<std::size_t>(row - rows.begin()),
          fmt::format(
              "Recommended: {}, the fewest whose largest expected amplitude over its limit ({:.2f}) is about "
              "as small as any ({:.2f}). No chance can be told, because nothing tells how well readings "
              "repeat: state the repeatability of the sensors, or run one setting twice.",
              slots_words(row->changes.size()), row->worst_ratio, best)};
}

}  // namespace

Recommendation recommendation(const Job& job, const std::vector<TradeOffRow>& rows, double sd_of_best,
                              const InfluenceModel& model, const std::optional<Outlook>& with_any_weights) {
  const bool known =
      std::all_of(rows.begin(), rows.end(), [](const auto& row) { return row.outlook.has_value(); });
  return known ? by_chance(job, rows, model, with_any_weights) : by_ratio(rows, sd_of_best);
}

}  // namespace trimwright
