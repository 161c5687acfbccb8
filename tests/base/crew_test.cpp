#include "base/crew.hpp"

#include <doctest/doctest.h>

#include <atomic>
#include <stdexcept>
#include <vector>

using namespace trimwright;

TEST_SUITE("several threads") {
  TEST_CASE("a crew does every piece of every call, and nothing after it") {
    for (const std::size_t threads : {1U, 2U, 5U}) {
      Crew crew(threads);
      std::vector<int> done(crew.size(), 0);
      for (int call = 1; call <= 300; ++call) {
        crew.run([&](std::size_t member) { ++done[member]; });
        for (const int times : done) REQUIRE(times == call);
      }
    }
  }

  TEST_CASE("what one throws is thrown to the one that asks, and the crew goes on") {
    for (const std::size_t thrower : {0U, 2U}) {
      Crew crew(3);
      const auto refuse = [&](std::size_t member) {
        if (member == thrower) throw std::runtime_error("no memory");
      };
      CHECK_THROWS_WITH_AS(crew.run(refuse), "no memory", std::runtime_error);
      std::atomic<int> done = 0;
      crew.run([&](std::size_t) { ++done; });
      CHECK(done == 3);
    }
  }

  TEST_CASE("each piece once") {
    for (const std::size_t count : {0U, 1U, 3U, 1000U}) {
      std::vector<int> done(count, 0);
      each_together(count, [&](std::size_t i) { ++done[i]; });
      for (const int times : done) CHECK(times == 1);
    }
    CHECK_THROWS_AS(each_together(4,
                                  [](std::size_t i) {
                                    if (i == 2) throw std::bad_alloc();
                                  }),
                    std::bad_alloc);
  }
}
