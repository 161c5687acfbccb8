#include "slot_map.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "page_tables.hpp"
#include "plot_geometry.hpp"
#include "plot_parts.hpp"
#include "slot_moments.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

/// Radii of the drawing, whose width is 440. Shown 330 px wide its texts of 16 are 12 px.
struct RingRadii {
  double blade_number, blade_outer, blade_inner, slot, fitted, removed, tooth, disc;
};
constexpr double size = 440.0;
constexpr RingRadii with_blades{205.0, 193.0, 181.0, 156.0, 124.0, 97.0, 73.0, 60.0};
constexpr RingRadii without_blades{0.0, 0.0, 0.0, 186.0, 152.0, 123.0, 92.0, 76.0};
constexpr double hit_outer = 218.0;
constexpr double letters = 16.0;

/// Blades are drawn where a person stands who sees them: at the end from which they are counted.
bool blades_in_sight(const Rotor& rotor, const Plane& plane) {
  return rotor.blades && viewing_end(rotor, plane) == rotor.blades->numbered.seen_from;
}

const RingRadii& radii_of(const Rotor& rotor, const Plane& plane) {
  return blades_in_sight(rotor, plane) ? with_blades : without_blades;
}

Markup centred_text(Spot at, std::string_view css_class, const std::string& words) {
  return element("text", {{"class", css_class}, {"x", at.x}, {"y", at.y}}, words);
}

std::string mark_of(const Plane& plane, const std::optional<Piece>& piece) {
  if (!piece) return {};
  if (piece->weight_id.empty()) return fmt::format("{:.0f}", piece->moment_g_mm);
  return weight_marks(
      plane)[static_cast<std::size_t>(plane.find_weight(piece->weight_id) - plane.weights.data())];
}

/// How a slot is drawn; the page's script uses the same names.
std::string slot_state(bool usable, const std::optional<Piece>& now, const std::optional<Piece>& then) {
  if (!usable) return "unusable";
  if (now == then) return now ? "stays" : "empty";
  if (!now) return "fits";
  return then ? "swaps" : "removed";
}

Markup pill(Spot at, std::string_view css_class, const std::string& mark) {
  const double half = std::max(12.0, 0.3 * letters * static_cast<double>(mark.size()) + 3.0);
  Markup inside =
      element("rect", {{"x", -half}, {"y", -10.5}, {"width", 2.0 * half}, {"height", 21.0}, {"rx", 4.0}});
  inside += element("text", {{"y", 5.5}}, mark);
  inside += element("path", {{"class", "strike"}, {"d", fmt::format("M{:.1f},8L{:.1f},-8", -half, half)}});
  return placed(at, css_class, inside);
}

/// Where a finger may land: the slot's share of the ring.
Markup hit_sector(const RotorDrawing& drawing, double inner, double angle, double pitch) {
  const Spot a = drawing.at(hit_outer, angle - pitch / 2.0);
  const Spot b = drawing.at(hit_outer, angle + pitch / 2.0);
  const Spot c = drawing.at(inner, angle + pitch / 2.0);
  const Spot d = drawing.at(inner, angle - pitch / 2.0);
  return element("path", {{"class", "hit"}, {"d", path_through({a, b, c, d}) + "Z"}});
}

Markup slot_ring(Spot at, double r) {
  return element("circle", {{"class", "ring"}, {"cx", at.x}, {"cy", at.y}, {"r", r}});
}

Markup slot_number(Spot at, int slot) {
  return element("text", {{"class", "number"}, {"x", at.x}, {"y", at.y + 0.36 * letters}},
                 std::to_string(slot));
}

Markup struck(Spot at, double r) {
  const double d = r * 1.05;
  return element("path", {{"class", "barred"},
                          {"d", path_through({{at.x - d, at.y + d}, {at.x + d, at.y - d}}) +
                                    path_through({{at.x - d, at.y - d}, {at.x + d, at.y + d}})}});
}

/// Every how many slots there is room for a number.
int numbered_every(const RingRadii& radii, double pitch) {
  return std::max(1, static_cast<int>(std::ceil(20.5 / (pitch * radii.slot))));
}

