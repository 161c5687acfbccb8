#include "read_plane_rules.hpp"

#include <algorithm>

#include "trade_values.hpp"

namespace trimwright {
namespace {

constexpr std::size_t most_stacks = 2000;

/// Adds all stacks of 2 to `most` pieces, pieces in catalogue order.
void add_stacks(const YamlValue& value, int most, Plane& plane) {
  const std::size_t singles = plane.weights.size();
  for (const auto& weight : plane.weights)
    if (weight.id.find('+') != std::string::npos)
      value.reject("weight \"" + weight.id + "\" could be taken for a stack",
                   "ids without + in a plane with stacks");
  std::vector<std::pair<Weight, std::size_t>> lower;  // a stack, and the first piece that may go on it
  for (std::size_t w = 0; w < singles; ++w) lower.emplace_back(plane.weights[w], w);
  for (int height = 2; height <= most; ++height) {
    std::vector<std::pair<Weight, std::size_t>> higher;
    for (const auto& [stack, from] : lower)
      for (std::size_t w = from; w < singles; ++w) higher.emplace_back(stacked(stack, plane.weights[w]), w);
    if (plane.weights.size() - singles + higher.size() > most_stacks)
      value.reject("that makes more than " + std::to_string(most_stacks) + " stacks",
                   "lower stacks, or fewer weights");
    for (const auto& [stack, from] : higher) plane.weights.push_back(stack);
    lower = std::move(higher);
  }
}

int opposite(int slot, int slots) { return (slot - 1 + slots / 2) % slots + 1; }

std::pair<int, int> read_pair(const YamlValue& value, const Plane& plane) {
  const auto both = value.list("two slots");
  if (both.size() != 2) value.reject("this is no pair", "two slots");
  const int first = both[0].whole_number(1, plane.slots->count);
  const int second = both[1].whole_number(1, plane.slots->count);
  if (first == second) value.reject("the two slots are the same", "two slots");
  return std::minmax(first, second);
}

PlaneRules::Pairs read_pairs(const YamlValue& value, const Plane& plane, const std::string& word) {
  const int slots = plane.slots->count;
  PlaneRules::Pairs pairs;
  if (value.is_list()) {
    for (const auto& one : value.list("a list of pairs of slots")) pairs.push_back(read_pair(one, plane));
  } else {
    (void)value.choice<bool>({{word, true}, {"[[slot, slot], ...]", false}});
    const bool neighbours = word == "neighbours";
    if (slots < 2 || (!neighbours && slots % 2 != 0))
      value.reject("a ring of " + std::to_string(slots) + " slots has no " +
                       (neighbours ? "neighbours" : "opposite slots"),
                   "pairs of slots");
    for (int slot = 1; slot <= slots; ++slot)
      pairs.push_back(std::minmax({slot, neighbours ? slot % slots + 1 : opposite(slot, slots)}));
  }
  std::sort(pairs.begin(), pairs.end());
  pairs.erase(std::unique(pairs.begin(), pairs.end()), pairs.end());
  return pairs;
}

double read_mass_limit(const YamlValue& value, const Plane& plane) {
  for (const auto& weight : plane.weights)
    if (!weight.mass_g)
      value.reject("the mass of weight \"" + weight.id + "\" is not known",
                   "mass and radius of every weight of the plane");
  if (!plane.filler.none() && !plane.filler.mass_g)
    value.reject("the mass of the filler is not known", "mass and radius of the filler");
  const double limit = value.parsed(parse_mass_g);
  if (!(limit > 0.0)) value.reject("\"" + value.text() + "\" is no limit", "a mass above zero");
  return limit;
}

void read_rules(const YamlValue& value, Plane& plane) {
  YamlFields fields(value, "{max_pieces: N, max_mass: M, apart: neighbours, together: opposite, ...}");
  PlaneRules& rules = plane.rules;
  if (const auto most = fields.optional("max_pieces")) rules.max_pieces = most->whole_number(0, 100000);
  if (const auto most = fields.optional("max_mass")) rules.max_mass_g = read_mass_limit(*most, plane);
  if (const auto most = fields.optional("max_slot_mass"))
    rules.max_slot_mass_g = read_mass_limit(*most, plane);
  if (const auto most = fields.optional("max_slot_moment")) {
    rules.max_slot_moment_g_mm = most->parsed(parse_moment_g_mm);
    if (!(*rules.max_slot_moment_g_mm > 0.0))
      most->reject("\"" + most->text() + "\" is no limit", "a moment above zero");
  }
  if (const auto pairs = fields.optional("apart")) rules.apart = read_pairs(*pairs, plane, "neighbours");
  if (const auto pairs = fields.optional("together")) rules.together = read_pairs(*pairs, plane, "opposite");
  if (const auto pairs = fields.optional("alike")) rules.alike = read_pairs(*pairs, plane, "opposite");
  fields.finish();
}

}  // namespace

std::vector<int> read_slot_list(const YamlValue& value, int slots) {
  std::vector<int> list;
  for (const auto& slot : value.list("a list of slot numbers")) list.push_back(slot.whole_number(1, slots));
  std::sort(list.begin(), list.end());
  list.erase(std::unique(list.begin(), list.end()), list.end());
  return list;
}

void read_stacks_and_rules(YamlFields& fields, Plane& plane) {
  const auto stack = fields.optional("stack");
  const auto rules = fields.optional("rules");
  for (const auto& key : {stack, rules})
    if (key && !plane.slots) key->reject("plane \"" + plane.name + "\" has no slots", "slots");
  if (rules) read_rules(*rules, plane);
  if (stack) add_stacks(*stack, stack->whole_number(1, 10), plane);
}

}  // namespace trimwright
