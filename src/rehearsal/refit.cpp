#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/text.hpp"
#include "io/fitted_fields.hpp"
#include "io/yaml_fields.hpp"
#include "rehearsal.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

[[noreturn]] void reject(const std::string& what, const std::string& expected, const std::string& file = {}) {
  throw InputError{{what, expected, {file, 0, {}}}};
}

/// A piece by hand may be so many times as heavy as the heaviest weight of its plane.
constexpr double most_heavier = 10.0;

/// What one slot is to give up and to get.
struct Refit {
  std::size_t plane = 0;
  int slot = 0;
  std::optional<Piece> remove, fit;
  bool whatever_it_holds = false;  ///< taken out by hand, without saying what
};

std::string words(const std::optional<Piece>& piece) {
  return piece ? piece_words(*piece, "a ") : "no weight";
}

std::size_t plane_named(const Rotor& rotor, const std::string& name, const std::string& file) {
  const auto plane = rotor.plane_named(name);
  if (!plane) reject("the rotor has no plane \"" + shortened(name) + "\"", alternatives(rotor.planes), file);
  return *plane;
}

/// What the judge of fitted weights refuses.
template <class T>
T accepted(const Result<T>& result, const std::string& file) {
  if (!result) reject(result.error().what, result.error().expected, file);
  if constexpr (!std::is_void_v<T>) return *result;
}

int checked_slot(const Plane& plane, int slot, const std::string& file) {
  accepted(check_slot(plane, slot), file);
  return slot;
}

/// "spinner 3": the last word is the slot.
Refit place_of(const Rotor& rotor, const std::string& text, const std::string& option) {
  const auto last_blank = text.find_last_of(' ');
  const auto number = last_blank == std::string::npos ? Result<Quantity>(fail("none"))
                                                      : parse_quantity(text.substr(last_blank + 1));
  if (!number || !number->unit.empty() || number->value != std::floor(number->value) ||
      std::abs(number->value) > 1e6)
    reject(option + ": \"" + shortened(text) + "\" names no slot",
           "a plane and a slot, such as \"spinner 3\"");
  Refit refit;
  refit.plane = plane_named(rotor, text.substr(0, last_blank), {});
  refit.slot = checked_slot(rotor.planes[refit.plane], static_cast<int>(number->value), {});
  return refit;
}

Refit by_hand_out(const Rotor& rotor, const std::string& text) {
  Refit refit = place_of(rotor, text, "--take-out");
  refit.whatever_it_holds = true;
  return refit;
}

Refit by_hand_in(const Rotor& rotor, const std::string& text) {
  const auto equals = text.find('=');
  if (equals == std::string::npos)
    reject("--fit: \"" + shortened(text) + "\" does not say what goes where", "such as \"spinner 3=K3\"");
  Refit refit = place_of(rotor, text.substr(0, equals), "--fit");
  const std::string what = text.substr(equals + 1);
  const Plane& plane = rotor.planes[refit.plane];
  if (const auto moment = parse_moment_g_mm(what); moment && *moment >= 0.0) {
    const double heaviest = plane.heaviest_g_mm();
    if (heaviest > 0.0 && *moment > most_heavier * heaviest)
      reject(fmt::format("--fit: no slot of {} holds {:g} g mm", plane.name, *moment),
             fmt::format("at most {:g} times its heaviest weight, {:g} g mm", most_heavier,
                         most_heavier * heaviest));
    refit.fit = Piece{{}, *moment};
  } else
    refit.fit = accepted(catalogue_piece(rotor.planes[refit.plane], what), {});
  return refit;
}

std::optional<Piece> plan_piece(const nlohmann::json& value, const Plane& plane, const std::string& file) {
  if (value.is_null()) return std::nullopt;
  if (value.is_string()) return accepted(catalogue_piece(plane, value.get<std::string>()), file);
  if (value.is_object() && value.contains("moment_g_mm") && value["moment_g_mm"].is_number())
    return Piece{{}, value["moment_g_mm"].get<double>()};
  reject("a slot of the plan holds something that is no weight", "an id, null or {\"moment_g_mm\": m}", file);
}

