#include "tables.hpp"

#include <algorithm>
#include <cmath>

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kMostPairs = 14'000'000;   // at 13 bytes each, below 200 MB
constexpr std::size_t kMostTriples = 3'500'000;  // a plane: six planes below 300 MB

PointGrid grid_of_singles(const PlaneModel& plane, const Disc& around) {
  return PointGrid(plane, around, plane.entries.size(), [&](auto&& add) { add(PointGrid::Run{}); });
}

/// Per pair of kinds: whether as many of their pieces could be there together.
std::vector<char> kinds_together(const Model& model, const Kinds& kinds) {
  const std::size_t n = kinds.pieces.size();
  std::vector<char> together(n * n, 1);
  for (std::size_t a = 0; a < n; ++a) {
    for (std::size_t b = 0; b < n; ++b) {
      const auto& first = kinds.pieces[a];
      const auto& second = kinds.pieces[b];
      const bool there = std::all_of(first.begin(), first.end(), [&](int piece) {
        const auto k = static_cast<std::size_t>(piece);
        return std::count(first.begin(), first.end(), piece) +
                   std::count(second.begin(), second.end(), piece) <=
               model.stock[k] + model.holders[k];
      });
      together[a * n + b] = there ? 1 : 0;
    }
  }
  return together;
}

/// The entries behind the slot of an entry begin here.
std::uint32_t behind(const PlaneModel& plane, std::uint32_t e) {
  return plane.slot_begin[plane.entries[e].slot + 1];
}

PointGrid grid_of_pairs(const Model& model, const PlaneModel& plane, const Kinds& kinds, const Disc& around,
                        std::size_t count) {
  const std::vector<char> together = kinds_together(model, kinds);
  std::vector<std::vector<char>> with(kinds.pieces.size());  // per kind: which entries can be there with it
  for (std::size_t kind = 0; kind < with.size(); ++kind) {
    for (const std::size_t other : kinds.of_entry)
      with[kind].push_back(together[kind * kinds.pieces.size() + other]);
  }
  return PointGrid(plane, around, count, [&](auto&& add) {
    for (std::uint32_t low = 0; low < plane.entries.size(); ++low) {
      add(PointGrid::Run{plane.entries[low].change, behind(plane, low), low, 1U << 16U,
                         with[kinds.of_entry[low]].data()});
    }
  });
}

/// Calls `add(run)` for all sums of three changes in different slots.
template <class Add>
void for_each_triple(const PlaneModel& plane, unsigned id_bits, Add&& add) {
  const auto entries = static_cast<std::uint32_t>(plane.entries.size());
  for (std::uint32_t low = 0; low < entries; ++low) {
    for (std::uint32_t middle = behind(plane, low); middle < entries; ++middle) {
      const Complex two = plane.entries[low].change + plane.entries[middle].change;
      add(PointGrid::Run{two, behind(plane, middle), (low << id_bits | middle) << id_bits});
    }
  }
}

/// Coefficient of z^3 in the product over slots of (1 + options z).
double triple_count(const PlaneModel& plane) {
  double one = 0.0, two = 0.0, three = 0.0;
  for (std::size_t s = 0; s < plane.slots(); ++s) {
    const double here = plane.slot_begin[s + 1] - plane.slot_begin[s];
    three += two * here;
    two += one * here;
    one += here;
  }
  return three;
}

bool alike(const Model& model, const PlaneModel& a, const PlaneModel& b) {
  return a.slot_begin == b.slot_begin &&
         std::equal(a.entries.begin(), a.entries.end(), b.entries.begin(), b.entries.end(),
                    [&](const Entry& x, const Entry& y) {
                      const auto takes_x = model.pieces_in(x.takes);
                      const auto takes_y = model.pieces_in(y.takes);
                      return x.change == y.change &&
                             std::equal(takes_x.begin(), takes_x.end(), takes_y.begin(), takes_y.end());
                    });
}

}  // namespace

PairTable::PairTable(const Model& model, const PlaneModel& plane, const Kinds& kinds, const Disc& around,
                     Patience& patience)
    : model_(&model),
      plane_(&plane),
      kinds_(&kinds),
      around_(around),
      account_(patience.open(plane.entries.size() / 16 + 1)) {}

PointGrid PairTable::build() const {
  return grid_of_pairs(*model_, *plane_, *kinds_, around_, pair_count(*plane_));
}

TripleTable::TripleTable(const PlaneModel& plane, const Disc& around, Patience& patience)
    : plane_(&plane), around_(around) {
  const double count = triple_count(plane);
  const bool too_many = plane.entries.size() > kIdMask || count > static_cast<double>(kMostTriples);
  if (!too_many) count_ = static_cast<std::size_t>(count);
  account_ = patience.open(count_ > 0 ? count_ / 4 : Patience::endless);
}

PointGrid TripleTable::build() const {
  return PointGrid(*plane_, around_, count_, [&](auto&& add) { for_each_triple(*plane_, kIdBits, add); });
}

PlaneTables::PlaneTables(const Model& model_of_it, const PlaneModel& of_plane, std::size_t most_changes,
                         Patience& patience)
    : model(&model_of_it),
      plane(&of_plane),
      kinds(model_of_it, of_plane),
      reach(model_of_it, of_plane, kinds, most_changes),
      singles(grid_of_singles(of_plane, reach.disc(1))),
      triples(of_plane, reach.disc(most_changes < 3 ? most_changes : 3), patience),
      stock(model_of_it) {
  for (const Entry& entry : of_plane.entries) gives.push_back(stock.of(model_of_it, entry));
}

std::size_t pair_count(const PlaneModel& plane) {
  std::size_t count = 0;
  for (std::size_t s = 0; s < plane.slots(); ++s) {
    const std::size_t here = plane.slot_begin[s + 1] - plane.slot_begin[s];
    count += here * (plane.entries.size() - plane.slot_begin[s + 1]);
  }
  return count;
}

Tables::Tables(const Model& model, Patience& patience) : joint_(model) {
  for (const PlaneModel& plane : model.planes) {
    planes_.emplace_back(model, plane, std::min(plane.slots(), std::max<std::size_t>(model.max_changes, 2)),
                         patience);
  }
  share_pairs(model, patience);
}

/// One table of pairs for planes alike; none where all would take too much memory.
void Tables::share_pairs(const Model& model, Patience& patience) {
  std::size_t stored = 0;
  for (auto tables = planes_.begin(); tables != planes_.end(); ++tables) {
    const PlaneModel& plane = *tables->plane;
    if (plane.slots() < 2 || plane.entries.size() > 0xffffU) continue;
    const auto twin = std::find_if(planes_.begin(), tables, [&](const PlaneTables& other) {
      return other.pairs && alike(model, *other.plane, plane);
    });
    if (twin != tables) {
      tables->pairs = twin->pairs;
      continue;
    }
    const std::size_t count = pair_count(plane);
    if (stored + count > kMostPairs) continue;
    stored += count;
    tables->pairs = std::make_shared<PairTable>(model, plane, tables->kinds, tables->reach.disc(2), patience);
  }
}

}  // namespace trimwright::slots_detail
