#include "event_keys.hpp"

#include <algorithm>
#include <iterator>

namespace trimwright {

std::string event_as_written(Event::Kind kind, const std::string& sensor) {
  const auto* const one = std::find_if(std::begin(event_keys), std::end(event_keys),
                                       [kind](const EventKey& each) { return each.kind == kind; });
  return std::string("{") + one->key + ": " + (one->word == nullptr ? sensor : one->word) + "}";
}

}  // namespace trimwright
