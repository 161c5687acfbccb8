#include "common_disc.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trimwright::slots_detail {
namespace {

/// Discs are widened by this share, so that their crossings stay well conditioned where they barely meet.
constexpr double kWiden = 1e-7;
constexpr double kRounding = 1e-9;

bool in_all(const std::vector<Disc>& discs, Complex point) {
  return std::all_of(discs.begin(), discs.end(), [&](const Disc& disc) {
    const double slack = kRounding * (std::abs(disc.centre) + disc.radius);
    return std::abs(point - disc.centre) <= disc.radius + slack;
  });
}

/// Points where two of the circles cross inside all others.
std::vector<Complex> corners_of(const std::vector<Disc>& discs) {
  std::vector<Complex> corners;
  for (std::size_t i = 0; i < discs.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const Disc& a = discs[i];
      const Disc& b = discs[j];
      const Complex between = b.centre - a.centre;
      const double apart = std::abs(between);
      if (!(apart > 0.0)) continue;
      const double along = 0.5 * (apart + (a.radius - b.radius) * (a.radius + b.radius) / apart);
      const double across2 = (a.radius - along) * (a.radius + along);
      if (!(across2 >= 0.0)) continue;
      const Complex unit = between / apart;
      for (const double side : {-1.0, 1.0}) {
        const Complex corner = a.centre + unit * Complex(along, side * std::sqrt(across2));
        if (in_all(discs, corner)) corners.push_back(corner);
      }
    }
  }
  return corners;
}

}  // namespace

Disc common_disc(std::vector<Disc> discs) {
  double smallest = std::numeric_limits<double>::infinity();
  double extent = 0.0;
  for (Disc& disc : discs) {
    disc.radius *= 1.0 + kWiden;
    smallest = std::min(smallest, disc.radius);
    extent = std::max(extent, std::abs(disc.centre) + disc.radius);
  }
  const Disc unknown{0.0, std::numeric_limits<double>::infinity()};
  if (std::any_of(discs.begin(), discs.end(), [&](const Disc& disc) { return in_all(discs, disc.centre); }))
    return unknown;
  const std::vector<Complex> corners = corners_of(discs);
  if (corners.empty()) return {0.0, -1.0};
  Complex centre = 0.0;
  for (const Complex corner : corners) centre += corner / static_cast<double>(corners.size());
  double radius = 0.0;
  for (const Complex corner : corners) radius = std::max(radius, std::abs(corner - centre));
  if (!(radius < smallest)) return unknown;
  // No chord is longer than the diameter; the arc over it is highest on the smallest circle.
  const double height = smallest - std::sqrt((smallest - radius) * (smallest + radius));
  return {centre, radius + height + 10.0 * kRounding * extent};
}

}  // namespace trimwright::slots_detail
