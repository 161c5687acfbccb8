#include "plot_geometry.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace trimwright {

Spot PolarDrawing::at(double amplitude, double phase_deg) const {
  const double r = std::min(radius(amplitude), rim);
  return {centre.x + r * std::sin(radians(phase_deg)), centre.y - r * std::cos(radians(phase_deg))};
}

double Axis::at(double value) const {
  const double share = std::clamp((value - from) / (to - from), 0.0, 1.0);
  return start + share * (end - start);
}

double tick_step(double full, int most) {
  double step = std::pow(10.0, std::floor(std::log10(full / most)));
  for (const double factor : {1.0, 2.0, 5.0, 10.0})
    if (full / (step * factor) <= most + 1e-9) return step * factor;
  return step * 10.0;
}

void LabelPlaces::keep_free(Spot marker, double radius) {
  taken_.push_back({marker.x - radius, marker.y - radius, marker.x + radius, marker.y + radius});
}

void LabelPlaces::keep_free(Spot middle, std::size_t letters, double letter_size) {
  taken_.push_back(box_of(middle, letters, letter_size));
}

/// A text with the blank around it that keeps two texts side by side apart.
LabelPlaces::Box LabelPlaces::box_of(Spot middle, std::size_t letters, double letter_size) {
  const double half_width = 0.31 * letter_size * static_cast<double>(letters) + 0.15 * letter_size;
  const double half_height = 0.55 * letter_size;
  return {middle.x - half_width, middle.y - half_height, middle.x + half_width, middle.y + half_height};
}

double LabelPlaces::cost(const Box& box) const {
  const auto outside = [](double low, double high, double most) {
    return std::max(0.0, -low) + std::max(0.0, high - most);
  };
  double cost = 100.0 * (outside(box.left, box.right, width_) + outside(box.top, box.bottom, height_));
  for (const auto& other : taken_) {
    const double across = std::min(box.right, other.right) - std::max(box.left, other.left);
    const double down = std::min(box.bottom, other.bottom) - std::max(box.top, other.top);
    if (across > 0.0 && down > 0.0) cost += 10.0 * across * down;
  }
  return cost;
}

Spot LabelPlaces::place(Spot marker, std::size_t letters, double letter_size) {
  const double half_width = 0.31 * letter_size * static_cast<double>(letters);
  const double half_height = 0.55 * letter_size;
  Spot best;
  Box best_box{};
  double least = std::numeric_limits<double>::infinity();
  for (const double gap : {5.0, 10.0, 18.0, 28.0})
    for (int eighth = 0; eighth < 8; ++eighth) {
      const double turn = eighth * std::numbers::pi / 4.0;
      const Spot middle{marker.x + (gap + half_width) * std::cos(turn),
                        marker.y - (gap + half_height) * std::sin(turn)};
      const Box box = box_of(middle, letters, letter_size);
      const double price = cost(box) + gap;
      if (price >= least) continue;
      least = price;
      best = middle;
      best_box = box;
    }
  taken_.push_back(best_box);
  return best;
}

}  // namespace trimwright
