#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <vector>

#include "job_builder.hpp"
#include "project_folder.hpp"
#include "report/plot_geometry.hpp"
#include "some.hpp"
#include "trimwright/files.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

Rotor example_rotor() { return *read_rotor(trimwright::testing::in_project("configs/larkmere-fan.yaml")); }

Rotor turning(Sense sense, ViewingEnd end) {
  Rotor rotor = free_rotor({"plane"}, {"A"});
  rotor.rotation = {sense, end};
  return rotor;
}

/// Where a slot of a plane stands on the drawing, about the centre (215, 215) at radius 128.
Spot slot_spot(const Rotor& rotor, const Plane& plane, int slot) {
  return rotor_drawing(rotor, plane, {215.0, 215.0}).at(128.0, plane.slots->angle(slot));
}

void check_spot(Spot spot, double x, double y) {
  CHECK(spot.x == doctest::Approx(x).epsilon(0.0005));
  CHECK(spot.y == doctest::Approx(y).epsilon(0.0005));
}

}  // namespace

TEST_CASE("Slots stand where docs/conventions.svg draws them") {
  // Seen from the front a rotor that is clockwise from aft turns counterclockwise; slots numbered clockwise
  // from the front, slot 1 at 4 degrees with rotation. Centres of the circles of slots 1, 5, 13 and 29 as
  // they stand in that drawing.
  const Rotor rotor = example_rotor();
  const Plane& spinner = rotor.planes[0];
  CHECK_FALSE(rotor_drawing(rotor, spinner, {}).clockwise);
  check_spot(slot_spot(rotor, spinner, 1), 206.1, 87.3);
  check_spot(slot_spot(rotor, spinner, 5), 282.8, 106.4);
  check_spot(slot_spot(rotor, spinner, 13), 339.2, 246.0);
  check_spot(slot_spot(rotor, spinner, 29), 96.3, 262.9);
  // Its dot 60 degrees with rotation, at radius 104.04.
  check_spot(rotor_drawing(rotor, spinner, {215.0, 215.0}).at(104.04, 60.0), 124.9, 163.0);
}

TEST_CASE("A plane is drawn from the end its slots are numbered from, and the numbers grow as seen there") {
  const Rotor rotor = example_rotor();
  const Plane& drum = rotor.planes[1];
  CHECK(viewing_end(rotor, drum) == ViewingEnd::aft);
  CHECK(rotor_drawing(rotor, drum, {}).clockwise);
  CHECK(slot_spot(rotor, drum, 2).x <
        215.0);  // counterclockwise seen from aft: to the left of slot 1 at the top
  for (const Plane& plane : some(rotor.planes)) {
    const Spot first = slot_spot(rotor, plane, 1);
    const Spot second = slot_spot(rotor, plane, 2);
    const double cross = (first.x - 215.0) * (second.y - 215.0) - (first.y - 215.0) * (second.x - 215.0);
    CHECK((cross > 0.0) == (plane.slots->numbered.sense == Sense::clockwise));  // y grows down
  }
}

TEST_CASE(
    "In every combination of rotation and viewing ends, an angle with rotation is drawn the way the rotor "
    "turns") {
  for (const auto sense : {Sense::clockwise, Sense::counterclockwise})
    for (const auto turns_seen_from : {ViewingEnd::front, ViewingEnd::aft})
      for (const auto seen_from : {ViewingEnd::front, ViewingEnd::aft}) {
        const Rotor rotor = turning(sense, turns_seen_from);
        Plane plane = slotted_plane("ring", 8, {100.0});
        plane.slots->numbered = {Sense::clockwise, seen_from};
        const bool clockwise = (seen_from == turns_seen_from) == (sense == Sense::clockwise);
        const Spot at = rotor_drawing(rotor, plane, {}).at(1.0, 90.0);
        CHECK(at.x == doctest::Approx(clockwise ? 1.0 : -1.0));
        CHECK(std::abs(at.y) < 1e-12);
      }
}

TEST_CASE("A polar plot keeps a point beyond its rim on the rim") {
  const PolarDrawing drawing{{200.0, 200.0}, 150.0, 2.0};
  check_spot(drawing.at(1.0, 90.0), 275.0, 200.0);
  check_spot(drawing.at(1.0, 180.0), 200.0, 275.0);
  check_spot(drawing.at(5.0, 0.0), 200.0, 50.0);
}

TEST_CASE("Ticks are 1, 2 or 5 times a power of ten and reach the end in the steps allowed") {
  for (const double full : {0.031, 0.8, 1.0, 4.03, 7.0, 99.0, 5120.0}) {
    const double step = tick_step(full, 5);
    CHECK(full / step <= 5.0 + 1e-9);
    CHECK(full / step > 1.99);
    const double digit = step / std::pow(10.0, std::floor(std::log10(step) + 1e-9));
    CHECK((std::abs(digit - 1.0) < 1e-9 || std::abs(digit - 2.0) < 1e-9 || std::abs(digit - 5.0) < 1e-9));
  }
}

TEST_CASE("Labels beside points that lie together do not cover one another") {
  const std::vector<Spot> points{
      {200.0, 200.0}, {203.0, 201.0}, {196.0, 197.0}, {208.0, 198.0}, {202.0, 209.0}};
  const Spot written{240.0, 205.0};
  LabelPlaces places(400.0, 400.0);
  std::vector<Spot> labels{written};
  places.keep_free(written, 6, 11.0);
  for (const auto& point : points) places.keep_free(point, 6.0);
  for (const auto& point : points) labels.push_back(places.place(point, 6, 11.0));
  const double width = 2.0 * 0.31 * 11.0 * 6.0, height = 2.0 * 0.55 * 11.0;
  for (std::size_t i = 0; i < labels.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j)  // those side by side have a blank between them
      CHECK((std::abs(labels[i].x - labels[j].x) >= width + 3.0 ||
             std::abs(labels[i].y - labels[j].y) >= height - 1e-9));
    for (const auto& point : some(points))
      CHECK((std::abs(labels[i].x - point.x) >= width / 2.0 + 6.0 ||
             std::abs(labels[i].y - point.y) >= height / 2.0 + 6.0 - 1e-9 || i == 0));
  }
}
