#include "trimwright/files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "read_plane_rules.hpp"
#include "trade_values.hpp"
#include "trimwright/reference.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

SeenSense read_rotation(const YamlValue& value) {
  YamlFields fields(value, "{sense: clockwise or counterclockwise, seen_from: front or aft}");
  const auto sense = fields.required("sense").choice<Sense>(
      {{"clockwise", Sense::clockwise}, {"counterclockwise", Sense::counterclockwise}});
  const auto end = fields.required("seen_from")
                       .choice<ViewingEnd>({{"front", ViewingEnd::front}, {"aft", ViewingEnd::aft}});
  fields.finish();
  return {sense, end};
}

/// "numbered", which may also say how the numbers grow beside the rotation.
SeenSense read_numbering(YamlFields& fields, const SeenSense& rotation) {
  const auto numbered = fields.required("numbered");
  const auto end = fields.required("seen_from")
                       .choice<ViewingEnd>({{"front", ViewingEnd::front}, {"aft", ViewingEnd::aft}});
  return {numbered.choice<Sense>({{"clockwise", Sense::clockwise},
                                  {"counterclockwise", Sense::counterclockwise},
                                  {"with rotation", rotation.seen(end)},
                                  {"against rotation", opposite(rotation.seen(end))}}),
          end};
}

ReferenceRing read_reference(const YamlValue& value) {
  YamlFields fields(value, "{teeth: N, larger_tooth: N}");
  ReferenceRing ring;
  ring.teeth = fields.required("teeth").whole_number(1, most_teeth);
  ring.larger_tooth = fields.required("larger_tooth").whole_number(1, ring.teeth);
  const auto polarity = fields.optional("polarity");
  ring.polarity_stated = polarity.has_value();
  if (polarity) ring.falling = polarity->choice<bool>({{"falling", true}, {"rising", false}});
  if (const auto mark = fields.optional("mark")) ring.mark = mark->text();
  if (const auto size = fields.optional("larger_size")) ring.larger_size = size->number(1.02, 10.0);
  if (const auto width = fields.optional("larger_width")) ring.larger_width = width->number(0.5, 10.0);
  fields.finish();
  return ring;
}

/// Of blades or slots: `least` at the least, the angle of the first under `key`.
template <class Ring>
void read_ring(YamlFields& fields, const SeenSense& rotation, int least, const char* key, Ring& ring,
               RotorAngle& first, std::string& first_written) {
  ring.count = fields.required("count").whole_number(least, 400);
  const auto at = fields.required(key);
  first = read_rotor_angle(at, rotation);
  first_written = at.text();
  ring.numbered = read_numbering(fields, rotation);
  ring.numbered_relative = ring.numbered.relative_to(rotation);
}

BladeRow read_blades(const YamlValue& value, const SeenSense& rotation) {
  YamlFields fields(value, "{count: N, blade_1_at: angle, numbered: sense, seen_from: end}");
  BladeRow blades;
  read_ring(fields, rotation, 2, "blade_1_at", blades, blades.blade_1, blades.blade_1_written);
  fields.finish();
  return blades;
}

SlotRing read_slots(const YamlValue& value, const SeenSense& rotation) {
  YamlFields fields(value, "{count: N, slot_1_at: angle, numbered: sense, seen_from: end}");
  SlotRing ring;
  read_ring(fields, rotation, 1, "slot_1_at", ring, ring.slot_1, ring.slot_1_written);
  if (const auto unusable = fields.optional("unusable"))
    ring.unusable = read_slot_list(*unusable, ring.count);
  fields.finish();
  return ring;
}

