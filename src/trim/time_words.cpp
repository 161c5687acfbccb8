#include "time_words.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace trimwright {

std::string what_ended(const TrimRequest& request) {
  return request.deadline().interrupted()
             ? "You ended the search"
             : fmt::format("The time limit ({:g} s for everything) ended the search", request.time_limit_s);
}

std::string run_again(const TrimRequest& request) {
  if (request.deadline().interrupted()) return "Run again and let it go on.";
  if (!request.more_time.empty()) return request.more_time;
  return fmt::format("Run again with --time-limit {:g}.",
                     std::clamp(10.0 * request.time_limit_s, 60.0, 86400.0));
}

}  // namespace trimwright
