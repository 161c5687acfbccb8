// The desk's engine, the library compiled to WebAssembly, as JavaScript calls it.
#include <emscripten/emscripten.h>

#include <cstdlib>
#include <cstring>

#include "desk.hpp"
#include "rehearsal/recorded_run.hpp"

namespace trimwright {

// The desk makes no recordings: a virtual run gives its readings.
Result<void> record_run(const Rehearsal&, const Job&, const RealRun&, const std::string& path) {
  return fail("the desk writes no recordings", "readings", {path, 0, {}});
}

}  // namespace trimwright

extern "C" {

/// Takes a request in JSON and returns the answer, to be freed.
EMSCRIPTEN_KEEPALIVE char* trimwright_desk(const char* request) {
  const std::string answer = trimwright::desk_answer("/desk", request);
  auto* copy = static_cast<char*>(std::malloc(answer.size() + 1));
  if (copy != nullptr) std::memcpy(copy, answer.c_str(), answer.size() + 1);
  return copy;
}
}
