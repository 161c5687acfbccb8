#pragma once

#include <cstdint>
#include <mutex>
#include <optional>
#include <vector>

namespace trimwright::slots_detail {

/// How much work is still done without the tables that would spare it: a table is worth while once as much
/// has been spent as it costs. Every walk counts for itself, from where the search as a whole stood when it
/// began, so that what it meets first does not depend on what others do at the same time.
class Patience {
 public:
  /// The cost of a table that is never worth while.
  static constexpr std::uint64_t endless = ~std::uint64_t{0};

  /// An account for one table that costs so much; its number.
  std::size_t open(std::uint64_t cost) {
    left_.push_back(cost);
    return left_.size() - 1;
  }
  /// Whether the table of an account is worth while; if not, `work` is taken from it.
  bool spend(std::size_t account, std::uint64_t work) {
    std::uint64_t& left = left_[account];
    if (left <= work) left = 0;
    if (left == 0) return true;
    left -= work;
    return false;
  }
  [[nodiscard]] bool is_spent(std::size_t account) const { return left_[account] == 0; }
  /// Takes what a walk spent that began with `before`.
  void take(const Patience& after, const Patience& before) {
    for (std::size_t a = 0; a < before.left_.size(); ++a) {
      const std::uint64_t spent = before.left_[a] - after.left_[a];
      left_[a] -= spent < left_[a] ? spent : left_[a];
    }
  }
  /// Closes all accounts but the first `accounts`.
  void keep(std::size_t accounts) { left_.resize(accounts); }
  [[nodiscard]] std::size_t accounts() const { return left_.size(); }

 private:
  std::vector<std::uint64_t> left_;
};

/// Something made when first asked for, once, whoever asks.
template <class T>
class MadeOnce {
 public:
  template <class Make>
  const T& get(Make&& make) const {
    std::call_once(made_, [&] { thing_.emplace(make()); });
    return *thing_;
  }

 private:
  mutable std::once_flag made_;
  mutable std::optional<T> thing_;
};

}  // namespace trimwright::slots_detail
