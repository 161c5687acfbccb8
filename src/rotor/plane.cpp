#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>

#include "base/name.hpp"
#include "trimwright/rotor.hpp"

namespace trimwright {
namespace {

RotorAngle ring_angle(RotorAngle first, int number, int count, Direction numbered) {
  const double step = 360.0 * (number - 1) / count;
  return RotorAngle::from_degrees(first.degrees() + (numbered == Direction::with_rotation ? step : -step));
}

}  // namespace

bool SlotRing::usable(int slot) const {
  return has(slot) && !std::binary_search(unusable.begin(), unusable.end(), slot);
}

RotorAngle SlotRing::angle(int slot) const {
  assert(has(slot));
  return ring_angle(slot_1, slot, count, numbered_relative);
}

bool Weight::may_be_in(int slot) const {
  return !only_in || std::binary_search(only_in->begin(), only_in->end(), slot);
}

std::string Weight::size_words() const {
  return written.empty() ? fmt::format("{:.6g} g mm", moment_g_mm) : written;
}

Weight stacked(const Weight& stack, const Weight& piece) {
  Weight higher;
  higher.id = stack.id + "+" + piece.id;
  higher.stack_of = stack.stack_of.empty() ? std::vector{stack.id} : stack.stack_of;
  higher.stack_of.push_back(piece.id);
  higher.moment_g_mm = stack.moment_g_mm + piece.moment_g_mm;
  if (stack.mass_g && piece.mass_g) higher.mass_g = *stack.mass_g + *piece.mass_g;
  if (!stack.only_in || !piece.only_in) {
    higher.only_in = stack.only_in ? stack.only_in : piece.only_in;
  } else {
    higher.only_in.emplace();
    std::set_intersection(stack.only_in->begin(), stack.only_in->end(), piece.only_in->begin(),
                          piece.only_in->end(), std::back_inserter(*higher.only_in));
  }
  return higher;
}

int Plane::count_of(const Weight& weight, const std::string& id) {
  if (weight.stack_of.empty()) return weight.id == id ? 1 : 0;
  return static_cast<int>(std::count(weight.stack_of.begin(), weight.stack_of.end(), id));
}

double Plane::heaviest_g_mm() const {
  double heaviest = 0.0;
  for (const auto& weight : weights) heaviest = std::max(heaviest, weight.moment_g_mm);
  return heaviest;
}

const Weight* Plane::find_weight(const std::string& id) const {
  const auto found =
      std::find_if(weights.begin(), weights.end(), [&](const Weight& w) { return alike(w.id, id); });
  if (found != weights.end()) return &*found;
  std::vector<std::string> parts;
  for (std::size_t from = 0, plus = 0; plus != std::string::npos; from = plus + 1) {
    plus = id.find('+', from);
    parts.push_back(id.substr(from, plus - from));
  }
  const auto same_stack = [&](const Weight& w) {
    return parts.size() > 1 &&
           std::is_permutation(w.stack_of.begin(), w.stack_of.end(), parts.begin(), parts.end(), alike);
  };
  const auto stack = std::find_if(weights.begin(), weights.end(), same_stack);
  return stack == weights.end() ? nullptr : &*stack;
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
    std::string mark;
    for (std::size_t n = i + 1; n > 0; n = (n - 1) / 26)
      mark.insert(mark.begin(), static_cast<char>('A' + (n - 1) % 26));
    marks.push_back(mark);
  }
  return marks;
}

RotorAngle BladeRow::angle(int blade) const { return ring_angle(blade_1, blade, count, numbered_relative); }

std::string BladeRow::position(RotorAngle angle) const {
  const double from_blade_1 = angle.degrees() - blade_1.degrees();
  const double along = wrap_360(numbered_relative == Direction::with_rotation ? from_blade_1 : -from_blade_1);
  const double pitch = 360.0 / count;
  const int nearest = static_cast<int>(std::lround(along / pitch));
  const auto number = [this](int steps) { return std::to_string(steps % count + 1); };
  if (std::abs(along - nearest * pitch) <= 0.1) return "at blade " + number(nearest);
  const int below = static_cast<int>(std::floor(along / pitch));
  return "between blades " + number(below) + " and " + number(below + 1);
}

}  // namespace trimwright
