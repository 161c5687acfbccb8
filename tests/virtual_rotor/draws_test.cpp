#include "virtual_rotor/draws.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace trimwright::virtual_rotor;

TEST_CASE("draws are standard normal, uncorrelated with their neighbours and with other streams") {
  const Draws draws(11, 0), other(11, 1);
  constexpr int n = 200000;
  double mean = 0.0, square = 0.0, fourth = 0.0, neighbour = 0.0, stream = 0.0, parts = 0.0;
  for (std::uint64_t i = 0; i < n; ++i) {
    const double g = draws.gaussian(i);
    mean += g / n;
    square += g * g / n;
    fourth += g * g * g * g / n;
    neighbour += g * draws.gaussian(i + 1) / n;
    stream += g * other.gaussian(i) / n;
    parts += g * draws.gaussian_pair(i).imag() / n;
  }
  const double standard_error = 1.0 / std::sqrt(n);
  CHECK(std::abs(mean) < 4.5 * standard_error);
  CHECK(std::abs(square - 1.0) < 4.5 * std::sqrt(2.0) * standard_error);
  CHECK(std::abs(fourth - 3.0) < 4.5 * std::sqrt(96.0) * standard_error);
  CHECK(std::abs(neighbour) < 4.5 * standard_error);
  CHECK(std::abs(stream) < 4.5 * standard_error);
  CHECK(std::abs(parts) < 4.5 * standard_error);
}

TEST_CASE("a draw is looked up: its seed, stream and index say all") {
  CHECK(Draws(5, 2).gaussian(1000) == Draws(5, 2).gaussian(1000));
  CHECK(Draws(5, 2).bits(0) != Draws(6, 2).bits(0));
  CHECK(Draws(5, 2).bits(0) != Draws(5, 3).bits(0));
  CHECK(Draws(5, 2).bits(0) != Draws(2, 5).bits(0));
}
