// Whether the stated standard deviation of a reading holds beside another rotor's vibration and beside a
// narrow resonance stirred by noise.
//
//   reference_neighbours [DWELLS PER CASE] [SEED]
//
// The dwell's block phasors are drawn directly: 8 revolutions each, white noise of 0.05, the reading 1. A
// neighbour at `times` shaft speed turns in them by 8 (times - 1) of a turn from block to block, lessened by
// the mean over the block. A resonance of damping 0.1 to 1 % at `times` shaft speed is a complex
// autoregression. Printed: rms error of the phase, the root mean square of error over stated deviation per
// component (1 is right), and the part of 95 % limits that hold.

#include <fmt/format.h>

#include <cstdlib>
#include <numbers>
#include <random>

#include "reference/dwell.hpp"

using namespace trimwright;

namespace {

struct Case {
  double times, seconds, neighbour, damping;  ///< damping 0: a steady neighbour
};

void run(const Case& one, int dwells, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> phase(0.0, 2.0 * std::numbers::pi);
  constexpr double block_s = 8.0 / 50.0;  // 3000 rpm
  const int blocks = static_cast<int>(one.seconds / block_s);
  const double turn = 2.0 * std::numbers::pi * 8.0 * (one.times - 1.0);
  double squares = 0.0, z = 0.0, inside = 0.0, told = 0.0;
  for (int trial = 0; trial < dwells; ++trial) {
    DwellSums sums;
    const double memory =
        one.damping > 0.0 ? std::exp(-one.damping * one.times * 2.0 * std::numbers::pi * 8.0) : 1.0;
    Phasor state = one.damping > 0.0 ? one.neighbour / std::sqrt(2.0) * Phasor(normal(random), normal(random))
                                     : std::polar(one.neighbour, phase(random));
    const double lessened = turn == 0.0 ? 1.0 : std::sin(0.5 * turn) / (0.5 * turn);
    for (int i = 0; i < blocks; ++i) {
      BlockReading block;
      block.span = {i * block_s, (i + 1) * block_s};
      block.speed_rpm = 3000.0;
      block.channels.resize(1);
      block.channels[0].value = 1.0 + lessened * state + 0.05 * Phasor(normal(random), normal(random));
      sums.add(block);
      state *= std::polar(memory, turn);
      if (memory < 1.0)
        state +=
            one.neighbour * std::sqrt(0.5 * (1.0 - memory * memory)) * Phasor(normal(random), normal(random));
    }
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
