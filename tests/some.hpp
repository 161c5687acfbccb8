#pragma once

#include <doctest/doctest.h>

#include <iterator>

namespace trimwright::testing {

/// The same rows, for a loop that must look at one at least.
template <class Rows>
Rows some(Rows&& rows) {
  REQUIRE(std::begin(rows) != std::end(rows));
  return static_cast<Rows&&>(rows);
}

}  // namespace trimwright::testing
