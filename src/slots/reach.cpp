#include "reach.hpp"

#include <algorithm>
#include <array>
#include <functional>
#include <limits>

#include "prices.hpp"

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kDirections = Reach::kDirections;

Reach::Directions range_starts() {
  Reach::Directions starts;
  for (std::size_t k = 0; k <= kDirections; ++k) {
    const double q = 4.0 * static_cast<double>(k % kDirections) / static_cast<double>(kDirections);
    const double x = q <= 2.0 ? 1.0 - q : q - 3.0;
    const double y = q <= 1.0 ? q : q <= 3.0 ? 2.0 - q : q - 4.0;
    starts[k] = Complex(x, y) / std::abs(Complex(x, y));
  }
  return starts;
}

const Reach::Directions& starts() { return Reach::directions(); }

/// 1 / cos(half the width of a range): a support function between the ends of the range is at most this
/// times the larger of the two ends, if that is positive.
double widening(std::size_t range) {
  const double cosine = (std::conj(starts()[range]) * starts()[range + 1]).real();
  return 1.0 / std::sqrt(0.5 * (1.0 + cosine));
}

}  // namespace

Reach::Reach(const Model& model, const PlaneModel& plane, const Kinds& kinds, std::size_t most_changes)
    : slots_(plane.slots()) {
  const std::size_t limited = model.scarce();
  const Ledger ledger(model);
  std::vector<double> obtainable;
  unpriced_.resize((most_changes + 1) * (slots_ + 1) * kDirections);
  prices_.assign((most_changes + 1) * kDirections * limited, 0.0F);
  std::vector<SlotValues> values;
  for (std::size_t k = 0; k < kDirections; ++k) values.emplace_back(kinds, starts()[k]);
  values.push_back(values.front());
  const std::size_t column = (slots_ + 1) * kDirections;
  const auto store = [&](std::size_t n, std::size_t k, const std::vector<double>& here,
                         const std::vector<double>& next, double highest_price) {
    const double wide = widening(k);
    for (std::size_t s = 0; s <= slots_; ++s) {
      const double sum = std::max(here[n * (slots_ + 1) + s], next[n * (slots_ + 1) + s]);
      const double highest =
          (sum > 0.0 ? sum * wide : sum) + (wide - 1.0) * static_cast<double>(n) * highest_price;
      unpriced_[n * column + s * kDirections + k] = static_cast<float>(highest + 1e-6 * std::abs(highest));
    }
  };
  std::vector<std::vector<double>> free_sums;  // at no price, all n at once
  for (std::size_t k = 0; k <= kDirections; ++k) {
    free_sums.push_back(values[k].largest_sums(std::vector<double>(limited, 0.0), most_changes));
  }
  for (std::size_t k = 0; k < kDirections; ++k) {
    std::vector<double> prices(limited, 0.0);
    for (std::size_t n = 0; n <= most_changes; ++n) {
      ledger.obtainable(&plane, model.planes.size() > 1 && n < most_changes ? (most_changes - n) / 2 : 0,
                        obtainable);
      if (n > 0) settle_prices(values[k], obtainable, n, prices);
      if (std::all_of(prices.begin(), prices.end(), [](double price) { return price <= 0.0; })) {
        store(n, k, free_sums[k], free_sums[k + 1], 0.0);
        continue;
      }
      for (std::size_t piece = 0; piece < limited; ++piece) {
        float& price = prices_[(n * kDirections + k) * limited + piece];
        price = static_cast<float>(prices[piece]);
        prices[piece] = static_cast<double>(price);
      }
      const std::vector<double> cost = kind_prices(kinds, prices);
      double highest = *std::max_element(cost.begin(), cost.end());
      for (const std::vector<Need>& returned : kinds.returned)
        highest = std::max(highest, -Kinds::cost(returned, prices));
      store(n, k, values[k].largest_sums(prices, n), values[k + 1].largest_sums(prices, n), highest);
    }
  }
  for (std::size_t n = 0; n <= most_changes; ++n) {
    ledger.obtainable(nullptr, model.max_changes > n ? model.max_changes - n : 0, obtainable);
    discs_.push_back(disc_about_heights(n, obtainable));
  }
}

const Reach::Directions& Reach::directions() {
  static const Directions fixed = range_starts();
  return fixed;
}

