#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "trimwright/check.hpp"

namespace trimwright {
namespace {

/// What else makes a fan vibrate once per revolution (common practice, no published source).
constexpr const char* other_causes =
    "What else may be looked at, as the maker's current manual says: blades (damage, seating, lubrication of "
    "their roots), spinner and its fastening, loose or rubbing parts, ice or dirt, bearings and mounts, and "
    "the "
    "sensors and their cables (common practice, no published source).";

/// One remedy per sort of mistake among those not told apart.
void add_remedies(const MistakeRanking& ranking, std::size_t run, std::vector<std::string>& words) {
  for (std::size_t i = 0; i < ranking.not_told_apart; ++i) {
    const auto& one = ranking.kinds[i];
    const auto remedy = mistake_remedy(one.kind, one.run == run);
    if (!remedy.empty() && std::find(words.begin(), words.end(), remedy) == words.end())
      words.push_back(remedy);
  }
}

/// Of which runs nothing could be said.
void add_not_examined(const Job& job, const MistakeRanking& ranking, std::vector<std::string>& words) {
  std::string runs;
  for (const std::size_t r : ranking.not_examined)
    runs += (runs.empty() ? "\"" : ", \"") + job.runs[r].name + "\"";
  if (!runs.empty())
    words.push_back("Nothing can be said of a mistake in " + runs +
                    " alone: without that run the others do not tell how every plane acts.");
}

/// Of a run that is as predicted the median of `differs_by` over `level` of each reading; 0: nothing to judge
/// by.
double usual_over(const Verdict& verdict, double (*level)(const CheckedReading&)) {
  if (verdict.mistakes.kinds.empty() || !verdict.mistakes.as_predicted()) return 0.0;
  std::vector<double> shares;
  for (const auto& one : verdict.readings)
    if (one.differs_by) shares.push_back(*one.differs_by / level(one));
  std::sort(shares.begin(), shares.end());
  return shares.empty() ? 0.0 : shares[shares.size() / 2];
}

/// Whether a sound reading may usually lie a whole target, or half a limit where no target is set, off what
/// was expected: a weight in a wrong slot may then pass (our own figure).
bool wrong_slot_may_pass(const Verdict& verdict) {
  return usual_over(verdict, [](const CheckedReading& one) { return one.target.value_or(0.5 * one.limit); }) >
         1.0;
}

/// Readings that differ in a run that is as predicted.
void add_single_differences(const Job& job, const Verdict& verdict, std::vector<std::string>& words) {
  std::string places;
  std::size_t compared = 0, differing = 0;
  for (const auto& one : verdict.readings) {
    compared += one.expected.has_value();
    if (!one.differs()) continue;
    ++differing;
    places += (places.empty() ? "" : ", ") + place_words(job, one.speed, one.sensor);
  }
  if (differing > 0)
    words.push_back(
        fmt::format("The run as a whole is as predicted, but {} of its {} readings differ{}: {}. About 1 "
                    "sound reading in {} does "
                    "so by chance: look at what was written down there, and read it again in the next run.",
                    differing, compared, differing == 1 ? "s" : "", places, one_sound_reading_in));
}

/// Of a check run that is as predicted: how much that says.
void add_weakness(const Job& job, const Verdict& verdict, std::vector<std::string>& words) {
  if (verdict.mistakes.kinds.empty() || !verdict.mistakes.as_predicted()) return;
  add_single_differences(job, verdict, words);
  if (const auto usual = looseness(verdict))
    words.push_back(
        fmt::format("\"As predicted\" says little here: a reading is called so up to {:.0f} % of its target "
                    "(or limit, where "
                    "none is set) away from what was expected.",
                    100.0 * *usual));
  const bool prior = verdict.refined && verdict.refined->prior;
  if (verdict.mistakes.probability > too_good_fit && !prior)
    words.push_back(
        std::string("The readings lie far closer to what was expected than sound readings would: ") +
        stated_too_large);
  add_not_examined(job, verdict.mistakes, words);
}

/// Where the likeliest is of an earlier run: what may be wrong with the weights that can be looked at now.
void add_still_to_be_seen(const Job& job, const Verdict& verdict, std::vector<std::string>& words) {
  constexpr double worth_a_look = 0.05;  // our own figure: looking costs minutes, and no start
  const auto& kinds = verdict.mistakes.kinds;
  if (kinds.front().run == verdict.run) return;
  const auto here = std::find_if(kinds.begin(), kinds.end(), [&](const RankedMistake& one) {
    return one.run == verdict.run && names_a_cause(one.kind);
  });
  if (here == kinds.end() || here->probability < worth_a_look) return;
  words.push_back("Look first at the weights that are in now, as that needs no start: " +
                  mistake_words(job, *here) + " would explain the readings too.");
}

std::vector<std::string> look_first(const Job& job, const Verdict& verdict) {
  std::vector<std::string> words;
  if (!verdict.mistakes.kinds.empty() && !verdict.mistakes.as_predicted()) {
    words.push_back(std::string("Fit nothing yet. ") +
                    (verdict.mistakes.runs_agree ? "The readings are not as predicted"
                                                 : "The runs before this one do not agree with one another") +
                    "; likeliest: " + likeliest_words(job, verdict.mistakes) + ".");
    if (!verdict.mistakes.kinds.front().fits)
      words.emplace_back(
          "Even this does not explain the readings well: it may be something else, or more than one thing.");
    add_still_to_be_seen(job, verdict, words);
    if (!verdict.mistakes.kinds.front().undone.empty())
      words.push_back("To test the first before another start: " + verdict.mistakes.kinds.front().undone);
    add_remedies(verdict.mistakes, verdict.run, words);
    add_not_examined(job, verdict.mistakes, words);
  } else if (verdict.refined) {
    words.push_back("With this run among the others: " + trust(job, *verdict.refined).words() +
                    " trimwright influence tells more of it.");
  }
  words.emplace_back(
      "Then correct what was found: on the rotor, and make the check run again; or in the job, where only "
      "what "
      "was written is wrong, and judge it again.");
  return words;
}

std::string next_trim_words(const Verdict& verdict) {
  if (!verdict.next) return "trimwright plan tells which run is missing to plan it.";
  return fmt::format(
      "It is expected to bring the largest amplitude over its limit from {:.3f} to {:.3f}. trimwright plan "
      "gives "
      "the whole plan; this run is then one of its runs.",
      verdict.worst_ratio, verdict.next->worst_ratio);
}

}  // namespace

std::optional<double> looseness(const Verdict& verdict) {
  const double usual = usual_over(verdict, [](const CheckedReading& one) { return one.goal(); });
  return usual > loose_prediction ? std::optional(usual) : std::nullopt;
}

std::string likeliest_words(const Job& job, const MistakeRanking& ranking) {
  std::string words;
  for (std::size_t i = 0; i < ranking.not_told_apart; ++i)
    words += (i == 0                                                   ? ""
              : ranking.kinds[i].answer == ranking.kinds[i - 1].answer ? ", or, what reads the same, "
                                                                       : "; or ") +
             mistake_words(job, ranking.kinds[i]);
  return words;
}

std::string outcome_name(Outcome outcome) {
  switch (outcome) {
    case Outcome::accepted:
      return "accepted";
    case Outcome::accepted_not_as_predicted:
      return "accepted_not_as_predicted";
    case Outcome::not_accepted:
      return "not_accepted";
  }
  return {};
}

std::string advice_name(Advice advice) {
  switch (advice) {
    case Advice::done:
      return "done";
    case Advice::look_first:
      return "look_first";
    case Advice::read_again:
      return "read_again";
    case Advice::trim_again:
      return "trim_again";
    case Advice::may_trim_again:
      return "may_trim_again";
    case Advice::stop_no_gain:
      return "stop_no_gain";
    case Advice::stop_other_source:
      return "stop_other_source";
    case Advice::stop_not_unbalance:
      return "stop_not_unbalance";
  }
  return {};
}

namespace {

std::vector<std::string> words_of_advice(const Job& job, const Verdict& verdict) {
  switch (verdict.advice) {
    case Advice::done:
      return {"No further trim: every reading is below its limit, and below its target where it has one."};
    case Advice::look_first:
      return look_first(job, verdict);
    case Advice::read_again:
      return {
          fmt::format("Make run \"{}\" again with every speed and sensor of the runs before: {} missing, so "
                      "nothing is accepted.",
                      job.runs[verdict.run].name,
                      verdict.missing.size() == 1 ? "1 reading is"
                                                  : fmt::format("{} readings are", verdict.missing.size()))};
    case Advice::trim_again:
      return {"A reading is above its limit: trim again. " + next_trim_words(verdict)};
    case Advice::may_trim_again:
      return {"Every reading is below its limit; some are above their target. Another trim may be made. " +
              next_trim_words(verdict)};
    case Advice::stop_no_gain:
      return {
          "Stop trimming: no change of weights allowed here is expected to make a difference worth a run.",
          other_causes};
    case Advice::stop_other_source:
      return {
          "Stop trimming: an overall level is above its limit, and its once-per-rev part is not. Weights "
          "lower the once-per-rev part only; the rest has another source.",
          other_causes};
    case Advice::stop_not_unbalance:
      return {
          "Fit nothing on these readings: the run is not as predicted, and neither unbalance in these planes "
          "nor a mistake considered here explains it. Cause unknown.",
          mistake_remedy(MistakeKind::none_of_these), other_causes};
  }
  return {};
}

}  // namespace

std::vector<std::string> advice_words(const Job& job, const Verdict& verdict) {
  auto words = words_of_advice(job, verdict);
  if (!verdict.left_open.empty()) words.push_back(verdict.left_open);
  add_weakness(job, verdict, words);
  return words;
}

std::string verdict_words(const Verdict& verdict) {
  const auto above = std::count_if(verdict.readings.begin(), verdict.readings.end(),
                                   [](const CheckedReading& one) { return one.above_limit(); });
  std::string reasons;
  if (above > 0)
    reasons += fmt::format(" {} reading{} above its limit.", above, above == 1 ? " is" : "s are each");
  if (!verdict.missing.empty())
    reasons += fmt::format(" {} reading{} missing.", verdict.missing.size(),
                           verdict.missing.size() == 1 ? " is" : "s are");
  std::size_t compared = 0, open = 0;
  for (const auto& one : verdict.readings)
    if (one.component == Component::once_per_rev) ++(one.expected ? compared : open);
  switch (verdict.outcome) {
    case Outcome::accepted:
      if (verdict.mistakes.kinds.empty())
        return "ACCEPTED: every reading is below its limit. Whether it is as predicted is not known.";
      return (wrong_slot_may_pass(verdict)
                  ? "ACCEPTED, BUT THIS SAYS LITTLE OF THE WEIGHTS: every reading is below its limit, and "
                    "the run is as predicted"
                  : "ACCEPTED: every reading is below its limit, and the run is as predicted") +
             (open == 0 ? std::string(".")
                        : fmt::format(" at {} of {} places; the others were not predicted.", compared,
                                      compared + open)) +
             (wrong_slot_may_pass(verdict)
                  ? " But what was predicted is so loose that a weight in a wrong slot may pass too: "
                    "compare every slot with the list once more."
                  : "");
    case Outcome::accepted_not_as_predicted:
      return std::string("WITHIN LIMITS, BUT NOT AS PREDICTED: ") +
             (verdict.mistakes.runs_agree ? "" : "the runs before do not agree with one another; ") +
             (verdict.mistakes.cause_known() ? "the likeliest cause stands below." : "cause unknown.");
    case Outcome::not_accepted:
      return "NOT ACCEPTED:" + reasons;
  }
  return {};
}

std::string level_words(double amplitude, double limit, const std::optional<double>& target) {
  if (std::isinf(limit)) return "– limit not given";
  if (amplitude > limit) return "✕ ABOVE LIMIT";
  if (!target) return "✓ below limit";
  return amplitude > *target ? "▲ above target" : "✓ below target";
}

ShownReading as_read(const Sensor& sensor, const CheckedReading& one, PhaseConvention convention) {
  const double phase = one.x ? shown(sensor, *one.x, convention).phase_deg : std::nan("");
  return {sensor.unit.shown_from_peak(one.amplitude), phase};
}

std::string row_words(const CheckedReading& one) {
  return level_words(one.amplitude, one.limit, one.target) + (one.differs() ? ", differs" : "");
}

std::string missing_words(const Job& job, const PlaceToRead& one) {
  return place_words(job, one.speed, one.sensor) +
         (one.component == Component::overall ? ", overall level" : "");
}

std::string expected_words(const std::vector<Prediction>& predictions, std::size_t not_predicted) {
  std::size_t over_limit = 0, over_target = 0, targets = 0;
  for (const auto& one : predictions) {
    targets += one.target.has_value();
    if (std::abs(one.after) > one.limit)
      ++over_limit;
    else if (one.target && std::abs(one.after) > *one.target)
      ++over_target;
  }
  const std::size_t known = predictions.size();
  const std::string of = counted(known, "reading") + (not_predicted > 0 ? " predicted" : " expected");
  const std::string all = (known == 1 ? "" : "all ") + of;
  std::string words;
  if (over_limit > 0)
    words = fmt::format("✕ {} of {} ABOVE LIMIT", over_limit, of);
  else if (over_target > 0)
    words = fmt::format("▲ {} below limit, {} above target", all, over_target);
  else
    words = fmt::format("✓ {} below limit{}", all,
                        targets == 0       ? ""
                        : targets == known ? " and target"
                                           : ", and below target where one is set");
  if (not_predicted > 0)
    words += fmt::format("; {} not predicted: watch {}", not_predicted, not_predicted == 1 ? "it" : "them");
  return words;
}

}  // namespace trimwright
