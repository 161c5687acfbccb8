#include <algorithm>
#include <iterator>

#include "run_comparison.hpp"
#include "runs/event_keys.hpp"
#include "trimwright/check.hpp"

namespace trimwright {
namespace {

constexpr const char* compare_slots =
    "Two people compare every slot of every plane with the list: slot 1, the way the numbers grow, the "
    "piece in each slot, and what was taken out.";
constexpr const char* compare_readings =
    "Compare the table of readings with what was written down at the instrument: run, speed, sensor and "
    "every figure.";
constexpr const char* check_phase =
    "Check that the instrument's phase is lag or lead as the rotor file says.";
constexpr const char* check_sensors =
    "Check the sensors: which is on which channel, its mounting direction and its wiring.";
constexpr const char* check_reference =
    "Check the reference: pickup, polarity, the larger tooth and the tooth count.";
constexpr const char* check_delay =
    "Check filters, cables and settings of the instrument: something is later or earlier than in the runs "
    "before.";
constexpr const char* check_sensor =
    "Check the sensor, its cable and its charge converter: was one exchanged, is one loose?";
constexpr const char* check_unit = "Check unit and detector (peak, peak to peak, rms) of the readings.";
constexpr const char* inspect_rotor =
    "Inspect the rotor as the manual says: blades, their seating, loose or lost parts, ice or dirt; and "
    "compare warm-up and dwell with the runs before.";
constexpr const char* repeat_run =
    "Repeat the run under the same conditions; if the readings stay, look beyond the trim.";

struct KindFacts {
  MistakeKind kind;
  const char* name;  ///< in documents
  MistakeOf of;
  const char* remedy;                  ///< what to look at
  std::optional<Event::Kind> event{};  ///< that a job says this with
};

/// Every kind, in the order in which they are listed.
constexpr KindFacts kind_facts[] = {
    {MistakeKind::nothing, "nothing_wrong", MistakeOf::nothing_known, ""},
    {MistakeKind::mirrored, "weights_mirrored", MistakeOf::weights, compare_slots},
    {MistakeKind::shifted, "weights_shifted", MistakeOf::weights, compare_slots},
    {MistakeKind::opposite, "weights_opposite", MistakeOf::weights, compare_slots},
    {MistakeKind::missing, "weight_missing", MistakeOf::weights, compare_slots},
    {MistakeKind::swapped, "weights_swapped", MistakeOf::weights, compare_slots},
    {MistakeKind::wrong_size, "weight_of_wrong_size", MistakeOf::weights, compare_slots},
    {MistakeKind::left_in, "weight_left_in", MistakeOf::weights, compare_slots},
    {MistakeKind::wrong_plane, "wrong_plane", MistakeOf::weights, compare_slots},
    {MistakeKind::phase_sense, "phase_sense", MistakeOf::measuring, check_phase},
    {MistakeKind::polarity, "sensor_polarity", MistakeOf::measuring, check_sensors},
    {MistakeKind::sensors_exchanged, "sensors_exchanged", MistakeOf::measuring, check_sensors},
    {MistakeKind::reference_shifted, "reference_shifted", MistakeOf::measuring, check_reference,
     Event::Kind::reference_moved},
    {MistakeKind::time_delay, "time_delay", MistakeOf::measuring, check_delay, Event::Kind::delay_changed},
    {MistakeKind::sensor_changed, "sensor_changed", MistakeOf::measuring, check_sensor,
     Event::Kind::sensor_changed},
    {MistakeKind::unit, "unit_or_detector", MistakeOf::measuring, check_unit},
    {MistakeKind::mistyped, "reading_mistyped", MistakeOf::one_reading, compare_readings},
    {MistakeKind::speed, "speeds_exchanged", MistakeOf::one_reading, compare_readings},
    {MistakeKind::runs_exchanged, "runs_exchanged", MistakeOf::several_runs, compare_readings},
    {MistakeKind::phase_sense_everywhere, "phase_sense_in_every_run", MistakeOf::several_runs, check_phase},
    {MistakeKind::rotor_changed, "rotor_changed", MistakeOf::rotor, inspect_rotor, Event::Kind::baseline_new},
    {MistakeKind::none_of_these, "none_of_these", MistakeOf::nothing_known, repeat_run},
};
static_assert(std::size(kind_facts) == static_cast<std::size_t>(MistakeKind::none_of_these) + 1);

const KindFacts& facts_of(MistakeKind kind) {
  return *std::find_if(std::begin(kind_facts), std::end(kind_facts),
                       [kind](const auto& one) { return one.kind == kind; });
}

}  // namespace

bool names_a_cause(MistakeKind kind) {
  return kind != MistakeKind::nothing && kind != MistakeKind::none_of_these;
}

std::string mistake_words(const Job& job, const RankedMistake& one) {
  return (one.run ? "run \"" + job.runs[*one.run].name + "\": " : std::string{}) + one.what;
}

std::vector<std::size_t> shown_mistakes(const MistakeRanking& ranking) {
  constexpr std::size_t most = 6;
  constexpr double least = 0.01;
  std::vector<std::size_t> shown;
  for (std::size_t i = 0; i < ranking.kinds.size(); ++i) {
    const auto& one = ranking.kinds[i];
    if (i < ranking.not_told_apart || (i < most && one.probability >= least) ||
        one.kind == MistakeKind::nothing)
      shown.push_back(i);
  }
  return shown;
}

const std::vector<MistakeKind>& mistake_kinds() {
  static const std::vector<MistakeKind> all = [] {
    std::vector<MistakeKind> kinds;
    for (const auto& one : kind_facts) kinds.push_back(one.kind);
    return kinds;
  }();
  return all;
}

std::string mistake_name(MistakeKind kind) { return facts_of(kind).name; }

MistakeOf mistake_of(MistakeKind kind) { return facts_of(kind).of; }

std::string event_key(MistakeKind kind) {
  const auto event = facts_of(kind).event;
  return event ? event_as_written(*event, "its name") : std::string{};
}

std::string mistake_remedy(MistakeKind kind, bool of_check_run) {
  if (mistake_of(kind) == MistakeOf::weights && !of_check_run)
    return "Ask who fitted the weights of that run, and look at its sheet: slot 1, the way the numbers grow, "
           "the piece in each slot, what was taken out; count the weights that are left over.";
  return facts_of(kind).remedy;
}

}  // namespace trimwright
