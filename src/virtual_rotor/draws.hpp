#pragma once

#include <complex>
#include <cstdint>

namespace trimwright::virtual_rotor {

/// Random numbers that are looked up, not drawn in turn: the i-th of a stream depends on (seed, stream, i)
/// only.
///
/// So a recording is the same whatever the block size, and the same on every platform (the standard library's
/// distributions are not). The mixing is SplitMix64: Steele, Lea & Flood, OOPSLA 2014.
class Draws {
 public:
  Draws(std::uint64_t seed, std::uint64_t stream);

  [[nodiscard]] std::uint64_t bits(std::uint64_t index) const;
  /// In [0, 1).
  [[nodiscard]] double uniform(std::uint64_t index) const;
  /// Standard normal (Box & Muller 1958).
  [[nodiscard]] double gaussian(std::uint64_t index) const;
  /// Independent real and imaginary part, each standard normal.
  [[nodiscard]] std::complex<double> gaussian_pair(std::uint64_t index) const;

 private:
  std::uint64_t key_;
};

}  // namespace trimwright::virtual_rotor
