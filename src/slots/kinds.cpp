#include "kinds.hpp"

#include <map>

namespace trimwright::slots_detail {

Kinds::Kinds(const Model& model, const PlaneModel& plane)
    : pieces(1), needs(1), returned(plane.slots()), limited_pieces(model.stock.size()) {
  using Content = std::pair<std::vector<int>, std::vector<std::pair<std::size_t, double>>>;
  std::map<Content, std::size_t> numbers{{{}, 0}};
  const auto add_needs = [&](std::span<const int> of_pieces, const std::vector<Rules::Amount>& amounts,
                             std::vector<Need>& to) {
    for (const int piece : of_pieces) to.push_back({static_cast<std::size_t>(piece), 1.0});
    for (const Rules::Amount& amount : amounts) to.push_back({limited_pieces + amount.budget, amount.part});
  };
  for (std::size_t e = 0; e < plane.entries.size(); ++e) {
    const Entry& entry = plane.entries[e];
    const std::span<const int> taken = model.pieces_in(entry.takes);
    const std::vector<Rules::Amount>& amounts = model.rules.amounts(entry.problem_slot, entry.problem_option);
    Content content{{taken.begin(), taken.end()}, {}};
    for (const Rules::Amount& amount : amounts) content.second.emplace_back(amount.budget, amount.part);
    const auto [found, is_new] = numbers.emplace(std::move(content), pieces.size());
    of_entry.push_back(found->second);
    if (is_new) {
      pieces.emplace_back(taken.begin(), taken.end());
      add_needs(taken, amounts, needs.emplace_back());
    }
    if (e == plane.slot_begin[entry.slot])
      add_needs(model.pieces_in(entry.returns), model.rules.amounts_now(entry.problem_slot),
                returned[entry.slot]);
  }
  lay_out(plane);
  find_mates(model, plane);
}

void Kinds::find_mates(const Model& model, const PlaneModel& plane) {
  std::map<int, std::size_t> place;  // of a slot of the problem
  const Rules& rules = model.rules;
  emptying.resize(plane.slots());
  for (std::size_t s = 0; s < plane.slots(); ++s) {
    mates.push_back({s, Tie::none});
    place[plane.entries[plane.slot_begin[s]].problem_slot] = s;
    for (std::uint32_t e = plane.slot_begin[s]; e < plane.slot_begin[s + 1]; ++e) {
      const Entry& entry = plane.entries[e];
      if (rules.content(entry.problem_slot, entry.problem_option) == 0)
        emptying[s] = {true, entry.change, of_entry[e]};
    }
  }
  const auto free = [&](std::size_t s) { return mates[s].tie == Tie::none; };
  for (const auto& placed : place) {
    const int slot = placed.first;
    const std::size_t s = placed.second;
    for (const Rules::Partner& partner : rules.partners(slot)) {
      const auto other = place.find(partner.slot);
      if (other == place.end() || other->second == s || !free(s) || !free(other->second)) continue;
      const std::size_t t = other->second;
      const int now = rules.content_now(slot);
      const int other_now = rules.content_now(partner.slot);
      const auto stays_filled = [&](std::size_t of, int content) {
        return content == 0 && !emptying[of].possible;
      };
      const auto tie = [&](Tie of_s, Tie of_t) {
        mates[s] = {t, of_s};
        mates[t] = {s, of_t};
      };
      if (partner.rule == PairRule::alike
              ? now == other_now
              : partner.rule == PairRule::together && stays_filled(s, now) && stays_filled(t, other_now))
        tie(Tie::both, Tie::both);
      if (partner.rule != PairRule::apart) continue;
      if (stays_filled(s, now) && stays_filled(t, other_now)) tie(Tie::one, Tie::one);
      if (stays_filled(s, now) && other_now != 0) tie(Tie::filled_after, Tie::emptied_before);
      if (now != 0 && stays_filled(t, other_now)) tie(Tie::emptied_before, Tie::filled_after);
    }
  }
}

void Kinds::lay_out(const PlaneModel& plane) {
  const auto slots = static_cast<Eigen::Index>(plane.slots());
  std::vector<std::vector<std::size_t>> layers_of(pieces.size());
  for (std::size_t s = 0; s < plane.slots(); ++s) {
    std::vector<std::size_t> used(pieces.size(), 0);
    for (std::uint32_t e = plane.slot_begin[s]; e < plane.slot_begin[s + 1]; ++e) {
      const std::size_t kind = of_entry[e];
      if (used[kind] == layers_of[kind].size()) {
        layers_of[kind].push_back(layers.size());
        layers.push_back({kind, ArrayXd::Zero(slots), ArrayXd::Zero(slots), ArrayXd::Constant(slots, kNone)});
      }
      Layer& layer = layers[layers_of[kind][used[kind]++]];
      const auto at = static_cast<Eigen::Index>(s);
      layer.re[at] = plane.entries[e].change.real();
      layer.im[at] = plane.entries[e].change.imag();
      layer.none[at] = 0.0;
    }
  }
}

std::vector<double> kind_prices(const Kinds& kinds, const std::vector<double>& prices) {
  std::vector<double> sums;
  for (const std::vector<Need>& needs : kinds.needs) sums.push_back(Kinds::cost(needs, prices));
  return sums;
}

}  // namespace trimwright::slots_detail
