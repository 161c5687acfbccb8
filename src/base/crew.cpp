#include "crew.hpp"

#include <algorithm>
#include <system_error>
#include <utility>

namespace trimwright {

std::size_t processors() {
#ifdef __EMSCRIPTEN__
  return 1;
#else
  return std::max(1U, std::thread::hardware_concurrency());
#endif
}

Crew::~Crew() {
  work_ = nullptr;
  ++calls_;
  calls_.notify_all();
  for (std::thread& other : others_) other.join();
}

void Crew::begin() {
  try {
    while (others_.size() + 1 < threads_) others_.emplace_back(&Crew::attend, this, others_.size() + 1);
  } catch (const std::system_error&) {
    threads_ = others_.size() + 1;
  }
}

void Crew::attend(std::size_t member) {
  for (std::uint32_t seen = 0;;) {
    calls_.wait(seen);
    ++seen;
    if (work_ == nullptr) return;
    try {
      (*work_)(member);
    } catch (...) {
      thrown_[member] = std::current_exception();
    }
    if (--busy_ == 0) busy_.notify_one();
  }
}

void Crew::run(const std::function<void(std::size_t)>& work) {
  if (others_.size() + 1 < threads_) begin();
  work_ = &work;
  busy_ = others_.size();
  ++calls_;
  calls_.notify_all();
  try {
    work(0);
  } catch (...) {
    thrown_[0] = std::current_exception();
  }
  for (std::size_t busy = busy_; busy > 0; busy = busy_) busy_.wait(busy);
  for (std::exception_ptr& thrown : thrown_) {
    if (thrown) std::rethrow_exception(std::exchange(thrown, nullptr));
  }
}

void Crew::each(std::size_t pieces, const std::function<void(std::size_t, std::size_t)>& work) {
  std::atomic<std::size_t> next = 0;
  run([&](std::size_t member) {
    for (std::size_t piece = next++; piece < pieces; piece = next++) work(member, piece);
  });
}

void each_together(std::size_t count, const std::function<void(std::size_t)>& work) {
  Crew(std::clamp<std::size_t>(count, 1, processors())).each(count, [&](std::size_t, std::size_t i) {
    work(i);
  });
}

}  // namespace trimwright
