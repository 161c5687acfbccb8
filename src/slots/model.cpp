#include "model.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace trimwright::slots_detail {
namespace {

/// Which pieces are scarce enough to be counted: their index among the limited ones, or -1.
std::vector<int> limited_pieces(const SlotProblem& problem, Model& model) {
  std::vector<int> limited(problem.in_stock.size(), -1);
  for (std::size_t piece = 0; piece < limited.size(); ++piece) {
    if (!problem.in_stock[piece]) continue;
    limited[piece] = static_cast<int>(model.stock.size());
    model.stock.push_back(std::max(0, *problem.in_stock[piece]));
  }
  model.holders.assign(model.stock.size(), 0);
  return limited;
}

/// Appends the limited ones of `pieces`.
PieceRange limited_run(const std::vector<int>& limited, const std::vector<int>& pieces, Model& model) {
  PieceRange run;
  run.begin = static_cast<std::uint32_t>(model.pieces.size());
  for (const int piece : pieces) {
    const auto index = static_cast<std::size_t>(piece);
    if (piece >= 0 && index < limited.size() && limited[index] >= 0) model.pieces.push_back(limited[index]);
  }
  run.end = static_cast<std::uint32_t>(model.pieces.size());
  return run;
}

/// Whether there are as many of these pieces as they name, were all that are fitted given back.
bool could_be_there(const Model& model, PieceRange run) {
  const std::span<const int> pieces = model.pieces_in(run);
  return std::all_of(pieces.begin(), pieces.end(), [&](int piece) {
    const auto k = static_cast<std::size_t>(piece);
    return std::count(pieces.begin(), pieces.end(), piece) <= model.stock[k] + model.holders[k];
  });
}

void add_slot(const std::vector<int>& limited, const SearchSlot& slot, int index, Model& model,
              PlaneModel& plane) {
  const auto local = static_cast<std::uint32_t>(plane.slots());
  const PieceRange returns = limited_run(limited, slot.holds, model);
  for (std::size_t option = 0; option < slot.options.size(); ++option) {
    const PieceRange takes = limited_run(limited, slot.options[option].pieces, model);
    if (!could_be_there(model, takes)) continue;
    plane.entries.push_back(
        {slot.options[option].change, local, index, static_cast<int>(option), takes, returns});
  }
  const auto end = static_cast<std::uint32_t>(plane.entries.size());
  if (end == plane.slot_begin.back()) return;
  plane.slot_begin.push_back(end);
  model.changeable[static_cast<std::size_t>(index)] = true;
  model.most_returned = std::max(model.most_returned, static_cast<int>(returns.end - returns.begin));
}

/// Counts what the slots that may change hold of the limited pieces.
void count_holders(const SlotProblem& problem, const std::vector<int>& limited, Model& model) {
  for (const SearchSlot& slot : problem.slots) {
    if (slot.options.empty()) continue;
    for (const int piece : model.pieces_in(limited_run(limited, slot.holds, model))) {
      ++model.holders[static_cast<std::size_t>(piece)];
    }
  }
}

/// Largest row magnitude the search can meet: every plane at the largest moment its slots can make.
double largest_row(const Model& model) {
  ArrayXd largest = (model.residual_re.square() + model.residual_im.square()).sqrt();
  for (const PlaneModel& plane : model.planes) {
    std::vector<double> moments(plane.slots(), 0.0);
    for (const Entry& entry : plane.entries) {
      moments[entry.slot] = std::max(moments[entry.slot], std::abs(entry.change));
    }
    std::sort(moments.rbegin(), moments.rend());
    double reach = 0.0;
    for (std::size_t i = 0; i < std::min(moments.size(), model.max_changes); ++i) reach += moments[i];
    largest += reach * (plane.re.square() + plane.im.square()).sqrt();
  }
  return largest.size() > 0 ? largest.maxCoeff() : 0.0;
}

bool first_is_less(double a, double b, double tolerance) { return a < b - tolerance * std::max(a, b); }

}  // namespace

