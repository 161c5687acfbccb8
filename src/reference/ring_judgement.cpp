#include "ring_judgement.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace trimwright {
namespace {

constexpr double least_lead = 0.035;        ///< log, over the next largest
constexpr double clear_of_mean_noise = 6.0;  ///< standard deviations, over the next largest
constexpr double clear_of_others = 4.0;      ///< times the usual spread of the teeth
constexpr double least_spread = 0.003;       ///< of any ring's teeth
constexpr double common_spread = 0.008;      ///< as made rings have it: few teeth alone tell it badly,
constexpr double behind_common = 4.0;        ///< and it stands for so many more
constexpr double rival_size = 0.04;          ///< below this excess a second tooth is no rival
constexpr double rival_part = 0.2;           ///< of the largest's excess
constexpr double near_rival_part = 0.6;      ///< of the largest's excess: a rival even among uneven teeth
constexpr double least_wider = 0.03;         ///< log
constexpr double least_odd = 0.025;          ///< log, of a tooth smaller than the others
constexpr double size_tolerance = 0.02;      ///< log, of a stated size; of a width noise has its share too
constexpr double width_tolerance = 0.03;
constexpr double usual_width = 0.03;  ///< log: so wide may a tooth seem that is not wider, a higher one most
constexpr double stated_part = 0.1;   ///< of the stated excess: gap and neighbours have their share in it
constexpr double least_shared = 0.3;  ///< of the larger half's excess, in the other half
constexpr double alternates = 0.6;    ///< of the excess, rms from revolution to revolution
constexpr int few_ring_teeth = 6;     ///< below this there is no usual spread to go by
constexpr double same_ring_misfit = 4.5;  ///< chi-square per tooth of three features, each tooth at most 9
constexpr double least_support = 0.5;     ///< of the lead expected: less does not bear out a size alone
constexpr double tellable = 60.0;         ///< chi-square by which a ring's teeth differ from one another

/// How one feature stands out around the ring, run-out left out.
struct Ranking {
  Eigen::ArrayXd own;
  int first = -1, second = -1;
  double spread = 0.0;   ///< usual, of all but the first
  double mean_sd = 0.0;  ///< of one place's mean

