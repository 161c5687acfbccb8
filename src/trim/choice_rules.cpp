#include "choice_rules.hpp"

#include <fmt/format.h>

#include "slot_content.hpp"

namespace trimwright {
namespace {

constexpr double rounding = 1.0 + 1e-12;

tl::unexpected<Error> broken(const Plane& plane, const std::string& what, const std::string& expected) {
  return fail(fmt::format("the choice does not keep the rules of plane \"{}\": {}", plane.name, what),
              expected);
}

Result<void> check_slots(const Plane& plane, const FittedWeights& fitted) {
  for (const auto& [slot, piece] : fitted.slots)
    if (plane.slots->usable(slot) && !allowed_in(plane, slot, piece))
      return broken(plane, fmt::format("slot {} may not hold \"{}\"", slot, piece.weight_id),
                    "a piece that \"only_in\", \"max_slot_mass\" and \"max_slot_moment\" allow there");
  for (const auto& weight : plane.weights) {
    const int fitted_pieces = pieces_fitted(plane, fitted, weight.id);
    if (weight.stack_of.empty() && weight.stock && fitted_pieces > *weight.stock)
      return broken(plane, fmt::format("it takes {} of \"{}\"", fitted_pieces, weight.id),
                    fmt::format("at most {}, the stock", *weight.stock));
  }
  return {};
}

Result<void> check_sums(const Plane& plane, const FittedWeights& fitted) {
  double pieces = 0.0, mass = 0.0;
  for (int slot = 1; slot <= plane.slots->count; ++slot) {
    if (!plane.slots->usable(slot)) continue;
    pieces += count_of(plane, held(fitted, slot));
    mass += mass_of(plane, held(fitted, slot));
  }
  const PlaneRules& rules = plane.rules;
  if (rules.max_pieces && pieces > *rules.max_pieces)
    return broken(plane, fmt::format("it holds {:.0f} pieces", pieces),
                  fmt::format("at most {}", *rules.max_pieces));
  if (rules.max_mass_g && mass > *rules.max_mass_g * rounding)
    return broken(plane, fmt::format("it holds {:.6g} g", mass),
                  fmt::format("at most {:.6g} g", *rules.max_mass_g));
  return {};
}

Result<void> check_pairs(const Plane& plane, const FittedWeights& fitted) {
  const auto content = [&](int slot) {  // an unusable slot counts as holding no weight
    return plane.slots->usable(slot) ? held(fitted, slot) : std::nullopt;
  };
  const auto check = [&](const PlaneRules::Pairs& pairs, const char* expected, auto keeps) -> Result<void> {
    for (const auto& [one, other] : pairs)
      if (!keeps(content(one), content(other)))
        return broken(plane, fmt::format("slots {} and {}", one, other), expected);
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

Result<void> check_moments(const Plane& plane, const FittedWeights& fitted, std::complex<double> added) {
  const auto check = [&](const char* what, double moment, const std::optional<double>& most) -> Result<void> {
    if (!most || moment <= *most * rounding) return {};
    return broken(plane, fmt::format("it brings the {} moment to {:.6g} g mm", what, moment),
                  fmt::format("at most {:.6g} g mm", *most));
  };
  if (auto kept = check("added", std::abs(added), plane.max_added_moment_g_mm); !kept) return kept;
  return check("total", std::abs(total_moment(plane, fitted)), plane.max_total_moment_g_mm);
}

}  // namespace

Result<void> check_choice(const Plane& plane, const FittedWeights& fitted, std::complex<double> added) {
  if (!plane.slots) return {};
  if (auto kept = check_slots(plane, fitted); !kept) return kept;
  if (auto kept = check_sums(plane, fitted); !kept) return kept;
  if (auto kept = check_pairs(plane, fitted); !kept) return kept;
  return check_moments(plane, fitted, added);
}

}  // namespace trimwright
