#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "trimwright/base/angle.hpp"
#include "trimwright/reference/reference_health.hpp"

namespace trimwright {
namespace {

constexpr double uncovered_s = 5.0;        ///< without turning teeth, worth a remark
constexpr double weak_over_second = 1.10;  ///< less lead than this of the larger tooth is weak
constexpr double many_dropped = 0.002;     ///< of all pulses
constexpr double many_extra = 0.002;
constexpr double clear_of_noise = 6.0;       ///< standard deviations
constexpr double odd_spacing = 6.0;          ///< times the usual (median) spacing error
constexpr double least_odd_spacing = 0.005;  ///< pitches
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

/// Collects findings about one recording.
struct Findings {
  const ToothRing& ring;
  const HealthSums& sums;
  const ReferenceHealth& health;
  const SpacingErrors& spacing;
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

  void turning() {
    if (health.tally.pulses == 0) {
      add(FindingKind::no_pulses, Gravity::refusal, 0.0, "The tooth channel shows no pulses at all.",
          "The rotor stood still, another channel was recorded, or the pickup or its cable is open.",
          "Check which channel holds the tooth signal; then the pickup's connector and resistance.");
      return;
    }
    const double still_s = duration_s - sums.covered_s;
    if (sums.blocks == 0 || (still_s > uncovered_s && sums.covered_s < 0.95 * duration_s))
      add(FindingKind::stopped_in_between, sums.blocks == 0 ? Gravity::refusal : Gravity::note, still_s,
          fmt::format("For {:.1f} s of {:.1f} s there is no regular train of teeth.", still_s, duration_s),
          "The rotor was stopped or below the lowest declared speed, or the signal was lost.",
          "Compare with the log of the run.");
    const int irregular = sums.count(ReferenceVerdict::not_regular);
    if (irregular > 0)
      add(FindingKind::pulses_irregular, gravity_of(irregular), irregular,
          fmt::format("In {} of {} blocks the pulses come too unevenly for a ring of teeth.", irregular,
                      sums.blocks),
          "Noise taken for teeth, a wrong channel, or a loose pickup.",
          "Check the channel, the pickup's fastening and its cable screen.");
    const int outside = sums.count(ReferenceVerdict::speed_out_of_range);
    if (outside > 0)
      add(FindingKind::speed_out_of_range, gravity_of(outside), outside,
          fmt::format(
              "In {} of {} blocks the speed lies outside the declared {:.0f} to {:.0f} rpm; speeds from "
              "{:.0f} to {:.0f} rpm were seen.",
              outside, sums.blocks, ring.lowest_rpm, ring.highest_rpm, sums.lowest_rpm, sums.highest_rpm),
          "Another range was run than declared, or the declared number of teeth is wrong.",
          "Check the number of teeth and the speed range in the rotor file.");
  }

  void larger_tooth() {
    if (health.count_shown && *health.count_shown != ring.teeth)
      add(FindingKind::wrong_tooth_count, Gravity::refusal, *health.count_shown,
          fmt::format("A larger pulse returns every {} teeth; {} teeth are declared.", *health.count_shown,
                      ring.teeth),
          "The declared number of teeth is wrong, or another ring was recorded.",
          "Count the teeth, or find their number in the maker's manual.");
    const int none = sums.count(ReferenceVerdict::no_larger_tooth);
    if (none > 0)
      add(FindingKind::no_larger_tooth, gravity_of(none), none,
          fmt::format("In {} of {} blocks no tooth stands out clearly.", none, sums.blocks),
          "Noise, debris on the pickup's tip, too wide a gap, or a wrong number of teeth.",
          "Clean the tip and check the gap to the ring.");
    const int moved = sums.count(ReferenceVerdict::place_disputed);
    if (moved > 0)
      add(FindingKind::larger_tooth_moved, gravity_of(moved), moved,
          fmt::format("In {} of {} blocks the larger tooth appears in more than one place.", moved,
                      sums.blocks),
          "Pulses lost or doubled unnoticed (debris, intermittent contact), or two teeth of like size.",
          "Clean the tip; check connector and cable for intermittent contact.");
    const int reversed = sums.count(ReferenceVerdict::polarity_reversed);
    if (reversed > 0)
      add(FindingKind::polarity_reversed, gravity_of(reversed), reversed,
          fmt::format(
              "In {} of {} blocks the signal fits the other polarity than declared; phase would be off "
              "by half a tooth pitch ({:.3g} deg).",
              reversed, sums.blocks, 180.0 / ring.teeth),
          "The pickup's two wires are exchanged, or the polarity is declared wrongly.",
          "Check the wiring against the diagram before changing the declaration.");
    if (ring.teeth > 1 && health.trusted_blocks > 0 && health.larger_over_second < weak_over_second)
      add(FindingKind::larger_tooth_weak, Gravity::caution, health.larger_over_second,
          fmt::format("The larger tooth gives only {:.1f} % more than the next largest.",
                      100.0 * (health.larger_over_second - 1.0)),
          "Wide gap, debris, wear of the larger tooth, or a ring with little difference.",
          "Check the gap and the larger tooth.");
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

  void single_teeth() {
    if (ring.teeth < 4 || health.trusted_blocks == 0) return;
    std::vector<double> spacing_errors, sizes;
    for (int tooth = 1; tooth < ring.teeth; ++tooth) {
      spacing_errors.push_back(spacing.at(tooth));
      sizes.push_back(health.size[tooth]);
    }
    const double usual_place = median_of(spacing_errors), usual_size = median_of(sizes);
    std::vector<double> distances, size_distances;
    for (const double error : spacing_errors) distances.push_back(std::abs(error - usual_place));
    for (const double size : sizes) size_distances.push_back(std::abs(size - usual_size));
    const double usual_error = median_of(distances), usual_oddness = median_of(size_distances);
    const double pitch = radians(360.0 / ring.teeth);
    for (int tooth = 1; tooth < ring.teeth; ++tooth) {
      const double off = spacing.at(tooth) - usual_place;
      const double noise = health.passage_scatter_rad / std::sqrt(std::max(1.0, spacing.passages(tooth)));
      if (std::abs(off) >
          std::max({odd_spacing * usual_error, clear_of_noise * noise, least_odd_spacing * pitch}))
        add(FindingKind::tooth_out_of_place, Gravity::caution, degrees(off),
            fmt::format(
                "Tooth {} after the reference tooth passes {:.3g} deg of rotation {} (noise {:.2g} deg).",
                tooth, std::abs(degrees(off)), off > 0.0 ? "late" : "early", degrees(noise)),
            "A damaged or bent tooth, or something adhering to it.", "Inspect that tooth of the ring.",
            tooth);
      const double odd = health.size[tooth] / usual_size - 1.0;
      if (std::abs(odd) > std::max(odd_size, odd_spacing * usual_oddness))
        add(FindingKind::tooth_of_odd_size, Gravity::caution, odd,
            fmt::format("Tooth {} after the reference tooth gives a pulse {:.0f} % {} than the others.",
                        tooth, 100.0 * std::abs(odd), odd > 0.0 ? "larger" : "smaller"),
            "A chipped or bent tooth, or something adhering to it.", "Inspect that tooth of the ring.",
            tooth);
    }
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
                              const SpacingErrors& spacing, double duration_s) {
  Findings all{ring, sums, health, spacing, duration_s};
  all.turning();
  all.larger_tooth();
  all.counting();
  all.single_teeth();
  all.swing();
  std::stable_sort(all.found.begin(), all.found.end(),
                   [](const Finding& a, const Finding& b) { return a.gravity > b.gravity; });
  return all.found;
}

}  // namespace trimwright
