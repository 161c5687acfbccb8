#include "rehearsal.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "base/new_file.hpp"
#include "base/text.hpp"
#include "day.hpp"
#include "io/trade_values.hpp"
#include "io/yaml_fields.hpp"
#include "trimwright/files.hpp"
#include "virtual_rotor/demonstration.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

double share(const YamlValue& value, double most_percent) {
  const double percent = value.parsed(parse_percent);
  if (!(percent >= 0.0 && percent <= most_percent))
    value.reject("this is too much or too little", fmt::format("0 % to {:g} %", most_percent));
  return percent / 100.0;
}

/// rehearsal.yaml.
struct State {
  std::uint64_t seed = 0;
  virtual_rotor::RunScatter scatter;
  double reference_play_deg = 0.0;
  bool stops_at_limits = false, slip = false;
  double repeatability_mm_s = 0.0;
  PickupState pickup;
};

double read_repeatability(const YamlValue& value) {
  const auto quantity = value.parsed(parse_quantity);
  if (quantity.unit != "mm/s" || !(quantity.value >= 0.0 && quantity.value <= 10.0))
    value.reject("\"" + shortened(value.text()) + "\" is no repeatability", "0 mm/s to 10 mm/s");
  return quantity.value;
}

void read_scatter(const YamlValue& value, State& state) {
  YamlFields fields(value,
                    "{seating: 8 g.mm, run: 0.4 %, reading: 0.2 %, repeatability: 0.04 mm/s, speed: 0.1 %}");
  const auto seating = fields.required("seating");
  state.scatter.seating_moment = seating.parsed(parse_moment_g_mm);
  if (!(state.scatter.seating_moment >= 0.0 && state.scatter.seating_moment <= 1e4))
    seating.reject("this is no scatter", "0 g.mm to 10000 g.mm");
  state.scatter.gain_of_run = share(fields.required("run"), 20.0);
  state.scatter.gain_of_reading = share(fields.required("reading"), 20.0);
  state.repeatability_mm_s = read_repeatability(fields.required("repeatability"));
  state.scatter.speed = share(fields.required("speed"), 20.0);
  if (const auto reference = fields.optional("reference")) {
    const auto play = reference->parsed(parse_quantity);
    if (play.unit != "deg" || !(play.value >= 0.0 && play.value <= 180.0))
      reference->reject("this is no play", "0 deg to 180 deg");
    state.reference_play_deg = play.value;
  }
  fields.finish();
}

PickupState read_pickup(const YamlValue& value) {
  YamlFields fields(value, "{gap: 1 mm, lost: 0 %, altered: 0 %, false: 0 %}");
  PickupState pickup;
  const auto gap = fields.required("gap");
  pickup.gap_mm = gap.parsed(parse_length_mm);
  if (!(pickup.gap_mm >= 0.1 && pickup.gap_mm <= 10.0)) gap.reject("this is no gap", "0.1 mm to 10 mm");
  pickup.debris.missing = share(fields.required("lost"), 100.0);
  pickup.debris.altered = share(fields.required("altered"), 100.0);
  pickup.debris.extra = share(fields.required("false"), 100.0);
  fields.finish();
  return pickup;
}

