#include "trimwright/reference/element_agreement.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "trimwright/base/angle.hpp"

namespace trimwright {
namespace {

constexpr double apart = 0.25;             ///< pitches between elements facing the same tooth
constexpr double scattered = 0.1;          ///< pitches
constexpr double much_less_trusted = 0.2;  ///< difference in the part of blocks trusted
constexpr double much_smaller = 0.5;

double mean_swing(const ElementWatch& element) {
  double sum = 0.0;
  for (const RevolutionBlock& block : element.kept()) sum += block.mean_swing;
  return element.kept().empty() ? 0.0 : sum / static_cast<double>(element.kept().size());
}

double trusted_part(const ElementWatch& element) {
  return element.blocks() > 0 ? static_cast<double>(element.trusted()) / element.blocks() : 0.0;
}

const RevolutionBlock* covering(const ElementWatch& element, double time_s) {
  for (const RevolutionBlock& block : element.kept())
    if (block.track.begin_s() <= time_s && time_s < block.track.end_s()) return &block;
  return nullptr;
}

ElementComparison compared_pair(std::span<const ElementWatch> elements, std::size_t a, std::size_t b) {
  ElementComparison comparison;
  comparison.a = a;
  comparison.b = b;
  std::complex<double> sum;
  for (const RevolutionBlock& block : elements[a].kept()) {
    const double moment = 0.5 * (block.track.begin_s() + block.track.end_s());
    const RevolutionBlock* const other = covering(elements[b], moment);
    if (other == nullptr) continue;
    sum += std::polar(1.0, other->track.angle_at(moment) - block.track.angle_at(moment));
    ++comparison.moments;
  }
  if (comparison.moments > 0) {
    comparison.ahead_rad = std::arg(sum);
    const double length = std::min(1.0, std::abs(sum) / comparison.moments);
    comparison.scatter_rad = length > 0.0 ? std::sqrt(-2.0 * std::log(length)) : std::numbers::pi;
  }
  const double swing = mean_swing(elements[a]);
  comparison.swing_ratio = swing > 0.0 ? mean_swing(elements[b]) / swing : 0.0;
  return comparison;
}

Finding disagreement(double value, std::string what) {
  return {
      FindingKind::elements_disagree,
      Gravity::caution,
      value,
      std::nullopt,
      std::move(what),
      "One element or its wiring is faulty, debris lies on part of the tip, or channels are exchanged.",
      "Clean the tip; check each element's resistance and wiring. Limits and steps are those of the maker's "
      "current manual."};
}

}  // namespace

void ElementWatch::see(const RevolutionBlock& block) {
  ++blocks_;
  if (block.verdict != ReferenceVerdict::trusted) return;
  ++trusted_;
  kept_.push_back(block);
  if (kept_.size() > most_kept) kept_.pop_front();
}

std::vector<ElementComparison> compared(std::span<const ElementWatch> elements) {
  std::vector<ElementComparison> pairs;
  for (std::size_t a = 0; a < elements.size(); ++a)
    for (std::size_t b = a + 1; b < elements.size(); ++b) pairs.push_back(compared_pair(elements, a, b));
  return pairs;
}

std::vector<Finding> disagreements(std::span<const ElementWatch> elements, int teeth) {
  std::vector<Finding> found;
  const double pitch = 2.0 * std::numbers::pi / teeth;
  for (const ElementComparison& pair : compared(elements)) {
    const ElementWatch &a = elements[pair.a], &b = elements[pair.b];
    const double less_trusted = trusted_part(b) - trusted_part(a);
    if (std::abs(less_trusted) > much_less_trusted)
      found.push_back(
          disagreement(less_trusted,
                       fmt::format("Element '{}' can be trusted in {:.0f} % of its blocks, '{}' in {:.0f} %.",
                                   a.name(), 100.0 * trusted_part(a), b.name(), 100.0 * trusted_part(b))));
    if (pair.moments == 0) continue;
    if (std::abs(pair.ahead_rad) > apart * pitch || pair.scatter_rad > scattered * pitch)
      found.push_back(disagreement(
          degrees(pair.ahead_rad),
          fmt::format("By element '{}' the shaft is {:.3g} deg ahead of element '{}' (scatter {:.2g} deg).",
                      b.name(), degrees(pair.ahead_rad), a.name(), degrees(pair.scatter_rad))));
    if (pair.swing_ratio < much_smaller || pair.swing_ratio > 1.0 / much_smaller)
      found.push_back(disagreement(
          pair.swing_ratio, fmt::format("Element '{}' gives {:.2g} times the pulse size of '{}'.", b.name(),
                                        pair.swing_ratio, a.name())));
  }
  return found;
}

}  // namespace trimwright