Weight read_weight(const YamlValue& value, const Plane& plane) {
  YamlFields fields(value, "{id: NAME, mass: M, radius: R} or {id: NAME, moment: M}");
  Weight weight;
  weight.id = fields.required("id").label();
  const auto moment = read_moment(fields);
  weight.moment_g_mm = moment.moment_g_mm;
  weight.mass_g = moment.mass_g;
  weight.radius_mm = moment.radius_mm;
  weight.written = moment.text;
  if (!(weight.moment_g_mm > 0.0))
    value.reject("the weight has no moment", "a mass and radius, or moment, above zero");
  if (const auto stock = fields.optional("stock")) weight.stock = stock->whole_number(0, 100000);
  if (const auto only = fields.optional("only_in")) {
    if (!plane.slots) only->reject("plane \"" + plane.name + "\" has no slots", "slots for the weights");
    weight.only_in = read_slot_list(*only, plane.slots->count);
  }
  if (const auto part = fields.optional("part_number")) weight.part_number = part->text();
  fields.finish();
  return weight;
}

double read_moment_limit(const YamlValue& value) {
  const double limit = value.parsed(parse_moment_g_mm);
  if (!(limit > 0.0)) value.reject("\"" + value.text() + "\" is no limit", "a moment above zero");
  return limit;
}

void read_catalogue(YamlFields& fields, Plane& plane) {
  const auto weights = fields.optional("weights");
  if (!weights) return;
  for (const auto& one : weights->list("a list of weights")) {
    auto weight = read_weight(one, plane);
    check_apart(one, "weight", weight.id, plane.weights, &Weight::id);
    plane.weights.push_back(std::move(weight));
  }
}

/// "2 %": a share of something, at most `most`.
double read_share(const YamlValue& value, double most) {
  const auto share = parse_quantity(value.text("a share, as 2 %"));
  if (!share || share->unit != "%" || !(share->value >= 0.0) || share->value > 100.0 * most)
    value.reject("\"" + shortened(value.text()) + "\" is no share that can be",
                 fmt::format("0 % to {:g} %", 100.0 * most));
  return share->value / 100.0;
}

double read_slot_tolerance(const YamlValue& value) {
  const auto angle = parse_quantity(value.text("an angle, as 0.5 deg"));
  if (!angle || angle->unit != "deg" || !(angle->value >= 0.0) || angle->value > 10.0)
    value.reject("\"" + shortened(value.text()) + "\" is no tolerance of a slot's angle", "0 deg to 10 deg");
  return angle->value;
}

Plane read_plane(const YamlValue& value, const SeenSense& rotation) {
  YamlFields fields(value, "a plane: {name: ..., slots: ..., weights: ...}");
  Plane plane;
  plane.name = fields.required("name").label();
  if (const auto access = fields.optional("access"))
    plane.access = access->choice<Access>({{"easy", Access::easy}, {"hard", Access::hard}});
  if (const auto slots = fields.optional("slots")) plane.slots = read_slots(*slots, rotation);
  if (const auto filler = fields.optional("filler")) {
    YamlFields parts(*filler, "{mass: M, radius: R} or {moment: M}");
    const auto moment = read_moment(parts);
    plane.filler = {moment.moment_g_mm, moment.mass_g};
    parts.finish();
  }
  read_catalogue(fields, plane);
  read_stacks_and_rules(fields, plane);
  if (const auto limit = fields.optional("max_total_moment"))
    plane.max_total_moment_g_mm = read_moment_limit(*limit);
  if (const auto limit = fields.optional("max_added_moment"))
    plane.max_added_moment_g_mm = read_moment_limit(*limit);
  if (const auto tolerance = fields.optional("weight_tolerance"))
    plane.weight_tolerance = read_share(*tolerance, 0.2);
  if (const auto tolerance = fields.optional("slot_tolerance"))
    plane.slot_tolerance_deg = read_slot_tolerance(*tolerance);
  fields.finish();
  if (!plane.slots && !plane.weights.empty())
    value.reject("plane \"" + plane.name + "\" has weights but no slots", "slots for the weights");
  return plane;
}

