#include "page_cards.hpp"

#include <fmt/format.h>

#include <cmath>

#include "base/text.hpp"
#include "page_tables.hpp"

namespace trimwright {
namespace {

Markup tick_box(const std::string& key, const std::string& words, const std::string& about) {
  return element("label", {},
                 element("input", {{"type", "checkbox"}, {"data-tick", key}, {"aria-label", about}}) +
                     element("span", {{"aria-hidden", "true"}}, words));
}

/// One side of an exchange; what is neither a weight nor a filler is nothing to handle.
Markup side(const Plane& plane, const std::optional<Piece>& piece, const std::string& verb,
            const std::string& css_class) {
  const bool none = !anything_held(plane, piece);
  return element(
      "span", {{"class", none ? css_class + " none" : css_class}},
      element("small", {}, verb) + element("b", {}, none ? "nothing" : content_words(plane, piece)));
}

Markup change_card(const PageView& view, const SlotChange& change) {
  const Plane& plane = view.rotor().planes[change.plane];
  const auto position = slot_position(view.rotor(), plane, change.slot);
  const Weight* weight = catalogue_weight(plane, change.fit);
  std::string at =
      angle_words(position.angle.degrees()) + (position.blade.empty() ? "" : ", " + position.blade);
  if (weight != nullptr && !weight->written.empty())
    at += fmt::format("; {}: {}", weight->id, weight->written);
  const std::string place = fmt::format("{} slot {}", plane.name, change.slot);
  Markup ticks;  // what is to be done; once the run is made it is
  if (view.verdict == nullptr && anything_held(plane, change.remove))
    ticks += tick_box(place + " out", "out", place + ": taken out");
  if (view.verdict == nullptr && anything_held(plane, change.fit))
    ticks += tick_box(place + " in", "in", place + ": put in");
  return element(
      "li", {{"class", "card"}},
      element("p", {{"class", "slot"}},
              element("small", {}, plane.name + " slot") + element("b", {}, std::to_string(change.slot))) +
          element("p", {{"class", "swap"}},
                  side(plane, change.remove, view.verdict == nullptr ? "take out" : "taken out", "out") +
                      side(plane, change.fit, view.verdict == nullptr ? "put in" : "fitted", "in")) +
          element("p", {{"class", "at"}}, at) + element("div", {{"class", "ticks screen"}}, ticks));
}

Markup moment_card(const PageView& view, const Correction::Part& part) {
  const auto position = angle_position(view.rotor(), RotorAngle::of(part.moment_to_add));
  const std::string& plane = view.rotor().planes[part.plane].name;
  return element(
      "li", {{"class", "card"}},
      element(
          "p", {{"class", "slot"}},
          element("small", {}, plane + ", at") + element("b", {}, angle_words(position.angle.degrees()))) +
          element("p", {{"class", "swap"}},
                  element("span", {{"class", "in"}},
                          element("small", {}, "add to what is fitted") +
                              element("b", {}, moment_words(std::abs(part.moment_to_add))))) +
          element("p", {{"class", "at"}}, position.text()) +
          element("div", {{"class", "ticks screen"}}, tick_box(plane + " in", "in", plane + ": put in")));
}

}  // namespace

std::string work_words(const PageView& view) {
  if (!view.trim.has_slots()) return "Add these moments";
  if (view.plan.changes.empty())
    return view.trim.nothing_found() ? "No plan yet: the search was stopped too early" : "Fit nothing";
  return (view.verdict == nullptr ? "Change " : "Changed ") + counted(view.plan.changes.size(), "slot");
}

Markup change_cards(const PageView& view) {
  Markup cards;
  if (!view.trim.has_slots())
    for (const auto& part : view.trim.correction.parts) cards += moment_card(view, part);
  for (const auto& change : view.plan.changes) cards += change_card(view, change);
  if (cards.empty()) return element("p", {{"class", "fit-nothing"}}, view.plan.steps.front().instruction);
  return element("ul", {{"class", "cards"}}, cards);
}

}  // namespace trimwright
