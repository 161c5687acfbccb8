#include "element_agreement.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

constexpr double apart = 0.25;             ///< pitches between elements facing the same tooth
constexpr double scattered = 0.1;          ///< pitches
constexpr double much_less_trusted = 0.2;  ///< difference in the part of blocks trusted
constexpr double much_smaller = 0.5;
constexpr double as_often = 0.9;  ///< trusted, of the best

double mean_swing(const ElementWatch& element) {
  double sum = 0.0;
  for (const RevolutionBlock& block : element.kept()) sum += block.mean_swing;
  return element.kept().empty() ? 0.0 : sum / static_cast<double>(element.kept().size());
}

ElementComparison compared_pair(std::span<const ElementWatch> elements, std::size_t a, std::size_t b) {
  ElementComparison comparison;
  comparison.a = a;
  comparison.b = b;
  std::complex<double> sum;
  for (const RevolutionBlock& block : elements[a].kept()) {
    const double moment = 0.5 * (block.track.begin_s() + block.track.end_s());
    const auto here = elements[a].angle_at(moment), there = elements[b].angle_at(moment);
    if (!here || !there) continue;
    sum += std::polar(1.0, *there - *here);
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

bool agree(const ElementComparison& pair, int teeth) {
  const double pitch = 2.0 * std::numbers::pi / teeth;
  return std::abs(pair.ahead_rad) <= apart * pitch && pair.scatter_rad <= scattered * pitch;
}

/// The one with most revolutions trusted: they share the shaft, so its revolutions are those there were to
/// trust. An element that fails has few of its own, and may be trusted in all of those.
const ElementWatch& most_trusted(std::span<const ElementWatch> elements) {
  return *std::ranges::max_element(elements, {}, &ElementWatch::trusted);
}

}  // namespace

void ElementWatch::see(const RevolutionBlock& block) {
  ++blocks_;
  if (block.verdict != ReferenceVerdict::trusted) return;
  ++placed_[block.ring];
  kept_.push_back(block);
  if (kept_.size() > most_kept) kept_.pop_front();
}

void ElementWatch::settle(std::vector<PhaseTurn> turns, ReferenceBasis basis) {
  turns_ = std::move(turns);
  basis_ = basis;
}

const PhaseTurn* ElementWatch::turn_of(const RevolutionBlock& block) const {
  const auto ring = static_cast<std::size_t>(block.ring);
  return ring < turns_.size() && turns_[ring].verdict == ReferenceVerdict::trusted ? &turns_[ring] : nullptr;
}

int ElementWatch::trusted() const {
  int sum = 0;
  for (const auto& [ring, blocks] : placed_)
    if (static_cast<std::size_t>(ring) < turns_.size() &&
        turns_[static_cast<std::size_t>(ring)].verdict == ReferenceVerdict::trusted)
      sum += blocks;
  return sum;
}

std::optional<double> ElementWatch::angle_at(double time_s) const {
  for (const RevolutionBlock& block : kept_) {
    if (time_s < block.track.begin_s() || time_s >= block.track.end_s()) continue;
    if (const PhaseTurn* const turn = turn_of(block)) return block.track.angle_at(time_s) - turn->turn_rad;
  }
  return std::nullopt;
}

std::vector<ElementComparison> compared(std::span<const ElementWatch> elements) {
  std::vector<ElementComparison> pairs;
  for (std::size_t a = 0; a < elements.size(); ++a)
    for (std::size_t b = a + 1; b < elements.size(); ++b) pairs.push_back(compared_pair(elements, a, b));
  return pairs;
}

std::vector<Finding> disagreements(std::span<const ElementWatch> elements, int teeth) {
  std::vector<Finding> found;
  if (elements.empty()) return found;
  const double all = std::max(1, most_trusted(elements).blocks());
  for (const ElementComparison& pair : compared(elements)) {
    const ElementWatch &a = elements[pair.a], &b = elements[pair.b];
    const double of_a = a.trusted() / all, of_b = b.trusted() / all, less_trusted = of_b - of_a;
    if (std::abs(less_trusted) > much_less_trusted)
      found.push_back(disagreement(
          less_trusted,
          fmt::format("Element '{}' can be trusted in {:.0f} % of the revolutions, '{}' in {:.0f} %.",
                      a.name(), 100.0 * std::min(1.0, of_a), b.name(), 100.0 * std::min(1.0, of_b))));
    if (pair.moments == 0) continue;
    if (!agree(pair, teeth))
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

ElementChoice chosen_element(std::span<const ElementWatch> elements, int teeth) {
  const int best = most_trusted(elements).trusted();
  std::vector<std::size_t> usable;
  for (std::size_t e = 0; e < elements.size(); ++e)
    if (best > 0 && elements[e].trusted() >= as_often * best) usable.push_back(e);
  if (usable.empty()) {
    const auto most = std::ranges::max_element(elements, {}, [](const auto& one) { return one.blocks(); });
    return {static_cast<std::size_t>(most - elements.begin()), true};
  }
  const auto pairs = compared(elements);
  std::vector<std::size_t> alike(elements.size(), 1);
  bool dispute = false;
  for (const ElementComparison& pair : pairs) {
    if (pair.moments == 0 || elements[pair.a].trusted() == 0 || elements[pair.b].trusted() == 0) continue;
    if (agree(pair, teeth)) {
      ++alike[pair.a];
      ++alike[pair.b];
    } else {
      dispute = true;
    }
  }
  if (!dispute) return {usable.front(), true};
  for (const std::size_t e : usable)
    if (elements[e].basis() == ReferenceBasis::known_ring) return {e, true};
  const auto speaking = std::ranges::count_if(elements, [](const auto& one) { return one.trusted() > 0; });
  for (const std::size_t e : usable)
    if (2 * alike[e] > static_cast<std::size_t>(speaking)) return {e, true};
  return {usable.front(), false};
}

}  // namespace trimwright
