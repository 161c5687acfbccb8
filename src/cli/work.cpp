#include "work.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <condition_variable>
#include <csignal>
#include <cstdlib>
#include <mutex>
#include <optional>
#include <system_error>
#include <thread>

#include "base/new_file.hpp"

namespace trimwright::cli {
namespace {

using Clock = Deadline::Clock;
using std::chrono::milliseconds;

const Clock::time_point program_began = Clock::now();
constexpr milliseconds quiet_for{2000};         // before progress is shown
constexpr milliseconds late_by{800};            // after a deadline
constexpr milliseconds to_answer_with{60'000};  // after an interruption: a second one does not wait

/// What this thread and those that watch over it share.
struct Work {
  std::mutex lock;
  std::condition_variable changed;
  std::string what;
  std::optional<Clock::time_point> ends;  ///< empty: no limit was set
  bool searches = false;
  bool done = true;
  std::optional<Clock::time_point> interrupted;
  std::thread watcher;
};

Work& the_work() {
  static auto* work = new Work;  // never destroyed: threads may outlive main
  return *work;
}

std::atomic<bool> was_interrupted = false;

double since(Clock::time_point then) { return std::chrono::duration<double>(Clock::now() - then).count(); }

double limit_of(const Work& work) {
  return std::chrono::duration<double>(*work.ends - program_began).count();
}

std::string progress_of(const Work& work) {
  return fmt::format("\r\033[K{}: {:.0f} s{}; Ctrl-C {}", work.what, since(program_began),
                     work.ends ? fmt::format(" of {:g}", limit_of(work)) : std::string{},
                     !work.searches     ? "ends it"
                     : work.interrupted ? "again ends it without an answer"
                                        : "ends it with what is found so far");
}

void give_up(const Work& work, bool shown) {
  remove_passing();
  if (shown) fmt::print(stderr, "\r\033[K");
  const Error why{
      work.what + (work.interrupted
                       ? " was ended before anything was found"
                       : fmt::format(" found nothing within its time limit of {:g} s", limit_of(work))),
      fmt::format("more time (--time-limit {:g}, or more for a large job)",
                  work.ends ? std::max(60.0, std::ceil(4.0 * limit_of(work))) : 60.0),
      {}};
  fmt::print(stderr, "trimwright: {}\n", why.message());
  std::_Exit(refused);
}

void watch() {
  Work& work = the_work();
  const bool shows = ::isatty(STDERR_FILENO) == 1;
  bool shown = false;
  std::unique_lock guard(work.lock);
  while (!work.done) {
    auto last = Clock::time_point::max();
    if (work.ends) last = *work.ends + late_by;
    if (work.interrupted) last = std::min(last, *work.interrupted + to_answer_with);
    if (Clock::now() >= last) give_up(work, shown);
    if (shows && Clock::now() - program_began >= quiet_for) {
      const std::string line = progress_of(work);
      guard.unlock();  // a terminal may be stopped
      fmt::print(stderr, "{}", line);
      guard.lock();
      shown = true;
      if (work.done) break;
    }
    const auto next = shown ? Clock::now() + milliseconds(1000) : program_began + quiet_for;
    work.changed.wait_until(guard, std::min(last, shows ? next : Clock::now() + milliseconds(60'000)));
  }
  if (shown) fmt::print(stderr, "\r\033[K");
}

std::optional<Clock::time_point> end_of(std::optional<double> limit) {
  if (!limit) return std::nullopt;
  return program_began + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(*limit));
}

void begin(const std::string& what, bool searches, std::optional<Clock::time_point> ends) {
  Work& work = the_work();
  const std::lock_guard guard(work.lock);
  if (!work.done) return;
  work.what = what;
  work.ends = ends;
  work.searches = searches;
  work.done = false;
  try {
    work.watcher = std::thread(watch);
  } catch (const std::system_error&) {  // no thread to be had: the deadline still holds
  }
}

}  // namespace

std::optional<Deadline> search_until(std::optional<double> limit, const std::string& what) {
  const auto ends = end_of(limit);
  begin(what, true, ends);
  if (!ends) return std::nullopt;
  return Deadline(*ends, work_clock);
}

void work(const std::string& what, std::optional<double> limit) { begin(what, false, end_of(limit)); }

Clock::time_point work_clock() { return was_interrupted ? Deadline::interruption() : Clock::now(); }

void work_is_done() {
  Work& work = the_work();
  {
    const std::lock_guard guard(work.lock);
    work.done = true;
    work.changed.notify_all();
  }
  if (work.watcher.joinable() && work.watcher.get_id() != std::this_thread::get_id()) work.watcher.join();
}

bool ends_by_itself(int signal) {
  Work& work = the_work();
  const std::lock_guard guard(work.lock);
  if (signal == SIGHUP || work.done || !work.searches || work.interrupted) return false;
  work.interrupted = Clock::now();
  was_interrupted = true;
  work.changed.notify_all();
  return true;
}

}  // namespace trimwright::cli