VibrationUnit read_sensor_unit(YamlFields& fields) {
  const auto measures = fields.required("measures")
                            .choice<MotionQuantity>({{"displacement", MotionQuantity::displacement},
                                                     {"velocity", MotionQuantity::velocity},
                                                     {"acceleration", MotionQuantity::acceleration},
                                                     {"as shown", MotionQuantity::as_shown}});
  const auto value = fields.required("unit");
  if (measures == MotionQuantity::as_shown) return display_unit(value.label());
  const auto unit = value.parsed(parse_vibration_unit);
  if (unit.quantity != measures)
    value.reject("\"" + unit.text() + "\" is a unit of " + std::string(name(unit.quantity)),
                 "a unit of " + std::string(name(measures)) + ", as \"measures\" says");
  return unit;
}

std::optional<MotionQuantity> read_phase_of(YamlFields& fields, const VibrationUnit& unit) {
  const auto value = fields.optional("phase_of");
  if (unit.quantity == MotionQuantity::as_shown) {
    if (value) value->reject("a display unit has no phase_of", "no such key");
    return std::nullopt;
  }
  if (!value) return unit.quantity;
  return value->choice<MotionQuantity>({{"displacement", MotionQuantity::displacement},
                                        {"velocity", MotionQuantity::velocity},
                                        {"acceleration", MotionQuantity::acceleration}});
}

void read_direction(YamlFields& fields, Sensor& sensor) {
  const auto value = fields.optional("direction");
  if (!value) return;
  YamlFields parts(*value, "{positive: outward or inward, mounted: where it sits}");
  if (const auto positive = parts.optional("positive"))
    sensor.positive_inward = positive->choice<bool>({{"outward", false}, {"inward", true}});
  if (const auto mounted = parts.optional("mounted")) sensor.mounting = mounted->text();
  parts.finish();
}

LimitBand read_band(const YamlValue& value, const Rotor& rotor, const Sensor& sensor) {
  YamlFields fields(value, "{up_to: speed, limit: amplitude, target: amplitude}");
  LimitBand band;
  if (const auto up_to = fields.optional("up_to")) band.up_to_rpm = read_speed(*up_to, rotor);
  const auto limit = fields.required("limit");
  band.limit = read_peak_amplitude(limit, sensor.unit);
  if (!(band.limit > 0.0)) limit.reject("\"" + limit.text() + "\" is no limit", "an amplitude above zero");
  if (const auto target = fields.optional("target")) {
    band.target = read_peak_amplitude(*target, sensor.unit);
    if (const auto possible = check_target(band); !possible) target->reject(possible.error());
  }
  fields.finish();
  return band;
}

/// None where they may still be open: `leave_limits_open` tells.
void read_bands(YamlFields& fields, const Rotor& rotor, Sensor& sensor) {
  if (!rotor.to_confirm.empty() && !fields.optional("limits")) return;
  for (const auto& one : fields.required("limits").list("a list of {up_to, limit, target}")) {
    sensor.bands.push_back(read_band(one, rotor, sensor));
    const auto n = sensor.bands.size();
    if (n > 1 && std::isinf(sensor.bands[n - 2].up_to_rpm))
      one.reject("the band before has no up_to, so that nothing is left for this one",
                 "up_to in every band but the last");
    if (n > 1 && sensor.bands[n - 1].up_to_rpm <= sensor.bands[n - 2].up_to_rpm)
      one.reject("this band does not end above the one before", "bands by rising speed");
  }
  if (sensor.bands.empty()) fields.map().reject("there is no limit", "at least one {up_to, limit}");
}

Sensor read_sensor(const YamlValue& value, const Rotor& rotor) {
  YamlFields fields(value, "a sensor: {name: ..., measures: ..., unit: ..., limits: ...}");
  Sensor sensor;
  sensor.name = fields.required("name").label();
  sensor.unit = read_sensor_unit(fields);
  sensor.phase_of = read_phase_of(fields, sensor.unit);
  read_direction(fields, sensor);
  read_bands(fields, rotor, sensor);
  if (const auto repeatability = fields.optional("repeatability")) {
    sensor.repeatability = read_peak_amplitude(*repeatability, sensor.unit);
    if (!(*sensor.repeatability > 0.0))
      repeatability->reject("no reading repeats exactly", "an amplitude above zero");
  }
  if (const auto change = fields.optional("run_to_run"))
    sensor.run_to_run = read_peak_amplitude(*change, sensor.unit);
  if (const auto share = fields.optional("proportional")) sensor.proportional = read_share(*share, 0.5);
  fields.finish();
  return sensor;
}

