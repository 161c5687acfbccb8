#include "fitting_mistakes.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

namespace trimwright {
namespace {

/// `slot` brought into 1..count.
int around(int slot, int count) { return ((slot - 1) % count + count) % count + 1; }

/// Collects mistakes; each is what the slots would hold instead of what the run says.
class Collector {
 public:
  Collector(const Job& job, std::size_t run)
      : job_(job),
        run_(run),
        new_(newly_fitted(job.runs[run - 1].fitted, job.runs[run].fitted)),
        fitted_(job.runs[run].fitted) {}

  [[nodiscard]] const std::vector<PlacedPiece>& pieces() const { return new_; }
  [[nodiscard]] const Plane& plane(std::size_t p) const { return job_.rotor.planes[p]; }
  [[nodiscard]] const std::vector<FittedWeights>& fitted() const { return fitted_; }

  void add(MistakeKind kind, const std::string& what, double share, const std::vector<FittedWeights>& really,
           const std::vector<PlacedPiece>& pieces) {
    FittingMistake mistake{kind, what, share, {}, pieces};
    double size = 0.0;
    for (std::size_t p = 0; p < really.size(); ++p) {
      if (!check_possible(plane(p), really[p])) return;
      mistake.extra_moment.push_back(total_moment(plane(p), really[p]) - total_moment(plane(p), fitted_[p]));
      size += std::abs(mistake.extra_moment.back());
    }
    if (size > 1e-9) found_.push_back(std::move(mistake));
  }

  /// The new pieces of `planes` put into the slots that `moved` tells; nothing where one cannot be used.
  /// `what` is said of several; a single one is named with both its slots.
  void add_moved(MistakeKind kind, std::string what, double share, const std::vector<std::size_t>& planes,
                 const std::function<int(int, int)>& moved) {
    auto really = fitted_;
    std::vector<PlacedPiece> pieces;
    const auto is_meant = [&](const PlacedPiece& one) {
      return std::find(planes.begin(), planes.end(), one.plane) != planes.end();
    };
    for (const auto& one : new_)
      if (is_meant(one)) really[one.plane].slots.erase(one.slot);
    for (const auto& one : new_) {
      if (!is_meant(one)) continue;
      const auto& ring = *plane(one.plane).slots;
      const int slot = around(moved(one.slot, ring.count), ring.count);
      if (!ring.usable(slot) || !really[one.plane].slots.emplace(slot, one.piece).second) return;
      pieces.push_back(one);
      if (kind == MistakeKind::shifted && std::count_if(new_.begin(), new_.end(), is_meant) == 1)
        what = fmt::format("{}: {} in slot {} instead of {}", plane(one.plane).name,
                           piece_words(one.piece, "the "), slot, one.slot);
    }
    add(kind, what, share, really, pieces);
  }

  [[nodiscard]] std::vector<FittingMistake> take() { return std::move(found_); }
  [[nodiscard]] const Job& job() const { return job_; }
  [[nodiscard]] std::size_t run() const { return run_; }

