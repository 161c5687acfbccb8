#include "draws.hpp"

#include <cmath>
#include <numbers>

namespace trimwright::virtual_rotor {

namespace {

constexpr std::uint64_t golden = 0x9E3779B97F4A7C15U;

std::uint64_t mixed(std::uint64_t z) {
  z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
  z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
  return z ^ (z >> 31U);
}

}  // namespace

Draws::Draws(std::uint64_t seed, std::uint64_t stream) : key_(mixed(mixed(seed + golden) ^ mixed(~stream))) {}

std::uint64_t Draws::bits(std::uint64_t index) const { return mixed(key_ + (index + 1) * golden); }

double Draws::uniform(std::uint64_t index) const {
  return static_cast<double>(bits(index) >> 11U) * 0x1.0p-53;
}

double Draws::gaussian(std::uint64_t index) const { return gaussian_pair(index).real(); }

std::complex<double> Draws::gaussian_pair(std::uint64_t index) const {
  const double above_zero = 1.0 - uniform(2 * index);
  return std::polar(std::sqrt(-2.0 * std::log(above_zero)), 2.0 * std::numbers::pi * uniform(2 * index + 1));
}

}  // namespace trimwright::virtual_rotor
