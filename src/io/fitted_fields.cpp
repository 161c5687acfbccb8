#include "fitted_fields.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/name.hpp"
#include "runs/used_runs.hpp"
#include "trade_values.hpp"
#include "trimwright/files.hpp"

namespace trimwright {

namespace {

/// What a result of the judge refuses is refused here, where it is written.
template <class T>
T accepted(const YamlValue& value, const Result<T>& result) {
  if (!result) value.reject(result.error().what, result.error().expected);
  if constexpr (!std::is_void_v<T>) return *result;
}

Piece read_catalogue_piece(const YamlValue& value, const Plane& plane) {
  return accepted(value, catalogue_piece(plane, value.text("a weight of the plane's catalogue")));
}

int checked_slot(const YamlValue& value, const Plane& plane, int slot) {
  accepted(value, check_slot(plane, slot));
  return slot;
}

int slot_from_key(const std::string& key, const YamlValue& value, const Plane& plane) {
  const auto number = parse_quantity(key);
  if (!number || !number->unit.empty() || number->value != static_cast<int>(number->value))
    value.reject("\"" + shortened(key) + "\" is not a slot number", "a slot number, or a list of items");
  return checked_slot(value, plane, static_cast<int>(number->value));
}

void put(FittedWeights& fitted, const YamlValue& value, int slot, Piece piece) {
  if (!fitted.slots.emplace(slot, std::move(piece)).second)
    value.reject(fmt::format("slot {} is filled twice", slot), "one piece in a slot");
}

/// {slot: 3, weight: w2}, {slot: 3, moment: 780 g.mm} or {at: angle, moment: 780 g.mm}.
void read_item(const YamlValue& value, const Rotor& rotor, const Plane& plane, FittedWeights& fitted) {
  YamlFields fields(value, "{slot: N, weight: ID} or {at: angle, moment: M}");
  const auto slot = fields.optional("slot");
  const auto at = fields.optional("at");
  const auto weight = fields.optional("weight");
  if (slot.has_value() == at.has_value()) value.reject("the piece has no one place", "either slot or at");
  if (weight && at) value.reject("a catalogue weight sits in a slot", "slot instead of at, or a moment");
  const auto piece =
      weight ? read_catalogue_piece(*weight, plane) : Piece{std::string{}, read_moment(fields).moment_g_mm};
  if (slot) {
    put(fitted, value, checked_slot(*slot, plane, slot->whole_number(1, 100000)), piece);
  } else {
    fitted.free.push_back({piece.moment_g_mm, read_rotor_angle(*at, rotor.rotation), at->text()});
  }
  fields.finish();
}

FittedWeights read_plane_fitted(const YamlValue& value, const Rotor& rotor, const Plane& plane) {
  FittedWeights fitted;
  if (value.is_list()) {
    for (const auto& item : value.list("pieces")) read_item(item, rotor, plane, fitted);
  } else if (value.is_map()) {
    for (const auto& [key, id] : value.entries("slots and weights"))
      put(fitted, id, slot_from_key(key, id, plane), read_catalogue_piece(id, plane));
  } else {
    (void)value.choice<bool>({{"none", true}, {"{slot: weight, ...}", false}});
  }
  accepted(value, check_possible(plane, fitted));
  return fitted;
}

/// "same as" another run's, by that run's name.
const std::vector<FittedWeights>& fitted_of_run(const YamlValue& value, const std::string& name,
                                                const Job& job) {
  if (const auto run = run_named(job, name)) return job.runs[*run].fitted;
  value.reject("no earlier run is called \"" + shortened(name) + "\"", "the name of a run above this line");
}

/// What a slot holds in a choice: "K3" or {"moment_g_mm": 780}.
Piece read_chosen_piece(const YamlValue& value, const Plane& plane) {
  if (!value.is_map()) return read_catalogue_piece(value, plane);
  YamlFields fields(value, "a weight of the plane's catalogue, or {\"moment_g_mm\": M}");
  const Piece piece{{}, fields.required("moment_g_mm").number(0.0, 1e9)};
  fields.finish();
  return piece;
}

/// Refuses a choice that was made for something else.
void check_label(YamlFields& fields, const std::string& key, const std::string& wanted) {
  const auto value = fields.optional(key);
  const std::string found = value ? value->text() : std::string{};
  if (alike(found, wanted)) return;
  const std::string expected = wanted.empty() ? "no " + key : "\"" + shortened(wanted) + "\", as in the job";
  (value ? *value : fields.map())
      .reject("this choice was made for " + key + " \"" + shortened(found) + "\"", expected);
}

std::vector<FittedWeights> read_choice(const YamlValue& root, const Job& job) {
  YamlFields fields(root, "a choice of weights");
  (void)fields.required("trimwright");
  check_label(fields, "rotor", job.rotor.name);
  check_label(fields, "serial", job.serial);
  YamlFields planes(fields.required("fitted"), "{\"plane\": {\"slot\": \"weight\", ...}, ...}");
  fields.finish();
  auto fitted = job.fitted_now;
  for (std::size_t p = 0; p < fitted.size(); ++p) {
    const Plane& plane = job.rotor.planes[p];
    if (!plane.slots) continue;
    const auto slots = planes.required(plane.name);
    fitted[p].slots.clear();
    for (const auto& [key, value] : slots.entries("{\"slot\": \"weight\", ...}; {} where none is fitted"))
      put(fitted[p], value, slot_from_key(key, value, plane), read_chosen_piece(value, plane));
    accepted(slots, check_possible(plane, fitted[p]));
  }
  planes.finish();
  return fitted;
}

}  // namespace

std::size_t plane_called(const std::string& name, const YamlValue& value, const Rotor& rotor) {
  const auto plane = rotor.plane_named(name);
  if (!plane) value.reject("the rotor has no plane \"" + shortened(name) + "\"", alternatives(rotor.planes));
  return *plane;
}

std::size_t read_plane_name(const YamlValue& value, const Rotor& rotor) {
  return plane_called(value.text("a plane of the rotor"), value, rotor);
}

std::size_t read_sensor_name(const YamlValue& value, const Rotor& rotor) {
  const std::string name = value.text("a sensor of the rotor");
  const auto sensor = rotor.sensor_named(name);
  if (!sensor)
    value.reject("the rotor has no sensor \"" + shortened(name) + "\"", alternatives(rotor.sensors));
  return *sensor;
}

std::vector<FittedWeights> read_fitted(const YamlValue& value, const Job& job) {
  const auto& planes = job.rotor.planes;
  std::vector<FittedWeights> fitted(planes.size());
  if (value.is_text()) {
    const std::string text = value.text();
    if (text == "none") return fitted;
    if (text.starts_with("same as ")) return fitted_of_run(value, text.substr(8), job);
    value.reject(
        "\"" + shortened(text) + "\" does not say what was fitted",
        "none, same as <run>, or {plane: {slot: weight, ...}}: all that was fitted, not only what was added");
  }
  for (const auto& [name, pieces] : value.entries("none, same as <run>, or {plane: {slot: weight, ...}}")) {
    const std::size_t plane = plane_called(name, pieces, job.rotor);
    fitted[plane] = read_plane_fitted(pieces, job.rotor, planes[plane]);
  }
  return fitted;
}

Result<std::vector<FittedWeights>> read_fitted_choice(const std::string& path, const Job& job) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    return read_choice(parse_yaml(path, *text, "fitted"), job);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