Result<State> read_state(const std::string& path) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    State state;
    const YamlValue root = parse_yaml(path, *text, "rehearsal");
    YamlFields fields(root, "a rehearsal");
    (void)fields.required("trimwright");
    state.seed = static_cast<std::uint64_t>(fields.required("seed").whole_number(0, 1'000'000'000));
    if (const auto stops = fields.optional("stops_at_limits"))
      state.stops_at_limits = stops->choice<bool>({{"no", false}, {"yes", true}});
    if (const auto slip = fields.optional("slip"))
      state.slip = slip->choice<bool>({{"none", false}, {"one", true}});
    read_scatter(fields.required("scatter"), state);
    if (const auto pickup = fields.optional("pickup")) state.pickup = read_pickup(*pickup);
    fields.finish();
    return state;
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

virtual_rotor::VirtualRotor rotor_behind(const State& state) {
  auto rotor = virtual_rotor::family_member(virtual_rotor::demonstration_rotor(), {}, state.seed);
  for (auto& sensor : rotor.sensors) sensor.repeatability = state.repeatability_mm_s;
  return rotor;
}

template <class Written, class Virtual>
bool same_names(const std::vector<Written>& written, const std::vector<Virtual>& real) {
  return std::equal(written.begin(), written.end(), real.begin(), real.end(),
                    [](const auto& a, const auto& b) { return a.name == b.name; });
}

/// What the truth is told by: slots in every plane, a limit at every speed.
Result<void> check_slots_and_limits(const Location& where, const Rotor& rotor, double full_speed_rpm) {
  for (const Plane& plane : rotor.planes)
    if (!plane.slots) return fail("plane \"" + plane.name + "\" has no slots", "slots in every plane", where);
  for (const Sensor& sensor : rotor.sensors)
    for (const double percent : rehearsal_speeds_percent)
      if (sensor.band_at(percent / 100.0 * full_speed_rpm) == nullptr)
        return fail(fmt::format("sensor \"{}\" has no limit at {:g} %", sensor.name, percent),
                    "limits up to 96 %", where);
  return {};
}

/// The rotor file may be edited, but it must remain a file about this rotor.
Result<void> check_rotor(const std::string& path, const Rotor& rotor,
                         const virtual_rotor::VirtualRotor& real) {
  const Location where{path, 0, {}};
  if (!same_names(rotor.planes, real.planes))
    return fail("the planes are not those of the virtual rotor", "spinner and drum, in this order", where);
  if (!same_names(rotor.sensors, real.sensors))
    return fail("the sensors are not those of the virtual rotor", "front and turbine, in this order", where);
  for (const Sensor& sensor : rotor.sensors)
    if (sensor.unit.quantity == MotionQuantity::as_shown)
      return fail("sensor \"" + sensor.name + "\" has a display unit, which the virtual rotor cannot show",
                  "a unit of displacement, velocity or acceleration", where);
  if (rotor.phase == PhaseConvention::unknown)
    return fail("the phase convention is unknown, so no phase can be written", "lag or lead", where);
  if (!rotor.speed_100_rpm || std::abs(*rotor.speed_100_rpm - real.full_speed_rpm) > 0.5)
    return fail("100 % is not the virtual rotor's full speed",
                fmt::format("speed_100: {:.0f} rpm", real.full_speed_rpm), where);
  return check_slots_and_limits(where, rotor, real.full_speed_rpm);
}

}  // namespace

std::string Rehearsal::file(const std::string& name) const { return (fs::path(folder) / name).string(); }

Result<void> create_rehearsal(const std::string& folder, std::uint64_t seed, RehearsalDay day) {
  std::error_code failed;
  fs::create_directories(folder, failed);
  if (failed)
    return tl::unexpected(Error{"the folder cannot be made (" + failed.message() + ")",
                                "a place this user may write to",
                                {folder, unwritten, {}}});
  for (const char* name : {"rehearsal.yaml", "rotor.yaml", "job.yaml"}) {
    const std::string path = (fs::path(folder) / name).string();
    if (fs::exists(path, failed))
      return fail("this file is there already", "a new folder for each rehearsal", {path, 0, {}});
  }
  const std::string rotor = (fs::path(folder) / "rotor.yaml").string();
  if (auto written = write_text_file(rotor, rotor_text(day), NewFile::Existing::refused); !written)
    return written;
  auto written = write_text_file((fs::path(folder) / "rehearsal.yaml").string(), rehearsal_text(seed, day),
                                 NewFile::Existing::refused);
  if (!written) fs::remove(rotor, failed);
  return written;
}

Result<Rehearsal> read_rehearsal(const std::string& folder) {
  const auto state = read_state((fs::path(folder) / "rehearsal.yaml").string());
  if (!state) return tl::unexpected(state.error());
  const std::string rotor_path = (fs::path(folder) / "rotor.yaml").string();
  auto rotor = read_rotor(rotor_path);
  if (!rotor) return tl::unexpected(rotor.error());
  const auto real = rotor_behind(*state);
  if (const auto checked = check_rotor(rotor_path, *rotor, real); !checked)
    return tl::unexpected(checked.error());
  auto assembled = virtual_rotor::assemble(real);
  if (assembled && state->stops_at_limits)
    assembled = virtual_rotor::assemble(below_limits(*rotor, *assembled));
  if (!assembled) return tl::unexpected(assembled.error());
  return Rehearsal{
      folder,      state->seed,   state->scatter,    state->reference_play_deg, state->stops_at_limits,
      state->slip, state->pickup, *std::move(rotor), *std::move(assembled)};
}

Result<Job> rehearsal_job(const Rehearsal& rehearsal) {
  const std::string path = rehearsal.file("job.yaml");
  std::error_code status;
  if (fs::exists(path, status)) {
    auto file = read_job(path, ReadingTables::leave_out);
    if (!file) return tl::unexpected(file.error());
    return std::move(file->job);
  }
  Job job;
  job.rotor = rehearsal.rotor;
  job.fitted_now.resize(job.rotor.planes.size());
  return job;
}

}  // namespace trimwright