/// Limits that are still to be given are infinite; nothing is planned while the rotor says so.
void leave_limits_open(const YamlValue& value, const Rotor& rotor, Sensor& sensor) {
  if (!sensor.bands.empty()) return;
  if (!limits_open(rotor, sensor)) (void)YamlFields(value, "a sensor").required("limits");
  constexpr double open = std::numeric_limits<double>::infinity();
  sensor.bands.push_back({open, open, {}});
}

void read_speeds(YamlFields& fields, Rotor& rotor) {
  if (const auto full = fields.optional("speed_100")) rotor.speed_100_rpm = full->parsed(parse_rpm);
  const auto tolerance = fields.required("speed_tolerance");
  rotor.speed_tolerance_rpm = read_speed(tolerance, rotor);
}

/// Speeds further apart than a tenth of the highest one are never one point.
void check_speed_tolerance(const YamlValue& value, const Rotor& rotor) {
  double highest = 0.0;
  for (const auto& sensor : rotor.sensors) highest = std::max(highest, sensor.bands.back().up_to_rpm);
  if (rotor.speed_tolerance_rpm > 0.1 * highest)
    value.reject("\"" + value.text() + "\" would make one point of different speeds",
                 "at most a tenth of the highest speed that has a limit");
}

Rotor read_rotor_root(const YamlValue& root) {
  YamlFields fields(root, "a rotor");
  (void)fields.required("trimwright");
  Rotor rotor;
  rotor.name = fields.required("name").label();
  if (const auto open = fields.optional("to_confirm"))
    for (const auto& one : open->list("a list of what is only assumed, in words"))
      rotor.to_confirm.push_back(one.label());
  rotor.rotation = read_rotation(fields.required("rotation"));
  rotor.phase = fields.required("phase").choice<PhaseConvention>({{"lag", PhaseConvention::lag},
                                                                  {"lead", PhaseConvention::lead},
                                                                  {"unknown", PhaseConvention::unknown}});
  read_speeds(fields, rotor);
  if (const auto mass = fields.optional("mass")) rotor.mass_kg = mass->parsed(parse_mass_g) / 1000.0;
  if (rotor.mass_kg && !(*rotor.mass_kg > 0.0))
    fields.required("mass").reject("a rotor has mass", "a mass above zero");
  rotor.reference = read_reference(fields.required("reference"));
  if (const auto blades = fields.optional("blades")) rotor.blades = read_blades(*blades, rotor.rotation);
  const auto planes = fields.required("planes").list("a list of planes");
  if (planes.empty()) fields.required("planes").reject("there is no plane", "at least one plane");
  for (const auto& one : planes) {
    auto plane = read_plane(one, rotor.rotation);
    check_apart(one, "plane", plane.name, rotor.planes, &Plane::name);
    rotor.planes.push_back(std::move(plane));
  }
  const auto sensors = fields.required("sensors").list("a list of sensors");
  if (sensors.empty()) fields.required("sensors").reject("there is no sensor", "at least one sensor");
  for (const auto& one : sensors) {
    auto sensor = read_sensor(one, rotor);
    check_apart(one, "sensor", sensor.name, rotor.sensors, &Sensor::name);
    rotor.sensors.push_back(std::move(sensor));
  }
  for (std::size_t s = 0; s < sensors.size(); ++s) leave_limits_open(sensors[s], rotor, rotor.sensors[s]);
  check_speed_tolerance(fields.required("speed_tolerance"), rotor);
  fields.finish();
  return rotor;
}

}  // namespace

Result<Rotor> parse_rotor(const std::string& file, const std::string& text) {
  try {
    return read_rotor_root(parse_yaml(file, text, "rotor"));
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

Result<Rotor> read_rotor(const std::string& path) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  return parse_rotor(path, *text);
}

}  // namespace trimwright
