#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "reference_health.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

constexpr double weak_over_second = 1.10;  ///< less lead than this of the larger tooth is weak
constexpr double many_dropped = 0.002;     ///< of all pulses
constexpr double many_extra = 0.002;
constexpr double clear_of_noise = 6.0;       ///< standard deviations
constexpr double odd_spacing = 6.0;          ///< times the usual (median) spacing error
constexpr double least_odd_spacing = 0.005;  ///< pitches
constexpr double worn_part = 0.95;           ///< of the known size, below which the larger tooth is worn
constexpr double gap_part = 0.65;            ///< of its excess [log], which a narrower gap may leave
constexpr double odd_size = 0.08;            ///< relative
constexpr double swing_change = 0.2;         ///< relative

const char* const manual = "Limits and steps are those of the maker's current manual.";

std::string with_manual(std::string text) { return text + " " + manual; }

double median_of(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// "5.1 s to 11.8 s, 14.0 s to 14.2 s".
std::string times(const std::vector<TimeSpan>& spans) {
  std::string text;
  for (const TimeSpan& span : spans)
    text += fmt::format("{}{:.1f} s to {:.1f} s", text.empty() ? "" : ", ", span.begin_s, span.end_s);
  return text;
}

/// Collects findings about one recording.
struct Findings {
  const ToothRing& ring;
  const HealthSums& sums;
  const ReferenceHealth& health;
  const RingKnowledge& known;
  double duration_s;
  std::vector<Finding> found = {};

  void add(FindingKind kind, Gravity gravity, double value, std::string what, std::string cause,
           std::string look, std::optional<int> tooth = std::nullopt) {
    found.push_back({kind, gravity, value, tooth, std::move(what), std::move(cause), with_manual(look)});
  }

  /// A refusal when it concerns a good part of the recording, else a caution.
  [[nodiscard]] Gravity gravity_of(int blocks) const {
    return 2 * blocks > sums.blocks ? Gravity::refusal : Gravity::caution;
  }
  /// "In 12 % of the revolutions".
  [[nodiscard]] std::string in_part(int blocks) const {
    return fmt::format("In {:.2g} % of the revolutions", 100.0 * blocks / std::max(1, sums.blocks));
  }

  void turning() {
    if (health.tally.pulses == 0) {
      add(FindingKind::no_pulses, Gravity::refusal, 0.0, "The tooth channel shows no pulses at all.",
          "The rotor stood still, another channel was recorded, or the pickup or its cable is open.",
          "Check which channel holds the tooth signal; then the pickup's connector and resistance.");
      return;
    }
    if (sums.blocks == 0)
      add(FindingKind::stopped_in_between, Gravity::refusal, duration_s,
          "Nowhere in the recording is there a regular train of teeth.",
          "The rotor stood still or below the lowest declared speed, or this channel is not the pickup's.",
          "Compare with the log of the run; check which channel holds the tooth signal.");
    else if (!health.without.empty() && sums.turning_again)
      add(FindingKind::signal_lost, Gravity::caution, static_cast<double>(health.without.size()),
          fmt::format("No signal from the teeth from {}; the rotor had the same speed before and after.",
                      times(health.without)),
          "Intermittent contact in the connector, cable or pickup, or a loose pickup.",
          "Check connector, cable and the pickup's resistance, cold and warm.");
    else if (!health.without.empty())
      add(FindingKind::stopped_in_between, Gravity::note, static_cast<double>(health.without.size()),
          fmt::format("No signal from the teeth from {}.", times(health.without)),
          "The rotor was stopped or below the lowest declared speed, or the signal was lost.",
          "Compare with the log of the run.");
    const int irregular = sums.count(ReferenceVerdict::not_regular);
    if (irregular > 0)
      add(FindingKind::pulses_irregular, gravity_of(irregular), irregular,
          in_part(irregular) + " the pulses come too unevenly for a ring of teeth.",
          "Noise taken for teeth, a wrong channel, or a loose pickup.",
          "Check the channel, the pickup's fastening and its cable screen.");
    const int outside = sums.count(ReferenceVerdict::speed_out_of_range);
    if (outside > 0)
      add(FindingKind::speed_out_of_range, gravity_of(outside), outside,
          fmt::format("{} the speed lies outside the declared {:.0f} to {:.0f} rpm; speeds from {:.0f} to "
                      "{:.0f} rpm were seen.",
                      in_part(outside), ring.lowest_rpm, ring.highest_rpm, sums.lowest_rpm, sums.highest_rpm),
          "Another range was run than declared, or the declared number of teeth is wrong.",
          "Check the number of teeth and the speed range in the rotor file.");
    const int moved = sums.count(ReferenceVerdict::place_disputed);
    if (moved > 0)
      add(FindingKind::larger_tooth_moved, gravity_of(moved), moved,
          in_part(moved) + " the teeth do not pass in the order known, or it cannot be told which is which.",
          "Pulses lost or doubled unnoticed (debris, intermittent contact), or a ring of very even teeth.",
          "Clean the tip; check connector and cable for intermittent contact.");
  }

  /// Teeth counted from the one taken for the reference.
  [[nodiscard]] int after_reference(int place) const {
    return (place - health.reference.place + ring.teeth) % ring.teeth;
  }

  void refused_reference() {
    const ReferenceJudgement& seen = health.reference;
    const double larger = 100.0 * (seen.over_others - 1.0), over_next = 100.0 * (seen.over_next - 1.0);
    const int rival = seen.rival ? after_reference(*seen.rival) : 0;
    const auto refuse = [&](FindingKind kind, double value, std::string what, std::string cause,
                            std::string look) {
      add(kind, Gravity::refusal, value, std::move(what), std::move(cause), std::move(look),
          seen.rival ? std::optional(rival) : std::nullopt);
    };
    const char* const compare =
        "Look at the ring. A ring file from an earlier run of this rotor (--ring), or the larger tooth's "
        "size in "
        "the rotor file, would tell which tooth it is.";
    if (seen.verdict == ReferenceVerdict::no_larger_tooth)
      refuse(FindingKind::no_larger_tooth, seen.over_next,
             fmt::format("No tooth stands out clearly: the largest gives {:.1f} % more than the next.",
                         over_next),
             "The larger tooth is worn, noise, debris on the pickup's tip, too wide a gap, or a wrong number "
             "of teeth.",
             "Clean the tip and check the gap to the ring.");
    if (seen.verdict == ReferenceVerdict::larger_not_alone)
      refuse(FindingKind::larger_not_alone, seen.over_next,
             fmt::format(
                 "Two teeth are larger than the others: one by {:.0f} %, and the {} after it by {:.0f} %.",
                 larger, ordinal_tooth(rival), 100.0 * (seen.over_others / seen.over_next - 1.0)),
             "The larger tooth is worn, or another is damaged, bent towards the pickup or has debris on it.",
             compare);
    if (seen.verdict == ReferenceVerdict::widest_not_largest)
      refuse(
          FindingKind::widest_not_largest, seen.wider,
          fmt::format("The largest tooth is not the widest: the {} after it is wider.", ordinal_tooth(rival)),
          "The larger tooth is worn and another is damaged, bent towards the pickup or has debris on it.",
          compare);
    if (seen.verdict == ReferenceVerdict::tooth_broken_off)
      refuse(FindingKind::tooth_broken_off, rival,
             fmt::format("No pulse ever comes from one tooth, the {} after the largest; it may be the larger "
                         "tooth itself.",
                         ordinal_tooth(rival)),
             "That tooth is broken off.", compare);
    if (seen.verdict == ReferenceVerdict::not_as_stated)
      refuse(
          FindingKind::not_as_stated, seen.over_others,
          fmt::format("The largest tooth gives {:.2f} times the others' size and {:.2f} times their "
                      "width; {:.2f}{} is stated.",
                      seen.over_others, seen.wider, known.ratio.value_or(known_ratio()),
                      known.width ? fmt::format(" and {:.2f}", *known.width) : std::string()),
          "The gap is another than when the size was taken (a fifth of the gap changes it by a few "
          "hundredths), or the larger tooth is worn and another is damaged.",
          "Check the gap and look at the ring. If both are right, state the size as this recording shows it, "
          "or compare with a ring file (--ring), which bears another gap.");
    if (seen.verdict == ReferenceVerdict::perhaps_worn)
      refuse(FindingKind::perhaps_worn, seen.over_others,
             fmt::format("The largest tooth has the stated size, but the {} after it is smaller than the "
                         "others and may be "
                         "the larger tooth, worn.",
                         ordinal_tooth(rival)),
             "A tooth is chipped or worn; which one cannot be told by size alone.", compare);
    if (seen.verdict == ReferenceVerdict::place_disputed)
      refuse(FindingKind::larger_tooth_moved, seen.with_known ? seen.with_known->lead : 0.0,
             "The largest tooth is not where the other teeth, compared with the known ring, would have it.",
             "The larger tooth is worn and another is damaged, or the ring's teeth are too even to tell.",
             "Look at the ring.");
    if (seen.verdict == ReferenceVerdict::another_ring)
      refuse(
          FindingKind::another_ring, seen.with_known->misfit,
          "The teeth are not those of the known ring: spacing, size and width fit at no place.",
          "Another ring or another rotor was recorded, the ring was exchanged, or hum, a ring that runs out, "
          "or damage to several teeth changes the pulses.",
          "Check the serial number, the ring and its seat, cable screen and earthing. Only after an exchange "
          "start a new ring file; earlier phases cannot be carried over.");
    if (seen.verdict == ReferenceVerdict::polarity_reversed)
      refuse(FindingKind::polarity_reversed, 180.0 / ring.teeth,
             fmt::format("The signal fits the other polarity than declared; phase would be off by half a "
                         "tooth pitch ({:.3g} deg).",
                         180.0 / ring.teeth),
             "The pickup's two wires are exchanged, or the polarity is declared wrongly.",
             "Check the wiring against the diagram before changing the declaration.");
  }

  [[nodiscard]] double known_ratio() const {
    return known.ring ? std::exp(without_run_out(known.ring->size)[0]) : 0.0;
  }
  static std::string ordinal_tooth(int n) {
    const int tens = n % 100;
    const char* const end = tens >= 11 && tens <= 13 ? "th"
                            : n % 10 == 1            ? "st"
                            : n % 10 == 2            ? "nd"
                            : n % 10 == 3            ? "rd"
                                                     : "th";
    return fmt::format("{}{}", n, end);
  }

  void larger_tooth() {
    if (health.count_shown && *health.count_shown != ring.teeth)
      add(FindingKind::wrong_tooth_count, Gravity::refusal, *health.count_shown,
          fmt::format("A larger pulse returns every {} teeth; {} teeth are declared.", *health.count_shown,
                      ring.teeth),
          "The declared number of teeth is wrong, or another ring was recorded.",
          "Count the teeth, or find their number in the maker's manual.");
    if (ring.teeth < 2 || sums.count(ReferenceVerdict::trusted) == 0) {
      if (sums.count(ReferenceVerdict::polarity_reversed) > 0)
        add(FindingKind::polarity_reversed, Gravity::refusal, 0.5,
            "The pulse's slow side crosses zero where the tooth's centre is declared to pass.",
            "The pickup's two wires are exchanged, or the polarity is declared wrongly.",
            "Check the wiring against the diagram before changing the declaration.");
      return;
    }
    const ReferenceJudgement& seen = health.reference;
    if (seen.verdict != ReferenceVerdict::trusted) {
      if (!(health.count_shown && *health.count_shown != ring.teeth)) refused_reference();
      return;
    }
    if (seen.basis == ReferenceBasis::at_its_word)
      add(FindingKind::taken_at_its_word, Gravity::note, seen.over_others,
          "The larger tooth is taken at its word: one recording cannot tell a sound ring from one whose "
          "larger "
          "tooth is worn while another is damaged.",
          "There is nothing yet to compare this ring with.",
          "Keep this ring's file (--ring-to) and compare later runs with it (--ring).");
    if (seen.basis == ReferenceBasis::stated_size)
      add(FindingKind::taken_at_its_word, Gravity::note, seen.over_others,
          "The largest tooth has the stated size; a damaged tooth of just that size beside a worn larger one "
          "cannot be told from it.",
          "Only its size is known, and the ring's teeth are too even, or not known, to tell them apart.",
          "Keep this ring's file (--ring-to) and compare later runs with it (--ring).");
    if (seen.basis == ReferenceBasis::known_ring) worn();
    if (seen.basis != ReferenceBasis::known_ring && seen.over_next < weak_over_second)
      add(FindingKind::larger_tooth_weak, Gravity::caution, seen.over_next,
          fmt::format("The larger tooth gives only {:.1f} % more than the next largest.",
                      100.0 * (seen.over_next - 1.0)),
          "Wide gap, debris, wear of the larger tooth, or a ring with little difference.",
          "Check the gap and the larger tooth.");
  }

  void worn() {
    const double then = known_ratio(), now = health.reference.over_others;
    const bool beyond_gap = std::log(now) < gap_part * std::log(then);
    if (now < worn_part * then)
      add(FindingKind::larger_tooth_worn, beyond_gap ? Gravity::caution : Gravity::note, now / then,
          fmt::format(
              "The larger tooth gives {:.2f} times the others' size; it was {:.2f} in the known ring. "
              "The other teeth still say which it is.",
              now, then),
          beyond_gap ? "The larger tooth is worn, chipped or broken off, or debris lies on the pickup's tip."
                     : "A narrower gap does that; so does a larger tooth that is a little worn.",
          beyond_gap ? "Inspect the larger tooth." : "Check the gap.");
  }

  void counting() {
    const double all = static_cast<double>(std::max<std::int64_t>(1, health.tally.pulses));
    const auto dropped = health.tally.dropped, extra = health.tally.extra, lost = health.tally.lost;
    if (dropped > 0)
      add(FindingKind::dropped_pulses,
          static_cast<double>(dropped) > many_dropped * all ? Gravity::caution : Gravity::note,
          static_cast<double>(dropped),
          fmt::format("{} pulses are missing of {}.", dropped, dropped + health.tally.pulses),
          "Debris bridging the tip, intermittent contact, too wide a gap, or a damaged tooth.",
          "Clean the tip; check the gap, the connector and the ring.");
    if (!health.without.empty()) return;  // noise in lost signal, which is told by time
    if (extra > 0)
      add(FindingKind::extra_pulses,
          static_cast<double>(extra) > many_extra * all ? Gravity::caution : Gravity::note,
          static_cast<double>(extra), fmt::format("{} pulses fit nowhere between their neighbours.", extra),
          "Electrical interference, debris, or a loose pickup.",
          "Check cable screen, earthing and fastening.");
    if (lost > 0)
      add(FindingKind::count_lost, Gravity::note, static_cast<double>(lost),
          fmt::format("The count of teeth had to start afresh {} times.", lost),
          "The rotor stopped or started, or the signal was lost for several teeth.",
          "Compare with the log of the run.");
  }

  /// Log sizes of the teeth over what they should be: the known ring's, or their neighbours'. Both neighbours
  /// of the larger tooth lose some of their flux to it: what both lack is no damage.
  [[nodiscard]] Eigen::ArrayXd oddness() const {
    Eigen::ArrayXd sizes = without_run_out(health.ring.size);
    if (health.reference.basis == ReferenceBasis::known_ring)
      return sizes - without_run_out(known.ring->size);
    double& next = sizes[1];
    double& before = sizes[ring.teeth - 1];
    if (std::isfinite(next) && std::isfinite(before)) {
      const double shared = std::min(0.0, std::max(next, before));
      next -= shared;
      before -= shared;
    }
    return sizes;
  }

  /// The same of places [pitches]: a wide tooth pushes its neighbours' crossings apart.
  [[nodiscard]] Eigen::ArrayXd out_of_place() const {
    Eigen::ArrayXd spacing = health.ring.spacing;
    if (health.reference.basis == ReferenceBasis::known_ring) return spacing - known.ring->spacing;
    double& next = spacing[1];
    double& before = spacing[ring.teeth - 1];
    if (next * before < 0.0) {
      const double shared = std::copysign(std::min(std::abs(next), std::abs(before)), next);
      next -= shared;
      before += shared;
    }
    return spacing;
  }

  void single_teeth() {
    if (ring.teeth < 4 || health.trusted_blocks == 0) return;
    const Eigen::ArrayXd sizes = oddness(), spacing = out_of_place();
    std::vector<double> places, odd;
    for (int tooth = 0; tooth < ring.teeth; ++tooth) {
      if (tooth > 0 && std::isfinite(spacing[tooth])) places.push_back(spacing[tooth]);
      if (tooth > 0 && std::isfinite(sizes[tooth])) odd.push_back(std::abs(sizes[tooth]));
    }
    const double usual_place = median_of(places), usual_oddness = median_of(odd);
    for (double& place : places) place = std::abs(place - usual_place);
    const double usual_error = median_of(places);
    for (int tooth = 0; tooth < ring.teeth; ++tooth) {
      if (health.ring.broken_off(tooth)) {
        add(FindingKind::tooth_broken_off, Gravity::caution, tooth,
            tooth == 0 ? std::string("The larger tooth never gives a pulse.")
                       : fmt::format("Tooth {} after the reference tooth never gives a pulse.", tooth),
            "That tooth is broken off.", "Inspect that tooth of the ring.", tooth);
        continue;
      }
      if (tooth == 0) continue;
      odd_place(tooth, spacing[tooth] - usual_place, usual_error);
      if (std::abs(sizes[tooth]) > std::max(odd_size, odd_spacing * usual_oddness))
        add(FindingKind::tooth_of_odd_size, Gravity::caution, std::expm1(sizes[tooth]),
            fmt::format("Tooth {} after the reference tooth gives a pulse {:.0f} % {} than the others.",
                        tooth, 100.0 * std::abs(std::expm1(sizes[tooth])),
                        sizes[tooth] > 0.0 ? "larger" : "smaller"),
            "A chipped or bent tooth, or something adhering to it.", "Inspect that tooth of the ring.",
            tooth);
    }
  }

  /// `off`, `usual` [pitches].
  void odd_place(int tooth, double off, double usual) {
    const double pitch_deg = 360.0 / ring.teeth;
    const double noise = health.ring.spacing_scatter / std::sqrt(std::max(1.0, health.ring.pulses[tooth]));
    if (std::abs(off) > std::max({odd_spacing * usual, clear_of_noise * noise, least_odd_spacing}))
      add(FindingKind::tooth_out_of_place, Gravity::caution, pitch_deg * off,
          fmt::format(
              "Tooth {} after the reference tooth passes {:.3g} deg of rotation {} (noise {:.2g} deg).",
              tooth, std::abs(pitch_deg * off), off > 0.0 ? "late" : "early", pitch_deg * noise),
          "A damaged or bent tooth, or something adhering to it.", "Inspect that tooth of the ring.", tooth);
  }

  void swing() {
    double smallest = 0.0, largest = 0.0;
    for (const auto& [speed, sum] : sums.swing_by_speed) {
      if (sum.second < 2.0) continue;
      const double mean = sum.first / sum.second;
      smallest = smallest == 0.0 ? mean : std::min(smallest, mean);
      largest = std::max(largest, mean);
    }
    if (smallest > 0.0 && largest > (1.0 + swing_change) * smallest)
      add(FindingKind::swing_changes_with_speed, Gravity::caution, largest / smallest - 1.0,
          fmt::format("Pulse size, speed divided out, differs by {:.0f} % between speeds.",
                      100.0 * (largest / smallest - 1.0)),
          "The gap changes with speed or temperature, or the channel's frequency response is not flat.",
          "Check the gap and the pickup's fastening.");
    if (sums.regular_blocks >= 20.0 &&
        std::abs(sums.last_swing - sums.first_swing) > swing_change * sums.first_swing)
      add(FindingKind::swing_changes_with_time, Gravity::caution, sums.last_swing / sums.first_swing - 1.0,
          fmt::format("Pulse size, speed divided out, changed by {:.0f} % from beginning to end.",
                      100.0 * (sums.last_swing / sums.first_swing - 1.0)),
          "The gap is changing, or debris gathers on the tip.", "Check the gap and clean the tip.");
  }
};

}  // namespace

std::vector<Finding> findings(const ToothRing& ring, const HealthSums& sums, const ReferenceHealth& health,
                              const RingKnowledge& known, double duration_s) {
  Findings all{ring, sums, health, known, duration_s};
  all.larger_tooth();
  all.turning();
  all.counting();
  all.single_teeth();
  all.swing();
  std::stable_sort(all.found.begin(), all.found.end(),
                   [](const Finding& a, const Finding& b) { return a.gravity > b.gravity; });
  return all.found;
}

}  // namespace trimwright
