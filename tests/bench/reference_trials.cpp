// What becomes of the phase reference when the ring is damaged, the signal is lost, or the recording is poor.
//
//   reference_trials [RECORDINGS PER FAMILY] [SEED]

#include <fmt/format.h>

#include <cstdlib>
#include <functional>

#include "../reference/flux_ring.hpp"
#include "trimwright/base/angle.hpp"
#include "trimwright/reference/reading_extractor.hpp"

using namespace trimwright;
using simulated::FluxRing;

namespace {

struct Trial {
  FluxRing ring;
  double seconds = 4.0;
};

struct Draw {
  std::mt19937_64 random;
  double between(double a, double b) { return std::uniform_real_distribution<double>(a, b)(random); }
  int whole(int a, int b) { return std::uniform_int_distribution<int>(a, b)(random); }
  double normal(double sd) { return std::normal_distribution<double>(0.0, sd)(random); }
  bool one_in(int n) { return whole(1, n) == 1; }
};

Trial ordinary(Draw& draw) {
  FluxRing ring(draw.whole(10, 120));
  ring.bump = static_cast<FluxRing::Bump>(draw.whole(0, 2));
  ring.half_width = draw.between(0.12, 0.24);
  ring.rpm = draw.between(600, 5400);
  const double teeth_hz = ring.teeth * ring.rpm / 60.0;
  const std::array<double, 6> rates{8000, 12800, 16000, 25600, 51200, 102400};
  ring.rate_hz = rates[static_cast<std::size_t>(draw.whole(0, 5))];
  if (ring.rate_hz < 14.0 * teeth_hz) ring.rate_hz = 102400;
  const double size_scatter = draw.between(0.001, 0.015), place_scatter = draw.between(0.0005, 0.006);
  for (std::size_t k = 0; k < ring.height.size(); ++k) {
    ring.height[k] *= 1.0 + draw.normal(size_scatter);
    ring.width[k] *= 1.0 + draw.normal(0.3 * size_scatter);
    ring.place_rad[k] = draw.normal(place_scatter) * 2.0 * std::numbers::pi / ring.teeth;
  }
  ring.height[0] *= draw.between(1.12, 1.6);
  if (draw.one_in(2)) ring.width[0] *= draw.between(1.05, 1.2);
  ring.start_rad = draw.between(0.0, 6.28);
  ring.noise = std::pow(10.0, draw.between(-4.0, -1.6)) * ring.rpm / ring.full_rpm;
  ring.wander = draw.between(0.0, 0.002);
  ring.rising = draw.one_in(2);
  ring.seed = draw.random();
  return {ring, std::max(3.0, 60.0 * 60.0 / ring.rpm)};
}

std::size_t another(Draw& draw, const FluxRing& ring) {
  return static_cast<std::size_t>(draw.whole(1, ring.teeth - 1));
}

struct Tally {
  int recordings = 0, right = 0, wrong = 0, refused = 0, worded = 0;
};

struct Family {
  const char* name;
  std::function<Trial(Draw&)> draw;
};

enum class Outcome { right, wrong, refused };

Outcome outcome(const Trial& trial) {
  const FluxRing& ring = trial.ring;
  const std::complex<double> x = std::polar(1.0, 0.7);
  const ToothRing declared{ring.teeth, ring.rising ? CentreSlope::rising : CentreSlope::falling, 300.0, 5600.0, 0.0};
  const double lowest_rate = 5.0 * ring.teeth * 5600.0 / 60.0;
  ToothRing fitting = declared;
  if (ring.rate_hz < lowest_rate) fitting.highest_rpm = 0.95 * ring.rate_hz * 60.0 / (5.0 * ring.teeth);
  auto extractor = ReadingExtractor::create(fitting, ring.rate_hz, {{"front"}}, {});
  if (!extractor) {
    fmt::print("{}\n", extractor.error().message());
    return Outcome::refused;
  }
  const auto teeth = ring.samples(trial.seconds), shake = ring.vibration(trial.seconds, x, 0.05);
  for (std::size_t begin = 0; begin < teeth.size(); begin += 8192) {
    const std::size_t length = std::min<std::size_t>(8192, teeth.size() - begin);
    const std::vector<std::span<const float>> parts{std::span(shake).subspan(begin, length)};
    if (!extractor->push(std::span(teeth).subspan(begin, length), parts)) std::abort();
  }
  const Extraction extraction = extractor->finish();
  bool right = false;
  // The reference is the centre of tooth 0 as it passes.
  const std::complex<double> truth = x * std::polar(1.0, ring.place_rad[0]);
  for (const DwellReading& dwell : extraction.dwells) {
    if (!dwell.phase_trusted) continue;
    const double off = std::abs(std::arg(dwell.channels[0].value / truth));
    if (off > 0.25 * 2.0 * std::numbers::pi / ring.teeth) return Outcome::wrong;
    right = true;
  }
  if (std::getenv("TRIAL_WHY") && !right) {
    for (const auto& f : extraction.health.findings) fmt::print("    {} ({})\n", f.what, (int)f.gravity);
    fmt::print("    dwells {} teeth {} rpm {:.0f} rate {} hw {:.3f} bump {} noise {:.4f} seed {}\n", extraction.dwells.size(), ring.teeth, ring.rpm, ring.rate_hz, ring.half_width, (int)ring.bump, ring.noise * ring.full_rpm / ring.rpm, ring.seed);
    for (const auto& d : extraction.dwells) fmt::print("      {:.2f}-{:.2f} trusted {} refused {} {}\n", d.span.begin_s, d.span.end_s, d.blocks, d.refused_blocks, describe(d.refusal));
  }
  return right ? Outcome::right : Outcome::refused;
}

std::vector<Family> families() {
  return {
      {"ordinary", ordinary},
      {"worn, another larger",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.ring.height[0] = d.between(0.9, 1.05);
         t.ring.height[another(d, t.ring)] = d.between(1.1, 1.4);
         return t;
       }},
      {"broken off, another larger",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.ring.height[0] = 0.0;
         t.ring.height[another(d, t.ring)] = d.between(1.1, 1.4);
         return t;
       }},
      {"worn, run-out",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.ring.height[0] = d.between(0.9, 1.05);
         t.ring.run_out = d.between(0.1, 0.4);
         t.ring.run_out_at_rad = d.between(0.0, 6.28);
         return t;
       }},
      {"run-out to 60 %",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.ring.run_out = d.between(0.1, 0.6);
         t.ring.run_out_at_rad = d.between(0.0, 6.28);
         return t;
       }},
      {"signal lost",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.seconds = 20.0;
         const double begin = d.between(3.0, 7.0);
         t.ring.spans.push_back({begin, begin + d.between(5.0, 7.0), 0.0});
         t.ring.noise = d.between(0.003, 0.03);
         return t;
       }},
      {"signal from 5 s on",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.seconds = 15.0;
         t.ring.spans.push_back({0.0, 5.0, 0.0});
         t.ring.noise = d.between(0.003, 0.03);
         return t;
       }},
      {"three dropouts of 0.2 s",
       [](Draw& d) {
         Trial t = ordinary(d);
         t.seconds = 12.0;
         for (const double at : {3.0, 5.0, 8.0}) t.ring.spans.push_back({at, at + 0.2, 0.0});
         t.ring.noise = d.between(0.003, 0.03);
         return t;
       }},
      {"pulses k + 1/2 samples wide",
       [](Draw& d) {
         FluxRing ring(30);
         ring.bump = FluxRing::Bump::cosine;
         ring.half_width = 0.22;
         const std::array<double, 3> speeds{4681, 4312, 3641};
         ring.rpm = speeds[static_cast<std::size_t>(d.whole(0, 2))];
         ring.height[0] = 1.12;
         ring.noise = 0.01 * 0.7;
         ring.start_rad = d.between(0.0, 6.28);
         ring.seed = d.random();
         return Trial{ring, 4.0};
       }},
  };
}

}  // namespace

int main(int argc, char** argv) {
  const int each = argc > 1 ? std::atoi(argv[1]) : 100;
  Draw draw{std::mt19937_64(argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 51ULL)};
  const std::string only = argc > 3 ? argv[3] : "";
  for (const Family& family : families()) {
    if (!only.empty() && std::string(family.name).find(only) == std::string::npos) continue;
    Tally tally;
    for (int i = 0; i < each; ++i) {
      const Outcome result = outcome(family.draw(draw));
      ++tally.recordings;
      tally.right += result == Outcome::right ? 1 : 0;
      tally.wrong += result == Outcome::wrong ? 1 : 0;
      tally.refused += result == Outcome::refused ? 1 : 0;
    }
    fmt::print("{:<32} {:5} recordings  right {:5}  refused {:5}  wrong {:5}\n", family.name, tally.recordings,
               tally.right, tally.refused, tally.wrong);
    std::fflush(stdout);
  }
}
