#pragma once

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <functional>
#include <thread>
#include <vector>

namespace trimwright {

/// Threads that this machine runs at once, one at least.
[[nodiscard]] std::size_t processors();

/// Threads that wait for work in short pieces. They begin when first asked for; where the system has none to
/// give, fewer do the work.
class Crew {
 public:
  /// `threads`: with the one that asks.
  explicit Crew(std::size_t threads) : threads_(threads), thrown_(threads) {}
  ~Crew();
  Crew(const Crew&) = delete;
  Crew& operator=(const Crew&) = delete;

  [[nodiscard]] std::size_t size() const { return threads_; }
  /// Calls `work(0)` here and `work(1)`, ..., `work(size() - 1)` on the other threads; returns when all have.
  /// What one of them throws is thrown here.
  void run(const std::function<void(std::size_t)>& work);
  /// Calls `work(member, piece)` once for each of so many pieces, by whichever member is free.
  void each(std::size_t pieces, const std::function<void(std::size_t, std::size_t)>& work);

 private:
  void begin();
  void attend(std::size_t member);

  std::size_t threads_;
  std::vector<std::thread> others_;
  std::vector<std::exception_ptr> thrown_;
  const std::function<void(std::size_t)>* work_ = nullptr;  ///< null: no more
  std::atomic<std::uint32_t> calls_ = 0;
  std::atomic<std::size_t> busy_ = 0;
};

/// Calls `work(0)`, ..., `work(count - 1)`, each once, several at a time; returns when all have.
void each_together(std::size_t count, const std::function<void(std::size_t)>& work);

}  // namespace trimwright
