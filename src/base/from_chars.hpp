#pragma once

#ifdef __EMSCRIPTEN__
#include <fast_float/fast_float.h>
#else
#include <charconv>
#endif

namespace trimwright {

/// Of a double: the standard library's, or fast_float's where the standard library has none (emscripten's).
#ifdef __EMSCRIPTEN__
using fast_float::from_chars;
#else
using std::from_chars;
#endif

}  // namespace trimwright