  [[nodiscard]] double lead() const { return second < 0 ? 0.0 : own[first] - own[second]; }
  /// The usual spread and the noise together.
  [[nodiscard]] double usual() const { return std::hypot(std::max(spread, least_spread), mean_sd); }
};

Ranking ranked(const Eigen::ArrayXd& logs, double mean_sd) {
  Ranking ranking;
  ranking.mean_sd = mean_sd;
  const auto n = static_cast<int>(logs.size());
  ranking.own = without_run_out(logs);
  for (int i = 0; i < n; ++i) {
    if (!std::isfinite(ranking.own[i])) continue;
    if (ranking.first < 0 || ranking.own[i] > ranking.own[ranking.first]) {
      ranking.second = ranking.first;
      ranking.first = i;
    } else if (ranking.second < 0 || ranking.own[i] > ranking.own[ranking.second]) {
      ranking.second = i;
    }
  }
  std::vector<double> distances;
  for (int i = 0; i < n; ++i)
    if (i != ranking.first && std::isfinite(ranking.own[i])) distances.push_back(std::abs(ranking.own[i]));
  if (distances.empty()) return ranking;
  std::sort(distances.begin(), distances.end());
  // The fit passes through about as many places as it has constants: those say nothing.
  const auto constants = static_cast<std::size_t>(2 * run_out_waves(n) + 1);
  const std::size_t idle = std::min(constants, distances.size() - 1);
  const double told_by = static_cast<double>(distances.size() - idle);
  const double seen = 1.4826 * distances[idle + (distances.size() - idle) / 2];
  ranking.spread = std::sqrt((told_by * seen * seen + behind_common * common_spread * common_spread) /
                             (told_by + behind_common));
  return ranking;
}

double sd_of_mean(double scatter, double revolutions) {
  return std::max(scatter / std::sqrt(std::max(1.0, revolutions)), 1e-6);
}

Ranking sizes_ranked(const RingPicture& seen) {
  return ranked(seen.size, sd_of_mean(seen.size_scatter, seen.revolutions));
}

bool first_is_clear(const Ranking& ranking, double least) {
  if (ranking.second < 0 || ranking.lead() < least) return false;
  if (ranking.lead() < clear_of_mean_noise * std::sqrt(2.0) * ranking.mean_sd) return false;
  return ranking.own.size() < few_ring_teeth ||
         ranking.own[ranking.first] > clear_of_others * ranking.usual();
}

bool second_is_a_rival(const Ranking& ranking) {
  if (ranking.own.size() < few_ring_teeth) return false;
  const double first = ranking.own[ranking.first], second = ranking.own[ranking.second];
  const bool stands_out = second > clear_of_others * ranking.usual();
  return second > rival_size &&
         ((stands_out && second > rival_part * first) || second > near_rival_part * first);
}

/// A ring of a multiple of the declared teeth: the place is larger in every second or third revolution only.
bool larger_now_and_then(const RingPicture& seen, const Ranking& sizes) {
  std::vector<double> uneven(seen.uneven.begin(), seen.uneven.end());
  std::erase_if(uneven, [](double x) { return !std::isfinite(x); });
  if (uneven.empty()) return false;
  const auto middle = uneven.begin() + static_cast<std::ptrdiff_t>(uneven.size() / 2);
  std::nth_element(uneven.begin(), middle, uneven.end());
  const double own = seen.uneven[sizes.first] - *middle;
  return own > std::pow(alternates * sizes.own[sizes.first], 2);
}

/// The larger pulse lies across two neighbouring crossings, half in each.
bool halves_lie_apart(const RingPicture& seen, double mean_sd) {
  const Ranking before = ranked(seen.before, mean_sd), after = ranked(seen.after, mean_sd);
  const auto clear = [](const Ranking& one) {
    return one.second >= 0 && one.lead() > 0.03 && one.lead() > 4.0 * std::sqrt(2.0) * one.mean_sd;
  };
  return clear(before) && clear(after) && before.first == (after.first + 1) % seen.teeth();
}

bool halves_share_the_excess(const RingPicture& seen, int place) {
  const double before = std::expm1(without_run_out(seen.before)[place]);
  const double after = std::expm1(without_run_out(seen.after)[place]);
  return std::min(before, after) >= least_shared * std::max(before, after);
}

/// A tooth that stands out in width and is not the largest.
std::optional<int> wider_than(int place, const Ranking& widths) {
  if (widths.first < 0 || widths.first == place || widths.own.size() < few_ring_teeth) return std::nullopt;
  const double widest = widths.own[widths.first];
  const bool wider = widest - widths.own[place] > std::max(least_wider, clear_of_mean_noise * widths.mean_sd);
  return wider && widest > clear_of_others * widths.usual() ? std::optional(widths.first) : std::nullopt;
}

/// Whether a size or width is the stated one, within `tolerance` and the gap's and the noise's share [log].
bool as_stated(double log_seen, double stated, double tolerance, double sd) {
  const double log_stated = std::log(stated);
  return std::abs(log_seen - log_stated) <=
         std::max({tolerance, stated_part * std::abs(log_stated), 4.0 * sd});
}

/// A tooth clearly smaller than the others, as a worn one may be.
std::optional<int> odd_small(const Ranking& sizes) {
  if (sizes.own.size() < few_ring_teeth) return std::nullopt;
  const auto n = static_cast<int>(sizes.own.size());
  const double odd = std::max(least_odd, clear_of_others * sizes.usual());
  std::optional<int> smallest;
  for (int i = 0; i < n; ++i) {
    const bool beside = (i + 1) % n == sizes.first || (sizes.first + 1) % n == i;  // its flux reaches over
    if (std::isfinite(sizes.own[i]) && -sizes.own[i] > (beside ? 2.0 : 1.0) * odd &&
        (!smallest || sizes.own[i] < sizes.own[*smallest]))
      smallest = i;
  }
  return smallest;
}

void judge_by_size(const RingPicture& seen, const RingKnowledge& known, ReferenceJudgement& judgement) {
  const Ranking sizes = sizes_ranked(seen);
  const Ranking widths = ranked(seen.width, sd_of_mean(seen.width_scatter, seen.revolutions));
  if (sizes.second < 0) return;
  judgement.place = sizes.first;
  judgement.over_next = std::exp(sizes.lead());
  judgement.over_others = std::exp(sizes.own[sizes.first]);
  judgement.wider = std::exp(widths.own[sizes.first]);
  const auto refuse = [&](ReferenceVerdict verdict, std::optional<int> rival = std::nullopt) {
    judgement.verdict = verdict;
    judgement.rival = rival;
  };
  const auto sized_as = [&](double stated) {
    return as_stated(sizes.own[sizes.first], stated, size_tolerance, sizes.mean_sd);
  };
  const auto wide_as = [&](double stated, double log_width) {
    return as_stated(log_width, stated, width_tolerance, widths.mean_sd);
  };
  const bool sized = known.ratio && sized_as(*known.ratio);
  const bool width_fits = !known.width || wide_as(*known.width, widths.own[sizes.first]);
  // The width decides where a tooth of usual width would not pass for the stated one. A higher tooth may seem
  // narrower than it is, by any amount: only a wider one decides.
  const bool wide = known.width && *known.width > 1.0 && width_fits && !wide_as(*known.width, usual_width);
  if (halves_lie_apart(seen, sizes.mean_sd)) return refuse(ReferenceVerdict::polarity_reversed);
  if (larger_now_and_then(seen, sizes)) return refuse(ReferenceVerdict::no_larger_tooth);
  for (int place = 0; !(sized && wide) && place < seen.teeth(); ++place)
    if (seen.broken_off(place)) return refuse(ReferenceVerdict::tooth_broken_off, place);
  if (second_is_a_rival(sizes)) return refuse(ReferenceVerdict::larger_not_alone, sizes.second);
  if (!first_is_clear(sizes, least_lead)) return refuse(ReferenceVerdict::no_larger_tooth);
  if (!halves_share_the_excess(seen, sizes.first)) return refuse(ReferenceVerdict::polarity_reversed);
  if (const auto wider = wider_than(sizes.first, widths))
    return refuse(ReferenceVerdict::widest_not_largest, wider);
  if ((known.ratio && !sized) || !width_fits) return refuse(ReferenceVerdict::not_as_stated);
  if (const auto odd = odd_small(sizes); sized && !wide && odd)
    return refuse(ReferenceVerdict::perhaps_worn, odd);
  judgement.basis = sized && wide ? ReferenceBasis::stated_size_and_width
                    : sized       ? ReferenceBasis::stated_size
                                  : ReferenceBasis::at_its_word;
  judgement.verdict = ReferenceVerdict::trusted;
}

}  // namespace