/// `tried_out`: the page's script may change what the slot holds, so everything it may show is there.
Markup one_slot(const PageView& view, const RotorDrawing& drawing, std::size_t plane_index, int slot,
                bool tried_out) {
  const Plane& plane = view.rotor().planes[plane_index];
  const RingRadii& radii = radii_of(view.rotor(), plane);
  const auto now = held(view.job.fitted_now[plane_index], slot);
  const auto then = held(view.fitted[plane_index], slot);
  const auto angle = plane.slots->angle(slot);
  const double pitch = radians(plane.slots->pitch_deg());
  const Spot at = drawing.at(radii.slot, angle);
  const double r = std::min(13.0, 0.48 * pitch * radii.slot);
  const std::string state = slot_state(plane.slots->usable(slot), now, then);

  // On paper a number that does not fit into its circle stands with what the slot holds.
  const bool apart = !tried_out && r < 9.0 && state != "empty" && state != "unusable";
  Markup inside = slot_ring(at, r);
  if (state == "unusable") inside += struck(at, r);
  if (!apart) inside += slot_number(at, slot);
  if (state != "unusable" && (tried_out || state != "empty")) {
    const double closer =
        pitch * radii.fitted < 19.0 && slot % 2 == 0 ? 22.0 : 0.0;  // neighbours in two rows
    const std::string number = apart ? fmt::format("{}: ", slot) : std::string{};
    const Spot holds = drawing.at(radii.fitted - closer, angle),
               taken = drawing.at(radii.removed - closer, angle);
    inside =
        element("path", {{"class", "lead"}, {"d", path_through({at, state == "removed" ? taken : holds})}}) +
        inside;
    inside += Markup::text(" ") + pill(holds, "holds", number + mark_of(plane, then ? then : now));
    inside += Markup::text(" ") + pill(taken, "taken", number + mark_of(plane, now));
  }
  if (tried_out) inside = hit_sector(drawing, radii.disc, angle.degrees(), plane.slots->pitch_deg()) + inside;
  const bool quiet = (slot - 1) % numbered_every(radii, pitch) != 0;
  return element(
      "g",
      {{"class", (quiet ? "slot quiet " : "slot ") + state}, {"data-slot", static_cast<std::size_t>(slot)}},
      inside);
}

Markup blades(const BladeRow& row, const RotorDrawing& drawing, const RingRadii& radii) {
  Markup marks;
  const int every = row.count > 60 ? 10 : 5;
  for (int blade = 1; blade <= row.count; ++blade) {
    const auto angle = row.angle(blade).degrees();
    marks += element(
        "path",
        {{"d", path_through({drawing.at(radii.blade_inner, angle), drawing.at(radii.blade_outer, angle)})}});
    if (blade != 1 && (blade % every != 0 || row.count - blade < every / 2)) continue;
    const Spot at = drawing.at(radii.blade_number, angle);
    const double aside = 7.0 * (at.x - size / 2.0) / radii.blade_number;  // clear of its blade
    marks += element("text", {{"x", std::clamp(at.x + aside, 18.0, size - 18.0)}, {"y", at.y + 5.5}},
                     (blade == 1 ? "blade " : "b") + std::to_string(blade));
  }
  return element("g", {{"class", "blades"}}, marks);
}

Markup reference_tooth(const RotorDrawing& drawing, const RingRadii& radii) {
  const Spot at = drawing.at(radii.tooth, 0.0);
  return element(
      "rect", {{"class", "tooth"}, {"x", at.x - 6.0}, {"y", at.y - 7.0}, {"width", 12.0}, {"height", 14.0}});
}

/// An arc with an arrowhead in the way the rotor turns.
Markup rotation_arrow(const RotorDrawing& drawing, const RingRadii& radii) {
  const double r = radii.tooth;
  const Spot from = drawing.at(r, 16.0);
  const Spot to = drawing.at(r, 62.0);
  const std::string sweep = drawing.clockwise ? "1" : "0";
  const std::string head =
      path_through({drawing.at(r + 7.0, 60.0), drawing.at(r, 77.0), drawing.at(r - 7.0, 60.0)}) + "Z";
  return element(
      "g", {{"class", "rotation"}},
      element("path", {{"d", path_through({from}) + fmt::format("A{0:.0f},{0:.0f} 0 0 {1} {2:.1f},{3:.1f}", r,
                                                                sweep, to.x, to.y)}}) +
          element("path", {{"class", "head"}, {"d", head}}));
}

Markup free_pieces(const FittedWeights& fitted, const RotorDrawing& drawing, const RingRadii& radii) {
  Markup marks;
  for (const auto& piece : fitted.free) {
    const Spot at = drawing.at(radii.fitted, piece.at);
    marks += element(
        "path",
        {{"class", "free"},
         {"d",
          path_through({{at.x, at.y - 8}, {at.x + 8, at.y}, {at.x, at.y + 8}, {at.x - 8, at.y}}) + "Z"}});
    marks += centred_text({at.x, at.y + 20.0}, "note", fmt::format("{:.0f} g mm", piece.moment_g_mm));
  }
  return marks;
}

std::string held_words(const PageView& view, std::size_t plane) {
  std::string words;
  const Plane& p = view.rotor().planes[plane];
  for (const auto& change : view.plan.changes) {
    if (change.plane != plane) continue;
    words += fmt::format(" Slot {} at {}: {} out, {} in.", change.slot,
                         angle_words(p.slots->angle(change.slot).degrees()),
                         change.remove ? mark_of(p, change.remove) : content_words(p, {}),
                         change.fit ? mark_of(p, change.fit) : content_words(p, {}));
  }
  return words.empty() ? " Nothing changes here." : words;
}