Refit plan_slot(const nlohmann::json& entry, const Rotor& rotor, const std::string& file) {
  const bool whole = entry.is_object() && entry.contains("plane") && entry["plane"].is_string() &&
                     entry.contains("slot") && entry["slot"].is_number_integer() &&
                     entry.contains("remove") && entry.contains("fit");
  if (!whole) reject("an entry of \"slots\" is not whole", "plane, slot, remove and fit", file);
  Refit refit;
  refit.plane = plane_named(rotor, entry["plane"].get<std::string>(), file);
  const Plane& plane = rotor.planes[refit.plane];
  const auto slot = entry["slot"].get<std::int64_t>();
  refit.slot = checked_slot(plane, slot > 0 && slot < 100000 ? static_cast<int>(slot) : 0, file);
  refit.remove = plan_piece(entry["remove"], plane, file);
  refit.fit = plan_piece(entry["fit"], plane, file);
  return refit;
}

std::vector<Refit> plan_refits(const std::string& path, const Rotor& rotor) {
  const auto text = read_text_file(path);
  if (!text) throw InputError{text.error()};
  const nlohmann::json plan = nlohmann::json::parse(*text, nullptr, false);
  const auto kind = plan.is_object() ? plan.value("trimwright", nlohmann::json()) : nlohmann::json();
  if (kind != "plan 1" && kind != "trial 1")
    reject("this is no plan", "a document of trimwright plan --format json", path);
  if (plan.value("rotor", nlohmann::json()) != rotor.name)
    reject("the plan is of another rotor", rotor.name, path);
  const auto slots = plan.find("slots");
  if (slots == plan.end() || !slots->is_array())
    reject("the plan has no list of slots", "the key \"slots\"", path);
  std::vector<Refit> refits;
  for (const nlohmann::json& entry : *slots) refits.push_back(plan_slot(entry, rotor, path));
  return refits;
}

bool same_piece(const std::optional<Piece>& a, const std::optional<Piece>& b) {
  if (!a || !b) return a.has_value() == b.has_value();
  return a->weight_id == b->weight_id &&
         (!a->weight_id.empty() || std::abs(a->moment_g_mm - b->moment_g_mm) < 1e-6 * b->moment_g_mm);
}

void carry_out(const Refit& refit, const Rotor& rotor, std::vector<FittedWeights>& fitted,
               const std::string& file) {
  auto& slots = fitted[refit.plane].slots;
  const std::optional<Piece> holds = held(fitted[refit.plane], refit.slot);
  const std::string slot = fmt::format("slot {} of {}", refit.slot, rotor.planes[refit.plane].name);
  if (refit.whatever_it_holds ? !holds : !same_piece(holds, refit.remove))
    reject(slot + " holds " + words(holds),
           refit.remove ? words(refit.remove) + " to take out"
           : refit.fit  ? "an empty slot to fit " + words(refit.fit) + " in"
                        : "a weight to take out",
           file);
  slots.erase(refit.slot);
  if (refit.fit) slots.emplace(refit.slot, *refit.fit);
}

std::vector<FittedWeights> start_of(const Job& job, const std::string& like) {
  if (like.empty()) return job.fitted_now;
  if (const auto run = run_named(job, like)) return job.runs[*run].fitted;
  reject("--like: the job has no run \"" + shortened(like) + "\"", "the name of an earlier run");
}

}  // namespace

Result<std::vector<FittedWeights>> refitted(const Job& job, const RefitRequest& request) {
  try {
    const Rotor& rotor = job.rotor;
    const auto start = start_of(job, request.like);
    auto fitted = start;
    if (!request.plan.empty())
      for (const Refit& refit : plan_refits(request.plan, rotor))
        carry_out(refit, rotor, fitted, request.plan);
    for (const auto& text : request.take_out) carry_out(by_hand_out(rotor, text), rotor, fitted, {});
    for (const auto& text : request.fit) carry_out(by_hand_in(rotor, text), rotor, fitted, {});
    accepted(check_fitting(rotor, {}, start, fitted), request.plan);
    return fitted;
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
