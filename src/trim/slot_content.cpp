#include "slot_content.hpp"

namespace trimwright {

std::optional<Piece> held(const FittedWeights& fitted, int slot) {
  const auto found = fitted.slots.find(slot);
  return found == fitted.slots.end() ? std::nullopt : std::optional(found->second);
}

const Weight* catalogue_weight(const Plane& plane, const std::optional<Piece>& content) {
  return content && !content->weight_id.empty() ? plane.find_weight(content->weight_id) : nullptr;
}

double mass_of(const Plane& plane, const std::optional<Piece>& content) {
  if (!content) return plane.filler.mass_g.value_or(0.0);
  const Weight* weight = catalogue_weight(plane, content);
  return weight == nullptr ? 0.0 : weight->mass_g.value_or(0.0);
}

double count_of(const Plane& plane, const std::optional<Piece>& content) {
  if (!content) return 0.0;
  const Weight* weight = catalogue_weight(plane, content);
  return weight == nullptr ? 1.0 : weight->pieces();
}

bool allowed_in(const Plane& plane, int slot, const std::optional<Piece>& content) {
  constexpr double kRounding = 1.0 + 1e-12;
  const PlaneRules& rules = plane.rules;
  const Weight* weight = catalogue_weight(plane, content);
  if (weight != nullptr && !weight->may_be_in(slot)) return false;
  const double moment = content ? content->moment_g_mm : plane.filler.moment_g_mm;
  return moment <= rules.max_slot_moment_g_mm.value_or(moment) * kRounding &&
         mass_of(plane, content) <= rules.max_slot_mass_g.value_or(mass_of(plane, content)) * kRounding;
}

}  // namespace trimwright
