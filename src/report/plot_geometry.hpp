#pragma once

#include <string>
#include <vector>

#include "rotor/rotor_drawing.hpp"

namespace trimwright {

/// A polar plot: amplitude outward, shown phase clockwise from the top.
struct PolarDrawing {
  Spot centre;
  double rim = 0.0;   ///< radius of the outermost circle in the drawing
  double full = 1.0;  ///< amplitude there

  /// Beyond the rim a point is drawn on it.
  [[nodiscard]] Spot at(double amplitude, double phase_deg) const;
  [[nodiscard]] double radius(double amplitude) const { return rim * amplitude / full; }
};

/// An axis from `from` (drawn at `start`) to `to` (drawn at `end`).
struct Axis {
  double from = 0.0;
  double to = 1.0;
  double start = 0.0;
  double end = 1.0;

  /// Beyond the ends a value is drawn at the end.
  [[nodiscard]] double at(double value) const;
};

/// 1, 2 or 5 times a power of ten, so that at most `most` steps reach `full`.
[[nodiscard]] double tick_step(double full, int most);

/// Labels put beside points without covering one another where that can be done.
class LabelPlaces {
 public:
  LabelPlaces(double width, double height) : width_(width), height_(height) {}

  /// Keeps a marker's place free.
  void keep_free(Spot marker, double radius);
  /// Keeps the place of a text free that stands elsewhere.
  void keep_free(Spot middle, std::size_t letters, double letter_size);
  /// Middle of a label of `letters` letters beside `marker`.
  [[nodiscard]] Spot place(Spot marker, std::size_t letters, double letter_size);

 private:
  struct Box {
    double left, top, right, bottom;
  };
  [[nodiscard]] static Box box_of(Spot middle, std::size_t letters, double letter_size);
  [[nodiscard]] double cost(const Box& box) const;

  double width_;
  double height_;
  std::vector<Box> taken_;
};

}  // namespace trimwright
