// Whether the stated standard deviation of a reading holds beside another rotor's vibration and beside a
// narrow resonance stirred by noise.
//
//   reference_neighbours [DWELLS PER CASE] [SEED]
//
// The phasors of single revolutions are drawn directly: white noise of 0.05 per block of 8 revolutions, the
// reading 1. They are put together as pairs of blocks are, with a Hann window. A neighbour at `times` shaft
// speed turns; a resonance of damping 0.1 to 1 % at `times` shaft speed is a complex autoregression. Printed:
// rms error of the phase, the root mean square of error over stated deviation per component (1 is right), the
// part of 95 % limits that hold, and in how many dwells a neighbour or a resonance is told.

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <numbers>
#include <random>
#include <vector>

#include "reference/dwell.hpp"

using namespace trimwright;

namespace {

struct Case {
  double times, seconds, neighbour, damping;  ///< damping 0: a steady neighbour
};

constexpr int per_block = 8;
constexpr double block_s = per_block / 50.0;  // 3000 rpm

/// Two blocks with a Hann window, revolution by revolution.
BlockReading pair_of(const std::vector<Phasor>& turns, int first, double begin_s) {
  BlockReading pair;
  pair.tapered = true;
  pair.span = {begin_s, begin_s + 2.0 * block_s};
  pair.speed_rpm = 3000.0;
  Phasor first_half, second_half;
  for (int i = 0; i < 2 * per_block; ++i) {
    const double weight = std::pow(std::sin(std::numbers::pi * (i + 0.5) / (2 * per_block)), 2) / per_block;
    (i < per_block ? first_half : second_half) += weight * turns[static_cast<std::size_t>(first + i)];
  }
  pair.channels.resize(1);
  pair.channels[0].value = first_half + second_half;
  pair.channels[0].turning = second_half - first_half;
  return pair;
}

void run(const Case& one, int dwells, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> phase(0.0, 2.0 * std::numbers::pi);
  const int blocks = static_cast<int>(one.seconds / block_s);
  double squares = 0.0, z = 0.0, inside = 0.0, told = 0.0;
  for (int trial = 0; trial < dwells; ++trial) {
    const double memory =
        one.damping > 0.0 ? std::exp(-one.damping * one.times * 2.0 * std::numbers::pi) : 1.0;
    Phasor state = one.damping > 0.0 ? one.neighbour / std::sqrt(2.0) * Phasor(normal(random), normal(random))
                                     : std::polar(one.neighbour, phase(random));
    std::vector<Phasor> turns;
    for (int i = 0; i < blocks * per_block; ++i) {
      turns.push_back(1.0 + state + 0.05 * std::sqrt(per_block) * Phasor(normal(random), normal(random)));
      state *= std::polar(memory, 2.0 * std::numbers::pi * (one.times - 1.0));
      if (memory < 1.0)
        state +=
            one.neighbour * std::sqrt(0.5 * (1.0 - memory * memory)) * Phasor(normal(random), normal(random));
    }
    DwellSums sums;
    for (int i = 0; i + 1 < blocks; ++i) sums.add(pair_of(turns, i * per_block, i * block_s));
    const ChannelReading reading = sums.reading({}).channels[0];
    const Phasor error = reading.value - 1.0;
    squares += error.imag() * error.imag() / dwells;
    for (const double part : {error.real(), error.imag()}) {
      z += part * part / (reading.sd * reading.sd) / (2.0 * dwells);
      inside += std::abs(part) < 1.96 * reading.sd ? 0.5 / dwells : 0.0;
    }
    told += reading.other_hz || reading.resonance ? 1.0 / dwells : 0.0;
  }
  fmt::print("{:6.3f} {:6.1f} s {:6.2f} {:8.3f}   {:8.3f} {:8.2f} {:8.1f} % {:8.1f} %\n", one.times,
             one.seconds, one.neighbour, one.damping, std::sqrt(squares) * 180.0 / std::numbers::pi,
             std::sqrt(z), 100.0 * inside, 100.0 * told);
}

}  // namespace

int main(int argc, char** argv) {
  const int dwells = argc > 1 ? std::atoi(argv[1]) : 1000;
  std::mt19937_64 random(argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 51ULL);
  fmt::print(" times  dwell  neighbour damping  rms [deg]  z rms    95 % hold     told\n");
  for (const double seconds : {2.9, 10.0, 40.0}) {
    run({1.0, seconds, 0.0, 0.0}, dwells, random);
    for (const double times : {1.01, 1.03, 1.06, 1.10}) run({times, seconds, 0.5, 0.0}, dwells, random);
    for (const double times : {1.0, 1.01, 1.03})
      for (const double damping : {0.002, 0.01}) run({times, seconds, 0.3, damping}, dwells, random);
  }
}
