#include "trimwright/rotor.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>

#include "base/text.hpp"

namespace trimwright {
namespace {

bool keeps_limit(double value, const std::optional<double>& most) {
  return !most || value <= *most * (1.0 + fitting_allowance);
}

tl::unexpected<Error> broken_rule(const Plane& plane, const std::string& what, const std::string& expected) {
  return fail(fmt::format("the weights do not keep the rules of plane \"{}\": {}", plane.name, what),
              expected);
}

/// What a slot counts as holding: nothing where it is unusable.
std::optional<Piece> usable_content(const Plane& plane, const FittedWeights& fitted, int slot) {
  return plane.slots->usable(slot) ? held(fitted, slot) : std::nullopt;
}

Result<void> check_each_slot(const Plane& plane, const FittedWeights& then) {
  for (int slot = 1; slot <= plane.slots->count; ++slot) {
    const auto content = held(then, slot);
    if (!plane.slots->usable(slot) || allowed_in(plane, slot, content)) continue;
    return broken_rule(plane,
                       fmt::format("slot {} may not hold {}", slot,
                                   content ? piece_words(*content, "a ") : "its filler alone"),
                       "a piece that \"only_in\", \"max_slot_mass\" and \"max_slot_moment\" allow there");
  }
  return {};
}

Result<void> check_sums(const Plane& plane, const FittedWeights& then) {
  double pieces = 0.0, mass = 0.0;
  for (int slot = 1; slot <= plane.slots->count; ++slot) {
    if (!plane.slots->usable(slot)) continue;
    pieces += piece_count(plane, held(then, slot));
    mass += mass_of(plane, held(then, slot));
  }
  const PlaneRules& rules = plane.rules;
  if (rules.max_pieces && pieces > *rules.max_pieces)
    return broken_rule(plane, fmt::format("it would hold {:.0f} pieces", pieces),
                       fmt::format("at most {}", *rules.max_pieces));
  if (!keeps_limit(mass, rules.max_mass_g))
    return broken_rule(plane, fmt::format("it would hold {:.6g} g", mass),
                       fmt::format("at most {:.6g} g", *rules.max_mass_g));
  return {};
}

Result<void> check_pairs(const Plane& plane, const FittedWeights& then) {
  const auto check = [&](const PlaneRules::Pairs& pairs, const char* expected, auto keeps) -> Result<void> {
    for (const auto& [one, other] : pairs)
      if (!keeps(usable_content(plane, then, one), usable_content(plane, then, other)))
        return broken_rule(plane, fmt::format("slots {} and {}", one, other), expected);
    return {};
  };
  if (auto kept = check(plane.rules.apart, "not both to hold weights",
                        [](const auto& a, const auto& b) { return !a || !b; });
      !kept)
    return kept;
  if (auto kept = check(plane.rules.together, "both to hold weights, or neither",
                        [](const auto& a, const auto& b) { return a.has_value() == b.has_value(); });
      !kept)
    return kept;
  return check(plane.rules.alike, "both to hold the same",
               [](const auto& a, const auto& b) { return a == b; });
}

Result<void> check_moments(const Plane& plane, const FittedWeights& now, const FittedWeights& then) {
  const auto check = [&](const char* what, double moment, const std::optional<double>& most) -> Result<void> {
    if (keeps_limit(moment, most)) return {};
    return broken_rule(plane, fmt::format("the {} moment would be {:.6g} g mm", what, moment),
                       fmt::format("at most {:.6g} g mm", *most));
  };
  const auto total = total_moment(plane, then);
  if (auto kept = check("added", std::abs(total - total_moment(plane, now)), plane.max_added_moment_g_mm);
      !kept)
    return kept;
  return check("total", std::abs(total), plane.max_total_moment_g_mm);
}

}  // namespace

std::complex<double> slot_moment(const Plane& plane, int slot, const std::optional<Piece>& piece) {
  assert(plane.slots);
  return (piece ? piece->moment_g_mm : plane.filler.moment_g_mm) * plane.slots->angle(slot).direction();
}

int pieces_fitted(const Plane& plane, const FittedWeights& fitted, const std::string& id) {
  int count = 0;
  for (const auto& [slot, piece] : fitted.slots) {
    if (const Weight* weight = catalogue_weight(plane, piece)) count += Plane::count_of(*weight, id);
  }
  return count;
}

std::complex<double> total_moment(const Plane& plane, const FittedWeights& fitted) {
  std::complex<double> total = 0.0;
  double size = 0.0;  // of all that is summed, by which what is left of what cancels is told from rounding
  const auto add = [&](std::complex<double> moment) {
    total += moment;
    size += std::abs(moment);
  };
  if (plane.slots) {
    for (int slot = 1; slot <= plane.slots->count; ++slot) {
      if (!plane.slots->usable(slot)) continue;
      add(slot_moment(plane, slot, held(fitted, slot)));
    }
  }
  for (const auto& piece : fitted.free) add(piece.moment_g_mm * piece.at.direction());
  return std::abs(total) > 1e-12 * size ? total : 0.0;
}

std::optional<Piece> held(const FittedWeights& fitted, int slot) {
  const auto found = fitted.slots.find(slot);
  return found == fitted.slots.end() ? std::nullopt : std::optional(found->second);
}

std::vector<PlacedPiece> newly_fitted(const std::vector<FittedWeights>& before,
                                      const std::vector<FittedWeights>& now) {
  std::vector<PlacedPiece> pieces;
  for (std::size_t p = 0; p < now.size(); ++p)
    for (const auto& [slot, piece] : now[p].slots)
      if (held(before[p], slot) != piece) pieces.push_back({p, slot, piece});
  return pieces;
}

std::string piece_words(const Piece& piece, const std::string& article) {
  return piece.weight_id.empty() ? fmt::format("{}piece of {:.6g} g mm", article, piece.moment_g_mm)
                                 : piece.weight_id;
}

bool anything_held(const Plane& plane, const std::optional<Piece>& content) {
  return content || !plane.filler.none();
}

std::string content_words(const Plane& plane, const std::optional<Piece>& content) {
  return content ? piece_words(*content) : plane.filler.none() ? "open" : "filler";
}

const Weight* catalogue_weight(const Plane& plane, const std::optional<Piece>& content) {
  return content && !content->weight_id.empty() ? plane.find_weight(content->weight_id) : nullptr;
}

Result<Piece> catalogue_piece(const Plane& plane, const std::string& id) {
  if (const Weight* weight = plane.find_weight(id)) return Piece{weight->id, weight->moment_g_mm};
  std::string known;
  for (const auto& one : plane.weights) known += (known.empty() ? "" : ", ") + one.id;
  return fail("plane \"" + plane.name + "\" has no weight \"" + shortened(id) + "\"", "one of: " + known);
}

Result<void> check_slot(const Plane& plane, int slot) {
  if (!plane.slots) return fail("plane \"" + plane.name + "\" has no slots", "a moment at an angle");
  if (!plane.slots->has(slot))
    return fail(fmt::format("plane \"{}\" has no slot {}", plane.name, slot),
                fmt::format("1 to {}", plane.slots->count));
  if (!plane.slots->usable(slot))
    return fail(fmt::format("slot {} of plane \"{}\" is declared unusable", slot, plane.name),
                "a usable slot");
  return {};
}

std::optional<int> left_in_stock(const Plane& plane, const FittedWeights& fitted, const Weight& weight) {
  std::optional<int> least;
  for (const auto& single : plane.weights) {
    const int needs = Plane::count_of(weight, single.id);
    if (!single.stack_of.empty() || needs == 0 || !single.stock) continue;
    const int left = *single.stock - pieces_fitted(plane, fitted, single.id);
    const int times = left < 0 ? left : left / needs;
    least = std::min(least.value_or(times), times);
  }
  return least;
}

Result<void> check_possible(const Plane& plane, const FittedWeights& fitted) {
  for (const auto& [slot, piece] : fitted.slots)
    if (auto usable = check_slot(plane, slot); !usable) return usable;
  for (const auto& weight : plane.weights)
    if (weight.stack_of.empty() && left_in_stock(plane, fitted, weight).value_or(0) < 0)
      return fail(fmt::format("{} of weight \"{}\" would be fitted in plane \"{}\", and the stock is {}",
                              pieces_fitted(plane, fitted, weight.id), weight.id, plane.name, *weight.stock),
                  fmt::format("at most {}, the stock, which counts the fitted pieces too", *weight.stock));
  return {};
}

Result<void> check_masses(const Plane& plane, const FittedWeights& fitted) {
  if (!plane.rules.max_mass_g && !plane.rules.max_slot_mass_g) return {};
  for (const auto& [slot, piece] : fitted.slots)
    if (piece.weight_id.empty())
      return fail(fmt::format("plane \"{}\" has a limit on mass, and the mass of {} in slot {} is not known",
                              plane.name, piece_words(piece, "the "), slot),
                  "a weight of the catalogue there, or no limit on mass");
  return {};
}

bool allowed_in(const Plane& plane, int slot, const std::optional<Piece>& content) {
  const Weight* weight = catalogue_weight(plane, content);
  if (weight != nullptr && !weight->may_be_in(slot)) return false;
  return keeps_limit(content ? content->moment_g_mm : plane.filler.moment_g_mm,
                     plane.rules.max_slot_moment_g_mm) &&
         keeps_limit(mass_of(plane, content), plane.rules.max_slot_mass_g);
}

double mass_of(const Plane& plane, const std::optional<Piece>& content) {
  if (!content) return plane.filler.mass_g.value_or(0.0);
  const Weight* weight = catalogue_weight(plane, content);
  return weight == nullptr ? 0.0 : weight->mass_g.value_or(0.0);
}

double piece_count(const Plane& plane, const std::optional<Piece>& content) {
  if (!content) return 0.0;
  const Weight* weight = catalogue_weight(plane, content);
  return weight == nullptr ? 1.0 : weight->pieces();
}

Result<void> check_fitting(const Plane& plane, const FittedWeights& now, const FittedWeights& then) {
  if (plane.slots) {
    if (auto possible = check_possible(plane, then); !possible) return possible;
    if (auto kept = check_each_slot(plane, then); !kept) return kept;
    if (auto known = check_masses(plane, then); !known) return known;
    if (auto kept = check_sums(plane, then); !kept) return kept;
    if (auto kept = check_pairs(plane, then); !kept) return kept;
  }
  return check_moments(plane, now, then);
}

Result<void> check_fitting(const Rotor& rotor, const FittingLimits& limits,
                           const std::vector<FittedWeights>& now, const std::vector<FittedWeights>& then) {
  double pieces = 0.0;
  for (std::size_t p = 0; p < rotor.planes.size(); ++p) {
    const Plane& plane = rotor.planes[p];
    const bool counts = std::find(limits.planes.begin(), limits.planes.end(), p) != limits.planes.end();
    for (int slot = 1; counts && plane.slots && slot <= plane.slots->count; ++slot)
      pieces += piece_count(plane, usable_content(plane, then[p], slot));
    if (now[p].slots == then[p].slots) continue;
    if (auto kept = check_fitting(plane, now[p], then[p]); !kept) return kept;
    for (const auto& [slot, piece] : now[p].slots)
      if (limits.fitted_stay && held(then[p], slot) != piece)
        return fail(
            fmt::format("the weight in slot {} of plane \"{}\" would be taken out, and the job says that "
                        "fitted weights stay",
                        slot, plane.name),
            "that slot as it is, or \"fitted_weights: may change\" in the job");
  }
  if (limits.most_pieces && pieces > *limits.most_pieces)
    return fail(fmt::format("{:.0f} pieces would be fitted in all", pieces),
                fmt::format("at most {}, as the job says in \"max_pieces\"", *limits.most_pieces));
  return {};
}

}  // namespace trimwright
