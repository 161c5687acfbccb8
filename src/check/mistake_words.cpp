#include <algorithm>
#include <iterator>

#include "trimwright/check.hpp"

namespace trimwright {
namespace {

/// Every kind, in the order in which they are listed, and its name in documents.
constexpr std::pair<MistakeKind, const char*> kind_names[] = {
    {MistakeKind::nothing, "nothing_wrong"},
    {MistakeKind::mirrored, "weights_mirrored"},
    {MistakeKind::shifted, "weights_shifted"},
    {MistakeKind::opposite, "weights_opposite"},
    {MistakeKind::missing, "weight_missing"},
    {MistakeKind::swapped, "weights_swapped"},
    {MistakeKind::wrong_size, "weight_of_wrong_size"},
    {MistakeKind::left_in, "weight_left_in"},
    {MistakeKind::wrong_plane, "wrong_plane"},
    {MistakeKind::phase_sense, "phase_sense"},
    {MistakeKind::polarity, "sensor_polarity"},
    {MistakeKind::sensors_exchanged, "sensors_exchanged"},
    {MistakeKind::reference_shifted, "reference_shifted"},
    {MistakeKind::time_delay, "time_delay"},
    {MistakeKind::sensor_changed, "sensor_changed"},
    {MistakeKind::unit, "unit_or_detector"},
    {MistakeKind::mistyped, "reading_mistyped"},
    {MistakeKind::speed, "speeds_exchanged"},
    {MistakeKind::runs_exchanged, "runs_exchanged"},
    {MistakeKind::phase_sense_everywhere, "phase_sense_in_every_run"},
    {MistakeKind::rotor_changed, "rotor_changed"},
    {MistakeKind::none_of_these, "none_of_these"},
};
static_assert(std::size(kind_names) == static_cast<std::size_t>(MistakeKind::none_of_these) + 1);

}  // namespace

bool names_a_cause(MistakeKind kind) {
  return kind != MistakeKind::nothing && kind != MistakeKind::none_of_these;
}

std::string mistake_words(const Job& job, const RankedMistake& one) {
  return (one.run ? "run \"" + job.runs[*one.run].name + "\": " : std::string{}) + one.what;
}

const std::vector<MistakeKind>& mistake_kinds() {
  static const std::vector<MistakeKind> all = [] {
    std::vector<MistakeKind> kinds;
    for (const auto& one : kind_names) kinds.push_back(one.first);
    return kinds;
  }();
  return all;
}

std::string mistake_name(MistakeKind kind) {
  return std::find_if(std::begin(kind_names), std::end(kind_names),
                      [kind](const auto& one) { return one.first == kind; })
      ->second;
}

std::string mistake_remedy(MistakeKind kind, bool of_check_run) {
  using enum MistakeKind;
  switch (kind) {
    case nothing:
      return {};
    case mirrored:
    case shifted:
    case opposite:
    case missing:
    case swapped:
    case wrong_size:
    case left_in:
    case wrong_plane:
      if (!of_check_run)
        return "Ask who fitted the weights of that run, and look at its sheet: slot 1, the way the numbers "
               "grow, "
               "the piece in each slot, what was taken out; count the weights that are left over.";
      return "Two people compare every slot of every plane with the list: slot 1, the way the numbers grow, "
             "the "
             "piece in each slot, and what was taken out.";
    case mistyped:
    case speed:
    case runs_exchanged:
      return "Compare the table of readings with what was written down at the instrument: run, speed, sensor "
             "and every figure.";
    case phase_sense:
    case phase_sense_everywhere:
      return "Check that the instrument's phase is lag or lead as the rotor file says.";
    case polarity:
    case sensors_exchanged:
      return "Check the sensors: which is on which channel, its mounting direction and its wiring.";
    case reference_shifted:
      return "Check the reference: pickup, polarity, the larger tooth and the tooth count.";
    case time_delay:
      return "Check filters, cables and settings of the instrument: something is later or earlier than in "
             "the "
             "runs before.";
    case sensor_changed:
      return "Check the sensor, its cable and its charge converter: was one exchanged, is one loose?";
    case unit:
      return "Check unit and detector (peak, peak to peak, rms) of the readings.";
    case rotor_changed:
      return "Inspect the rotor as the manual says: blades, their seating, loose or lost parts, ice or dirt; "
             "and compare warm-up and dwell with the runs before.";
    case none_of_these:
      return "Repeat the run under the same conditions; if the readings stay, look beyond the trim.";
  }
  return {};
}

}  // namespace trimwright