Model make_model(const SlotProblem& problem) {
  assert(problem.response.rows() == problem.residual.size());
  Model model;
  model.least_squares = problem.objective == SlotObjective::least_squares;
  model.residual_re = problem.residual.real().array();
  model.residual_im = problem.residual.imag().array();
  const std::vector<int> limited = limited_pieces(problem, model);
  count_holders(problem, limited, model);
  model.rules = Rules(problem);
  model.changeable.assign(problem.slots.size(), false);
  for (int p = 0; p < static_cast<int>(problem.response.cols()); ++p) {
    PlaneModel plane;
    plane.slot_begin.push_back(0);
    for (std::size_t s = 0; s < problem.slots.size(); ++s) {
      assert(problem.slots[s].plane >= 0 && problem.slots[s].plane < problem.response.cols());
      if (problem.slots[s].plane == p) {
        add_slot(limited, problem.slots[s], static_cast<int>(s), model, plane);
      }
    }
    for (const MomentLimit& limit : problem.moment_limits) {
      if (limit.plane != p) continue;
      plane.limits.push_back({-limit.offset, limit.radius * (1.0 + kTie) + 1e-12 * std::abs(limit.offset)});
    }
    if (plane.entries.empty()) {
      model.hopeless = model.hopeless || !keeps_limits(plane, 0.0);
      continue;
    }
    plane.index = model.planes.size();
    plane.problem_plane = p;
    plane.re = problem.response.col(p).real().array();
    plane.im = problem.response.col(p).imag().array();
    model.planes.push_back(std::move(plane));
  }
  std::size_t slots = 0;
  for (const PlaneModel& plane : model.planes) slots += plane.slots();
  model.max_changes = std::min(slots, static_cast<std::size_t>(std::max(0, problem.max_changes)));
  model.scale = largest_row(model);
  const RuleLedger rules(model.rules, model.changeable);
  model.hopeless = model.hopeless || (model.rules.any() && !rules.can_mend(model.max_changes));
  return model;
}

bool keeps_limits(const PlaneModel& plane, Complex sum) {
  for (const Disc& limit : plane.limits) {
    if (std::norm(sum - limit.centre) > limit.radius * limit.radius) return false;
  }
  return true;
}

bool keeps_rules(const Model& model, const Picks& picks) {
  if (model.hopeless) return false;
  for (std::size_t p = 0; p < model.planes.size(); ++p) {
    if (model.planes[p].limits.empty()) continue;
    Complex sum = 0.0;
    for (const Pick& pick : picks) {
      if (pick.plane == p) sum += model.entry(pick).change;
    }
    if (!keeps_limits(model.planes[p], sum)) return false;
  }
  std::vector<ChosenOption> choice;
  for (const Pick& pick : picks) {
    choice.push_back({model.entry(pick).problem_slot, model.entry(pick).problem_option});
  }
  return model.rules.keeps(choice);
}

void sort_picks(const Model& model, Picks& picks) {
  std::sort(picks.begin(), picks.end(), [&](const Pick& a, const Pick& b) {
    return model.entry(a).problem_slot < model.entry(b).problem_slot;
  });
}

void rows_of(const Model& model, const Picks& picks, ArrayXd& re, ArrayXd& im) {
  re = model.residual_re;
  im = model.residual_im;
  for (std::size_t p = 0; p < model.planes.size(); ++p) {
    Complex sum = 0.0;
    for (const Pick& pick : picks) {
      if (pick.plane == p) sum += model.entry(pick).change;
    }
    if (sum == 0.0) continue;
    re += model.planes[p].re * sum.real() - model.planes[p].im * sum.imag();
    im += model.planes[p].re * sum.imag() + model.planes[p].im * sum.real();
  }
}

Score score(const Model& model, const Picks& picks) {
  if (model.rows() == 0) return {};
  ArrayXd re, im;
  rows_of(model, picks, re, im);
  const ArrayXd squares = re.square() + im.square();
  return {squares.maxCoeff(), squares.sum()};
}

int compare_tied(const Model& model, const Picks& a, const Score& score_a, const Picks& b,
                 const Score& score_b) {
  if (a.size() != b.size()) return a.size() < b.size() ? -1 : 1;
  const double allowance = zero2(model);
  if (first_is_less(score_a.sum2 + allowance, score_b.sum2 - allowance, 2.0 * kTie)) return -1;
  if (first_is_less(score_b.sum2 + allowance, score_a.sum2 - allowance, 2.0 * kTie)) return 1;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const int slot_a = model.entry(a[i]).problem_slot;
    const int slot_b = model.entry(b[i]).problem_slot;
    if (slot_a != slot_b) return slot_a < slot_b ? -1 : 1;
  }
  for (std::size_t i = 0; i < a.size(); ++i) {
    const double change_a = std::abs(model.entry(a[i]).change);
    const double change_b = std::abs(model.entry(b[i]).change);
    if (first_is_less(change_a, change_b, kTie)) return -1;
    if (first_is_less(change_b, change_a, kTie)) return 1;
  }
  for (std::size_t i = 0; i < a.size(); ++i) {
    const int option_a = model.entry(a[i]).problem_option;
    const int option_b = model.entry(b[i]).problem_option;
    if (option_a != option_b) return option_a < option_b ? -1 : 1;
  }
  return 0;
}

}  // namespace trimwright::slots_detail