 private:
  const Job& job_;
  std::size_t run_;
  std::vector<PlacedPiece> new_;
  std::vector<FittedWeights> fitted_;
  std::vector<FittingMistake> found_;
};

/// Planes with new pieces: each alone, and all of them together where there are several.
std::vector<std::vector<std::size_t>> plane_sets(const Collector& all) {
  std::vector<std::size_t> planes;
  for (const auto& one : all.pieces())
    if (planes.empty() || planes.back() != one.plane) planes.push_back(one.plane);
  std::vector<std::vector<std::size_t>> sets;
  for (const std::size_t p : planes) sets.push_back({p});
  if (planes.size() > 1) sets.push_back(planes);
  return sets;
}

std::string set_name(const Collector& all, const std::vector<std::size_t>& planes) {
  std::string text;
  for (const std::size_t p : planes) text += (text.empty() ? "" : " and ") + all.plane(p).name;
  return text;
}

int most_slots(const Collector& all, const std::vector<std::size_t>& planes) {
  int most = 0;
  for (const std::size_t p : planes) most = std::max(most, all.plane(p).slots->count);
  return most;
}

void add_turned(Collector& all, const std::vector<std::size_t>& planes) {
  const std::string name = set_name(all, planes);
  all.add_moved(MistakeKind::mirrored, name + ": slots counted from slot 1 the wrong way round", 1.0, planes,
                [](int slot, int) { return 2 - slot; });
  all.add_moved(MistakeKind::mirrored,
                name + ": slots counted the wrong way round, the last one taken for slot 1", 1.0, planes,
                [](int slot, int count) { return count + 1 - slot; });
  const int half = most_slots(all, planes) / 2;
  for (int k = 1; k < half; ++k)
    for (const int by : {k, -k})
      all.add_moved(MistakeKind::shifted,
                    fmt::format("{}: every new weight {} slot{} {}", name, k, k == 1 ? "" : "s",
                                by > 0 ? "too high" : "too low"),
                    1.0 / (k * k), planes, [by](int slot, int) { return slot + by; });
  all.add_moved(MistakeKind::opposite, name + ": every new weight on the opposite side", 1.0, planes,
                [](int slot, int count) { return slot + count / 2; });
}

void add_single(Collector& all, const PlacedPiece& one) {
  const Plane& plane = all.plane(one.plane);
  const std::string place = fmt::format("{} slot {}: ", plane.name, one.slot);
  auto really = all.fitted();
  really[one.plane].slots.erase(one.slot);
  all.add(MistakeKind::missing, place + piece_words(one.piece, "the ") + " is missing", 1.0, really, {one});
  for (const auto& weight : plane.weights) {
    if (weight.id == one.piece.weight_id) continue;
    really[one.plane].slots[one.slot] = {weight.id, weight.moment_g_mm};
    all.add(MistakeKind::wrong_size, place + weight.id + " instead of " + piece_words(one.piece, "the "), 1.0,
            really, {one});
  }
}

void add_swapped(Collector& all) {
  for (std::size_t i = 0; i < all.pieces().size(); ++i)
    for (std::size_t k = i + 1; k < all.pieces().size(); ++k) {
      const PlacedPiece &a = all.pieces()[i], &b = all.pieces()[k];
      if (a.plane != b.plane || a.piece == b.piece) continue;
      auto really = all.fitted();
      std::swap(really[a.plane].slots[a.slot], really[b.plane].slots[b.slot]);
      all.add(MistakeKind::swapped,
              fmt::format("{}: {} of slot {} and {} of slot {} exchanged", all.plane(a.plane).name,
                          piece_words(a.piece, "the "), a.slot, piece_words(b.piece, "the "), b.slot),
              1.0, really, {a, b});
    }
}

/// Pieces that were in before and are listed still, but were taken out.
void add_taken_out(Collector& all) {
  for (std::size_t p = 0; p < all.fitted().size(); ++p)
    for (const auto& [slot, piece] : all.fitted()[p].slots) {
      if (held(all.job().runs[all.run() - 1].fitted[p], slot) != piece) continue;
      auto really = all.fitted();
      really[p].slots.erase(slot);
      all.add(
          MistakeKind::missing,
          fmt::format("{} slot {}: {} was taken out", all.plane(p).name, slot, piece_words(piece, "the ")),
          0.5, really, {});
    }
}

/// Pieces of earlier runs whose slot should hold only its filler now; those of the run before are likelier.
void add_left_in(Collector& all) {
  std::vector<std::pair<std::size_t, std::pair<int, std::string>>> seen;
  for (std::size_t back = 1; back <= all.run(); ++back) {
    const std::size_t r = all.run() - back;
    for (std::size_t p = 0; p < all.job().rotor.planes.size(); ++p)
      for (const auto& [slot, piece] : all.job().runs[r].fitted[p].slots) {
        const std::pair key{p, std::pair{slot, piece_words(piece, "the ")}};
        if (all.fitted()[p].slots.contains(slot) || std::find(seen.begin(), seen.end(), key) != seen.end())
          continue;
        seen.push_back(key);
        auto really = all.fitted();
        really[p].slots[slot] = piece;
        all.add(MistakeKind::left_in,
                fmt::format("{} slot {}: {} of run \"{}\" is still in", all.plane(p).name, slot,
                            piece_words(piece, "the "), all.job().runs[r].name),
                back == 1 ? 2.0 : 1.0, really, {});
      }
  }
}

/// All pieces that the run before had and this one does not list: only what was added was written down.
void add_not_listed(Collector& all) {
  auto really = all.fitted();
  std::size_t count = 0;
  for (std::size_t p = 0; p < really.size(); ++p)
    for (const auto& one : all.job().runs[all.run() - 1].fitted[p].slots)
      if (really[p].slots.insert(one).second) ++count;
  if (count > 1)
    all.add(MistakeKind::left_in,
            fmt::format("the {} pieces that run \"{}\" had and this one does not list are still in", count,
                        all.job().runs[all.run() - 1].name),
            2.0, really, {});
}

/// The slot of `other` that is taken for `slot` of `meant`: of the same number where there are as many slots,
/// else the nearest by angle.
int slot_elsewhere(const Plane& meant, int slot, const Plane& other) {
  if (meant.slots->count == other.slots->count) return slot;
  const double turn = wrap_360(meant.slots->angle(slot).degrees() - other.slots->slot_1.degrees());
  const int steps = static_cast<int>(std::lround(turn / other.slots->pitch_deg()));
  const int sign = other.slots->numbered_relative == Direction::with_rotation ? 1 : -1;
  return around(1 + sign * steps, other.slots->count);
}

/// All new pieces of each plane fitted in the plane that `in` names for it.
void add_elsewhere(Collector& all, const std::string& what, const std::map<std::size_t, std::size_t>& in) {
  auto really = all.fitted();
  std::vector<PlacedPiece> pieces;
  for (const auto& one : all.pieces())
    if (in.contains(one.plane)) really[one.plane].slots.erase(one.slot);
  for (const auto& one : all.pieces()) {
    if (!in.contains(one.plane)) continue;
    const std::size_t to = in.at(one.plane);
    const int slot = slot_elsewhere(all.plane(one.plane), one.slot, all.plane(to));
    if (!really[to].slots.emplace(slot, Piece{{}, one.piece.moment_g_mm}).second) return;
    pieces.push_back(one);
  }
  all.add(MistakeKind::wrong_plane, what, 1.0, really, pieces);
}

/// The new pieces of one plane in another, and those of two planes each in the other.
void add_wrong_plane(Collector& all, std::size_t from) {
  for (std::size_t to = 0; to < all.job().rotor.planes.size(); ++to) {
    const Plane &meant = all.plane(from), &other = all.plane(to);
    if (to == from || !other.slots) continue;
    add_elsewhere(all, "the weights of " + meant.name + " are in " + other.name, {{from, to}});
    const bool both = std::any_of(all.pieces().begin(), all.pieces().end(),
                                  [to](const PlacedPiece& one) { return one.plane == to; });
    if (both && from < to)
      add_elsewhere(all,
                    "the weights of " + meant.name + " and " + other.name + " are each in the other plane",
                    {{from, to}, {to, from}});
  }
}

}  // namespace

std::vector<FittingMistake> fitting_mistakes(const Job& job, std::size_t run) {
  Collector all(job, run);
  for (const auto& planes : plane_sets(all)) {
    add_turned(all, planes);
    if (planes.size() == 1) add_wrong_plane(all, planes.front());
  }
  for (const auto& one : all.pieces()) add_single(all, one);
  add_swapped(all);
  add_taken_out(all);
  add_left_in(all);
  add_not_listed(all);
  return all.take();
}

}  // namespace trimwright