void Region::confine(Complex centre, double radius) {
  if (!std::isfinite(radius)) return;
  for (std::size_t k = 0; k < kDirections; ++k) {
    const Complex d = starts()[k];
    extents_[k] = std::max(extents_[k], d.real() * centre.real() + d.imag() * centre.imag() - radius);
  }
  const double along = watched_.real() * centre.real() + watched_.imag() * centre.imag();
  watched_extent_ = std::max(watched_extent_, along - radius);
}

Focus::Focus(const Model& model, const PlaneModel& plane, const Kinds& kinds, std::size_t n, Complex pull,
             std::vector<double> prices, Patience& patience)
    : model_(&model), plane_(&plane), kinds_(&kinds), most_(n), first_prices_(std::move(prices)) {
  constexpr std::uint64_t kQuestions = 400;
  const double length = std::abs(pull);
  if (!(length > 0.0)) return;
  direction_ = pull / length;
  for (double& price : first_prices_) price /= length;
  account_ = patience.open(kQuestions);
}

Focus::Table Focus::tabulate() const {
  Table table;
  table.prices = first_prices_;
  std::vector<double> available;
  Ledger(*model_).obtainable(plane_, model_->max_changes > most_ ? model_->max_changes - most_ : 0,
                             available);
  const SlotValues values(*kinds_, direction_);
  settle_prices(values, available, most_, table.prices);
  const ArrayXd best = values.best_alone(table.prices);
  table.unpriced = values.largest_sums(best, table.prices, most_);
  double size = best.size() > 0 ? best.abs().maxCoeff() : 0.0;
  for (std::size_t k = 0; k < table.prices.size(); ++k)
    size += table.prices[k] * (std::abs(available[k]) +
                               static_cast<double>(2 * model_->max_changes *
                                                   (1 + static_cast<std::size_t>(model_->most_returned))));
  table.slack = 1e-12 * static_cast<double>(most_) * size;
  return table;
}

double Reach::radius_about(Complex centre, std::size_t n, const std::vector<double>& available) const {
  // The height of range k bounds the support function all over the range; about another centre it falls by
  // the least that the centre's own support function has there.
  double radius = -1.0;
  for (std::size_t k = 0; k < kDirections; ++k) {
    double least =
        std::min((std::conj(starts()[k]) * centre).real(), (std::conj(starts()[k + 1]) * centre).real());
    if (least < 0.0) least *= widening(k);
    radius = std::max(radius, height(n, 0, k, available) - least);
  }
  return radius;
}

Disc Reach::disc_about_heights(std::size_t n, const std::vector<double>& available) const {
  if (n > slots_) return {0.0, -1.0};
  // The Steiner point of the set: the mean of d h(d).
  Complex steiner = 0.0;
  double turn = 0.0;
  for (std::size_t k = 0; k < kDirections; ++k) {
    const double width = std::arg(std::conj(starts()[k]) * starts()[k + 1]);
    const Complex middle = starts()[k] + starts()[k + 1];
    steiner += width * (height(n, 0, k, available)) * middle / std::abs(middle);
    turn += width;
  }
  steiner *= 2.0 / turn;
  const double about_origin = radius_about(0.0, n, available);
  const double about_steiner = radius_about(steiner, n, available);
  return about_steiner < 0.98 * about_origin ? Disc{steiner, about_steiner} : Disc{0.0, about_origin};
}

Disc Reach::disc(std::size_t n, const std::vector<double>& available) const {
  return {discs_[n].centre, radius_about(discs_[n].centre, n, available)};
}

Disc meeting_disc(const Disc& a, const Disc& b) {
  if (a.radius < 0.0) return a;
  if (b.radius < 0.0) return b;
  const double apart = std::abs(a.centre - b.centre);
  if (apart > a.radius + b.radius) return {a.centre, -1.0};
  // Along the line of centres, where the circles cross; beyond either centre, the smaller disc is as good.
  const double to_chord =
      apart > 0.0 ? 0.5 * (apart + (a.radius * a.radius - b.radius * b.radius) / apart) : 0.0;
  if (!(to_chord > 0.0 && to_chord < apart)) return a.radius <= b.radius ? a : b;
  const double half_chord = std::sqrt(std::max(0.0, a.radius * a.radius - to_chord * to_chord));
  return {a.centre + (b.centre - a.centre) * (to_chord / apart), half_chord * (1.0 + 1e-12)};
}

}  // namespace trimwright::slots_detail
