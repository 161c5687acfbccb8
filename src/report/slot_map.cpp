#include "slot_map.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "number_words.hpp"
#include "plot_geometry.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

// Radii of the drawing, whose width is 440.
constexpr double size = 440.0;
constexpr double blade_number_radius = 208.0;
constexpr double blade_outer = 199.0;
constexpr double blade_inner = 186.0;
constexpr double slot_radius = 167.0;
constexpr double fitted_radius = 136.0;
constexpr double removed_radius = 112.0;
constexpr double hit_inner = 98.0;
constexpr double hit_outer = 184.0;
constexpr double tooth_radius = 88.0;
constexpr double arrow_radius = 84.0;

std::string points(std::initializer_list<Spot> spots) {
  std::string text;
  for (const auto& spot : spots)
    text += fmt::format("{}{:.1f},{:.1f}", text.empty() ? "M" : "L", spot.x, spot.y);
  return text;
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

/// `room`: below 1 it is drawn smaller, where slots stand close.
Markup pill(Spot at, std::string_view css_class, const std::string& mark, double room = 1.0) {
  const double half = std::max(11.0, 3.6 * static_cast<double>(mark.size()) + 4.0);
  Markup inside =
      element("rect", {{"x", -half}, {"y", -9.5}, {"width", 2.0 * half}, {"height", 19.0}, {"rx", 3.0}});
  inside += element("text", {{"y", 4.0}}, mark);
  inside += element("path", {{"class", "strike"}, {"d", fmt::format("M{:.1f},7L{:.1f},-7", -half, half)}});
  return element("g",
                 {{"class", css_class},
                  {"transform", fmt::format("translate({:.1f} {:.1f}){}", at.x, at.y,
                                            room < 1.0 ? fmt::format(" scale({:.2f})", room) : "")}},
                 inside);
}

/// Where a finger may land: the slot's share of the ring.
Markup hit_sector(const RotorDrawing& drawing, double angle, double pitch) {
  const Spot a = drawing.at(hit_outer, angle - pitch / 2.0);
  const Spot b = drawing.at(hit_outer, angle + pitch / 2.0);
  const Spot c = drawing.at(hit_inner, angle + pitch / 2.0);
  const Spot d = drawing.at(hit_inner, angle - pitch / 2.0);
  return element("path", {{"class", "hit"}, {"d", points({a, b, c, d}) + "Z"}});
}

Markup slot_number(Spot at, double r, int slot) {
  const double letters = std::min(12.0, r * 0.95);
  return element("circle", {{"class", "ring"}, {"cx", at.x}, {"cy", at.y}, {"r", r}}) +
         element("text",
                 {{"class", "number"},
                  {"x", at.x},
                  {"y", at.y + 0.36 * letters},
                  {"style", fmt::format("font-size:{:.1f}px", letters)}},
                 std::to_string(slot));
}

Markup bars(Spot at, double r) {
  const double d = r * 0.72;
  return element("path", {{"class", "barred"},
                          {"d", points({{at.x - d, at.y - d}, {at.x + d, at.y + d}}) +
                                    points({{at.x - d, at.y + d}, {at.x + d, at.y - d}})}});
}

/// `tried_out`: the page's script may change what the slot holds, so everything it may show is there.
Markup one_slot(const PageView& view, const RotorDrawing& drawing, std::size_t plane_index, int slot,
                bool tried_out) {
  const Plane& plane = view.rotor().planes[plane_index];
  const auto now = held(view.job.fitted_now[plane_index], slot);
  const auto then = held(view.fitted[plane_index], slot);
  const auto angle = plane.slots->angle(slot);
  const double pitch = radians(plane.slots->pitch_deg());
  const Spot at = drawing.at(slot_radius, angle);
  const double r = std::min(13.5, 0.46 * pitch * slot_radius);
  const std::string state = slot_state(plane.slots->usable(slot), now, then);

  Markup inside = slot_number(at, r, slot);
  if (state == "unusable") {
    inside += bars(at, r);
  } else if (tried_out || state != "empty") {
    const double room = std::min(1.0, pitch * fitted_radius / 23.0);
    inside += Markup::text(" ") +
              pill(drawing.at(fitted_radius, angle), "holds", mark_of(plane, then ? then : now), room);
    inside += Markup::text(" ") + pill(drawing.at(removed_radius, angle), "taken", mark_of(plane, now), room);
  }
  if (tried_out) inside = hit_sector(drawing, angle.degrees(), plane.slots->pitch_deg()) + inside;
  return element("g", {{"class", "slot " + state}, {"data-slot", static_cast<std::size_t>(slot)}}, inside);
}

Markup blades(const BladeRow& row, const RotorDrawing& drawing) {
  Markup marks;
  const int every = row.count > 44 ? 5 : 1;
  for (int blade = 1; blade <= row.count; ++blade) {
    const auto angle = row.angle(blade).degrees();
    marks +=
        element("path", {{"d", points({drawing.at(blade_inner, angle), drawing.at(blade_outer, angle)})}});
    if ((blade - 1) % every == 0) {
      const Spot at = drawing.at(blade_number_radius, angle);
      marks += element("text", {{"x", at.x}, {"y", at.y + 3.5}}, std::to_string(blade));
    }
  }
  return element("g", {{"class", "blades"}}, marks);
}

Markup reference_tooth(const RotorDrawing& drawing) {
  const Spot at = drawing.at(tooth_radius, 0.0);
  return element(
      "rect", {{"class", "tooth"}, {"x", at.x - 7.0}, {"y", at.y - 8.0}, {"width", 14.0}, {"height", 16.0}});
}

/// An arc with an arrowhead in the way the rotor turns.
Markup rotation_arrow(const RotorDrawing& drawing) {
  const Spot from = drawing.at(arrow_radius, 16.0);
  const Spot to = drawing.at(arrow_radius, 74.0);
  const std::string sweep = drawing.clockwise ? "1" : "0";
  const std::string head = points({drawing.at(arrow_radius + 7.0, 72.0), drawing.at(arrow_radius, 86.0),
                                   drawing.at(arrow_radius - 7.0, 72.0)}) +
                           "Z";
  return element(
      "g", {{"class", "rotation"}},
      element("path", {{"d", points({from}) + fmt::format("A{0:.0f},{0:.0f} 0 0 {1} {2:.1f},{3:.1f}",
                                                          arrow_radius, sweep, to.x, to.y)}}) +
          element("path", {{"class", "head"}, {"d", head}}));
}

Markup free_pieces(const FittedWeights& fitted, const RotorDrawing& drawing) {
  Markup marks;
  for (const auto& piece : fitted.free) {
    const Spot at = drawing.at(fitted_radius, piece.at);
    marks += element(
        "path",
        {{"class", "free"},
         {"d", points({{at.x, at.y - 8}, {at.x + 8, at.y}, {at.x, at.y + 8}, {at.x - 8, at.y}}) + "Z"}});
    marks += centred_text({at.x, at.y + 20.0}, "note", fmt::format("{:.0f} g mm", piece.moment_g_mm));
  }
  return marks;
}

/// For a plane without slots: where the moment goes.
Markup moment_arrow(const PageView& view, std::size_t plane, const RotorDrawing& drawing) {
  Markup marks;
  for (const auto& part : view.trim.correction.parts) {
    if (part.plane != plane || view.trim.has_slots()) continue;
    const auto angle = RotorAngle::of(part.moment_to_add);
    const std::string head =
        points({drawing.at(slot_radius - 16.0, angle.degrees() - 4.0), drawing.at(slot_radius, angle),
                drawing.at(slot_radius - 16.0, angle.degrees() + 4.0)}) +
        "Z";
    marks += element(
        "path",
        {{"class", "moment"},
         {"d", points({drawing.at(tooth_radius + 12.0, angle), drawing.at(slot_radius - 12.0, angle)})}});
    marks += element("path", {{"class", "head"}, {"d", head}});
    const Spot at = drawing.at(removed_radius, angle.degrees() + 14.0);
    marks += centred_text(at, "note", fmt::format("{:.4g} g mm", std::abs(part.moment_to_add)));
  }
  return marks;
}

Markup centre_words(const PageView& view, const Plane& plane, const RotorDrawing& drawing) {
  const ViewingEnd end = viewing_end(view.rotor(), plane);
  const double y = drawing.centre.y;
  const std::string turns = std::string("turns ") + std::string(name(view.rotor().rotation.seen(end)));
  const std::string name_shown = plane.name.size() <= 16 ? plane.name : std::string{};
  return centred_text({size / 2.0, y - 56.0}, "note",
                      zero_words(view.rotor()).size() <= 20 ? zero_words(view.rotor()) : "0°") +
         centred_text({size / 2.0, y - 14.0}, "name", name_shown) +
         centred_text({size / 2.0, y + 8.0}, "note",
                      end == ViewingEnd::front ? "seen from the front" : "seen from aft") +
         centred_text({size / 2.0, y + 24.0}, "note",
                      end == ViewingEnd::front ? "(looking aft)" : "(looking forward)") +
         centred_text({size / 2.0, y + 46.0}, "note", turns);
}

std::string held_words(const PageView& view, std::size_t plane) {
  std::string words;
  const Plane& p = view.rotor().planes[plane];
  for (const auto& change : view.plan.changes) {
    if (change.plane != plane) continue;
    words += fmt::format(" Slot {} at {:.1f} degrees: {} out, {} in.", change.slot,
                         p.slots->angle(change.slot).degrees(),
                         change.remove ? mark_of(p, change.remove) : "filler or nothing",
                         change.fit ? mark_of(p, change.fit) : "filler or nothing");
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
    words += fmt::format(" {} slots numbered {}; slot 1 is at {:.1f} degrees with rotation.", p.slots->count,
                         name(p.slots->numbered.sense), p.slots->slot_1.degrees());
  return words + held_words(view, plane);
}

}  // namespace

std::string seen_words(ViewingEnd end) {
  return end == ViewingEnd::front ? "seen from the front (standing ahead of the fan, looking aft)"
                                  : "seen from aft (standing behind the fan, looking forward)";
}

std::vector<std::string> weight_marks(const Plane& plane) {
  const bool short_ids = std::all_of(plane.weights.begin(), plane.weights.end(),
                                     [](const Weight& w) { return w.id.size() <= 3; });
  std::vector<std::string> marks;
  for (std::size_t i = 0; i < plane.weights.size(); ++i) {
    if (short_ids) {
      marks.push_back(plane.weights[i].id);
      continue;
    }
    std::string letters;
    for (std::size_t n = i + 1; n > 0; n = (n - 1) / 26)
      letters.insert(letters.begin(), static_cast<char>('A' + (n - 1) % 26));
    marks.push_back(letters);
  }
  return marks;
}

Markup slot_map(const PageView& view, std::size_t plane, const std::string& part) {
  const Plane& p = view.rotor().planes[plane];
  const RotorDrawing drawing = rotor_drawing(view.rotor(), p, {size / 2.0, size / 2.0});
  const std::string title_id = fmt::format("{}-{}-title", part, plane);
  const std::string words_id = fmt::format("{}-{}-words", part, plane);
  Markup inside = element("title", {{"id", title_id}}, "Slot map of plane " + p.name);
  inside += element("desc", {{"id", words_id}}, described(view, plane));
  inside += element("circle", {{"class", "rim"}, {"cx", size / 2.0}, {"cy", size / 2.0}, {"r", slot_radius}});
  if (view.rotor().blades) inside += blades(*view.rotor().blades, drawing);
  inside += rotation_arrow(drawing) + reference_tooth(drawing) + centre_words(view, p, drawing);
  for (int slot = 1; p.slots && slot <= p.slots->count; ++slot)
    inside += one_slot(view, drawing, plane, slot, part == "map");
  inside += free_pieces(view.job.fitted_now[plane], drawing) + moment_arrow(view, plane, drawing);
  return element("svg",
                 {{"class", "map"},
                  {"viewBox", "0 0 440 440"},
                  {"role", "img"},
                  {"data-plane", plane},
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
    row += element("td", {}, fmt::format("{:.4g} g mm", w.moment_g_mm));
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
                 entry("fits", "K7", "", "put in: filled") + entry("stays", "K3", "", "stays: outlined") +
                     entry("removed", "", "K2", "taken out: dashed and struck") +
                     entry("swaps", "K5", "K3", "exchanged: new filled, old struck") +
                     element("li", {}, "A crossed slot number: unusable, left alone."));
}

}  // namespace trimwright