std::string_view describe(ReferenceVerdict verdict) {
  switch (verdict) {
    case ReferenceVerdict::trusted:
      return "trusted";
    case ReferenceVerdict::not_regular:
      return "pulses not regular";
    case ReferenceVerdict::too_many_dropped:
      return "too many pulses missing";
    case ReferenceVerdict::speed_out_of_range:
      return "speed outside the declared range";
    case ReferenceVerdict::no_larger_tooth:
      return "no larger tooth stands out";
    case ReferenceVerdict::larger_not_alone:
      return "two teeth are larger than the others";
    case ReferenceVerdict::widest_not_largest:
      return "the widest tooth is not the largest";
    case ReferenceVerdict::tooth_broken_off:
      return "one tooth never gives a pulse";
    case ReferenceVerdict::not_as_stated:
      return "the largest tooth has not the size that is stated";
    case ReferenceVerdict::perhaps_worn:
      return "another tooth is odd and may be the larger one, worn";
    case ReferenceVerdict::another_ring:
      return "the teeth are not those of the known ring";
    case ReferenceVerdict::place_disputed:
      return "place of the larger tooth in doubt";
    case ReferenceVerdict::polarity_reversed:
      return "polarity looks reversed";
    case ReferenceVerdict::elements_disagree:
      return "two elements say different teeth";
  }
  return "unknown";
}

ReferenceJudgement judged(const RingPicture& seen, const RingKnowledge& known) {
  ReferenceJudgement judgement;
  if (seen.teeth() == 1) judgement.verdict = ReferenceVerdict::trusted;
  if (seen.teeth() < 2) return judgement;
  if (!known.ring) {
    judge_by_size(seen, known, judgement);
    return judgement;
  }
  const RingMatch match = matched(*known.ring, seen, across_recordings);
  RingKnowledge size_only{known.ratio, known.width, std::nullopt};
  if (!size_only.ratio) size_only.ratio = std::exp(without_run_out(known.ring->size)[0]);
  judge_by_size(seen, size_only, judgement);
  judgement.with_known = match;
  if (match.lead >= clear_lead && match.misfit <= same_ring_misfit) {
    judgement.verdict = ReferenceVerdict::trusted;
    judgement.basis = ReferenceBasis::known_ring;
    judgement.place = (seen.teeth() - match.shift) % seen.teeth();
    judgement.over_others = std::exp(without_run_out(seen.size)[judgement.place]);
    judgement.wider = std::exp(without_run_out(seen.width)[judgement.place]);
  } else if (judgement.verdict != ReferenceVerdict::polarity_reversed && match.expected_lead >= tellable &&
             match.misfit > same_ring_misfit) {
    judgement.verdict = ReferenceVerdict::another_ring;
  } else if (judgement.verdict == ReferenceVerdict::trusted &&
             (judgement.place != (seen.teeth() - match.shift) % seen.teeth() ||
              (judgement.basis == ReferenceBasis::stated_size &&
               match.lead < least_support * match.expected_lead))) {
    judgement.verdict =
        ReferenceVerdict::place_disputed;  // the other teeth fit better elsewhere, or not as they should here
  }
  return judgement;
}

bool stands_out(const RingPicture& seen) {
  const Ranking sizes = sizes_ranked(seen);
  return first_is_clear(sizes, least_lead) && !second_is_a_rival(sizes);
}

}  // namespace trimwright