std::string described(const PageView& view, std::size_t plane) {
  const Rotor& rotor = view.rotor();
  const Plane& p = rotor.planes[plane];
  const ViewingEnd end = viewing_end(rotor, p);
  std::string words = fmt::format("Plane {} {}. The rotor turns {}. Angle 0, at the {}, is at the top.",
                                  p.name, seen_words(end), name(rotor.rotation.seen(end)), zero_words(rotor));
  if (p.slots)
    words += fmt::format(" {} slots numbered {}; slot 1 is at {} with rotation.", p.slots->count,
                         name(p.slots->numbered.sense), angle_words(p.slots->slot_1.degrees()));
  return words + held_words(view, plane);
}

}  // namespace

Markup slot_map(const PageView& view, std::size_t plane, const std::string& part) {
  const Plane& p = view.rotor().planes[plane];
  const RingRadii& radii = radii_of(view.rotor(), p);
  const RotorDrawing drawing = rotor_drawing(view.rotor(), p, {size / 2.0, size / 2.0});
  const std::string title_id = fmt::format("{}-{}-title", part, plane);
  const std::string words_id = fmt::format("{}-{}-words", part, plane);
  Markup inside = element("title", {{"id", title_id}}, "Slot map of plane " + p.name);
  inside += element("desc", {{"id", words_id}}, described(view, plane));
  inside += element("circle", {{"class", "rim"}, {"cx", size / 2.0}, {"cy", size / 2.0}, {"r", radii.slot}});
  if (blades_in_sight(view.rotor(), p)) inside += blades(*view.rotor().blades, drawing, radii);
  inside += rotation_arrow(drawing, radii) + reference_tooth(drawing, radii);
  if (part == "map" && view.plan.kind == BalancePlan::Kind::trim)  // elsewhere no words explain its marks
    inside += moment_disc(plane_moments(view, plane), drawing, radii.disc);
  for (int slot = 1; p.slots && slot <= p.slots->count; ++slot)
    inside += one_slot(view, drawing, plane, slot, part == "map");
  inside += free_pieces(view.job.fitted_now[plane], drawing, radii);
  if (part == "map") inside += centred_text({size / 2.0, size / 2.0 + 12.0}, "readout", "");
  return element("svg",
                 {{"class", "map"},
                  {"viewBox", "0 0 440 440"},
                  {"role", "img"},
                  {"data-plane", plane},
                  {"data-clockwise", drawing.clockwise ? "yes" : "no"},
                  {"data-inner", radii.disc},
                  {"aria-labelledby", title_id},
                  {"aria-describedby", words_id}},
                 inside);
}

Markup weight_table(const Plane& plane) {
  const auto marks = weight_marks(plane);
  const bool parts = std::any_of(plane.weights.begin(), plane.weights.end(),
                                 [](const Weight& w) { return !w.part_number.empty(); });
  const bool own_ids = std::equal(marks.begin(), marks.end(), plane.weights.begin(),
                                  [](const auto& mark, const Weight& w) { return mark == w.id; });
  const auto heading = [](std::string_view words) { return element("th", {{"scope", "col"}}, words); };
  Markup head = heading("mark");
  if (!own_ids) head += heading("weight");
  head += heading("moment") + heading("as written");
  if (parts) head += heading("part");
  head += heading("stock");
  Markup rows;
  for (std::size_t i = 0; i < plane.weights.size(); ++i) {
    const Weight& w = plane.weights[i];
    Markup row = element("th", {{"scope", "row"}}, marks[i]);
    if (!own_ids) row += element("td", {}, w.id);
    row += element("td", {}, moment_words(w.moment_g_mm));
    row += element("td", {}, w.written.empty() ? std::string("–") : w.written);
    if (parts) row += element("td", {}, w.part_number);
    row += element("td", {}, w.stock ? std::to_string(*w.stock) : std::string("any"));
    rows += element("tr", {}, row);
  }
  return element("table", {{"class", "catalogue"}},
                 element("caption", {}, "Weights of plane " + plane.name + " (stock counts those fitted)") +
                     element("thead", {}, element("tr", {}, head)) + element("tbody", {}, rows));
}

Markup slot_map_legend() {
  const auto entry = [](const std::string& state, const std::string& now, const std::string& before,
                        const std::string& words) {
    Markup drawing;
    if (!now.empty()) drawing += pill({15.0, 12.0}, "holds", now);
    if (!before.empty()) drawing += pill({now.empty() ? 15.0 : 43.0, 12.0}, "taken", before);
    const double width = !now.empty() && !before.empty() ? 58.0 : 30.0;
    const Markup picture = element("svg",
                                   {{"class", "map key"},
                                    {"viewBox", fmt::format("0 0 {:.0f} 24", width)},
                                    {"width", width},
                                    {"height", 24.0},
                                    {"aria-hidden", "true"}},
                                   element("g", {{"class", "slot " + state}}, drawing));
    return element("li", {}, picture + Markup::text(words));
  };
  return element("ul", {{"class", "legend"}},
                 entry("fits", "A", "", "put in: filled") + entry("stays", "A", "", "stays: outlined") +
                     entry("removed", "", "A", "taken out: dashed and struck") +
                     entry("swaps", "B", "A", "exchanged: new filled, old struck") +
                     element("li", {}, "A crossed slot number: unusable, left alone."));
}

}  // namespace trimwright
