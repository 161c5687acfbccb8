// What becomes of the phase reference when the ring is damaged, the signal is lost, or the recording is poor:
// each recording is read with nothing known, with the larger tooth's size and width as an earlier recording
// of the sound ring showed them (two decimals), and with that recording's ring. Where that width is
// below 1.07 the size is all that tells, and the recording is counted apart.
//
//   reference_trials [RECORDINGS PER FAMILY, FEWER WHERE THEY ARE LONG] [SEED] [WORD OF A FAMILY'S NAME]
//
// Wrong: a dwell's phase, or a line's of a run-up, is off by more than a quarter pitch. Late: losses of
// signal after which no phase was trusted within 20 revolutions, of those followed by 40 with signal. Exit
// status 1 when a phase is wrong with a known ring or size, or wrong without a word of warning. REFERENCE_WHY
// in the environment: every recording of interest is told.

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <functional>
#include <optional>

#include "../reference/flux_ring.hpp"
#include "reference/element_agreement.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/reference.hpp"

using namespace trimwright;
using simulated::FluxRing;

namespace {

struct Trial {
  FluxRing sound, ring;  ///< as it was, and as it is recorded
  double seconds = 4.0;
  std::optional<FluxRing> second;  ///< as another sensing element gives it
};

struct Draw {
  std::mt19937_64 random;
  double between(double a, double b) { return std::uniform_real_distribution<double>(a, b)(random); }
  int whole(int a, int b) { return std::uniform_int_distribution<int>(a, b)(random); }
  double normal(double sd) { return std::normal_distribution<double>(0.0, sd)(random); }
  bool one_in(int n) { return whole(1, n) == 1; }
};

/// A rate from 8 to 102.4 kHz with at least twelve samples per tooth; more where the pulses are narrow.
double rate_for(Draw& draw, double teeth_hz) {
  std::vector<double> fit;
  for (const double rate : {8000.0, 12800.0, 16000.0, 25600.0, 51200.0, 102400.0})
    if (rate > 12.0 * teeth_hz) fit.push_back(rate);
  return fit[static_cast<std::size_t>(draw.whole(0, std::min(1, static_cast<int>(fit.size()) - 1)))];
}

Trial ordinary(Draw& draw) {
  FluxRing ring(draw.whole(10, draw.one_in(3) ? 120 : 44));
  ring.bump = static_cast<FluxRing::Bump>(draw.whole(0, 2));
  ring.half_width = draw.between(0.12, 0.24);
  const double fastest = std::min(5400.0, 60.0 * 102400.0 / 12.5 / ring.teeth * ring.half_width / 0.24);
  ring.rpm = draw.between(600, fastest);
  ring.rate_hz = rate_for(draw, ring.teeth * ring.rpm / 60.0 * 0.24 / ring.half_width);
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
  Trial trial{ring, ring, std::max(3.0, 60.0 * 60.0 / ring.rpm), {}};
  const double gain = draw.between(0.7, 1.4);  // another gap
  for (double& height : trial.sound.height) height *= gain;
  trial.sound.seed = draw.random();
  trial.sound.start_rad = draw.between(0.0, 6.28);
  return trial;
}

std::size_t another(Draw& draw, const FluxRing& ring) {
  return static_cast<std::size_t>(draw.whole(1, ring.teeth - 1));
}

void lose(Trial& trial, double begin_s, double end_s, double noise) {
  trial.ring.spans.push_back({begin_s, end_s, 0.0});
  trial.ring.noise = noise * trial.ring.rpm / trial.ring.full_rpm;
}

struct Family {
  const char* name;
  std::function<void(Draw&, Trial&)> spoil;
};

std::vector<Family> families() {
  return {
      {"ordinary", [](Draw&, Trial&) {}},
      {"larger tooth worn to 0.90-1.05, another 10-40 % larger",
       [](Draw& d, Trial& t) {
         t.ring.height[0] = d.between(0.9, 1.05);
         t.ring.height[another(d, t.ring)] = d.between(1.1, 1.4);
       }},
      {"the same, worn in width too",
       [](Draw& d, Trial& t) {
         t.ring.height[0] = d.between(0.9, 1.05);
         t.ring.width[0] = 1.0;
         t.ring.height[another(d, t.ring)] = d.between(1.1, 1.4);
       }},
      {"larger tooth broken off, another larger",
       [](Draw& d, Trial& t) {
         t.ring.height[0] = 0.0;
         t.ring.height[another(d, t.ring)] = d.between(1.1, 1.4);
       }},
      {"worn, run-out of 10-40 %",
       [](Draw& d, Trial& t) {
         t.ring.height[0] = d.between(0.9, 1.05);
         t.sound.run_out = t.ring.run_out = d.between(0.1, 0.4);
         t.sound.run_out_at_rad = t.ring.run_out_at_rad = d.between(0.0, 6.28);
       }},
      {"run-out of 10-60 %",
       [](Draw& d, Trial& t) {
         t.ring.run_out = d.between(0.1, 0.6);
         t.ring.run_out_at_rad = d.between(0.0, 6.28);
       }},
      {"another tooth broken off", [](Draw& d, Trial& t) { t.ring.height[another(d, t.ring)] = 0.0; }},
      {"a tooth bent by up to 0.3 pitch",
       [](Draw& d, Trial& t) {
         t.ring.place_rad[another(d, t.ring)] += d.between(-0.3, 0.3) * 2.0 * std::numbers::pi / t.ring.teeth;
       }},
      {"1 to 5 % of the pulses missing", [](Draw& d, Trial& t) { t.ring.missing = d.between(0.01, 0.05); }},
      {"hum, offset, 12 to 16 bits",
       [](Draw& d, Trial& t) {
         const double height = t.ring.rpm / t.ring.full_rpm;
         t.ring.hum = d.between(0.0, 0.3) * height;
         t.ring.offset = d.between(-0.5, 0.5) * height;
         t.ring.quantum = std::pow(2.0, -d.whole(11, 15));
       }},
      {"clipped at 60-90 %",
       [](Draw& d, Trial& t) { t.ring.clip = d.between(0.6, 0.9) * t.ring.rpm / t.ring.full_rpm; }},
      {"a gap step of 20-40 %",
       [](Draw& d, Trial& t) {
         t.ring.spans.push_back({1.5, 99.0, d.between(0.6, 0.8)});
       }},
      {"5-7 s lost of 20 s",
       [](Draw& d, Trial& t) {
         t.seconds = 20.0;
         const double begin = d.between(3.0, 7.0);
         lose(t, begin, begin + d.between(5.0, 7.0), d.between(0.003, 0.03));
       }},
      {"signal from 5 s on",
       [](Draw& d, Trial& t) {
         t.seconds = 15.0;
         lose(t, 0.0, 5.0, d.between(0.003, 0.03));
       }},
      {"three dropouts of 0.2 s",
       [](Draw& d, Trial& t) {
         t.seconds = 12.0;
         for (const double at : {3.0, 5.0, 8.0}) lose(t, at, at + 0.2, d.between(0.003, 0.03));
       }},
      {"intermittent contact: losses of 5 to 50 ms",
       [](Draw& d, Trial& t) {
         t.seconds = 12.0;
         for (double at = d.between(1.0, 3.0); at < 11.0; at += d.between(0.5, 2.0)) {
           const double until = at + d.between(0.005, 0.05);
           t.ring.spans.push_back({at, until, 0.0});
           at = until;
         }
       }},
      {"signal drifting by up to 60 %, offset too",
       [](Draw& d, Trial& t) {
         t.seconds = 8.0;
         t.ring.gain_per_s = d.between(-0.6, 0.6) / t.seconds;
         t.ring.offset_per_s = d.between(-0.5, 0.5) * t.ring.rpm / t.ring.full_rpm / t.seconds;
       }},
      {"speed wandering by 0.2 to 2 %",
       [](Draw& d, Trial& t) {
         t.seconds = 8.0;
         t.ring.wander = d.between(0.002, 0.02);
         t.ring.wander_hz = d.between(0.1, 1.0);
       }},
      {"run-down by a fifth to a half, in one of two worn and another larger",
       [](Draw& d, Trial& t) {
         t.seconds = std::max(10.0, 40.0 * 60.0 / t.ring.rpm);
         t.ring.rpm_per_s = -d.between(0.2, 0.5) * t.ring.rpm / t.seconds;
         if (d.one_in(2)) {
           t.ring.height[0] = d.between(0.9, 1.05);
           t.ring.height[another(d, t.ring)] = d.between(1.1, 1.4);
         }
       }},
      {"two elements 0 to 180 deg apart, the first failing",
       [](Draw& d, Trial& t) {
         t.seconds = 8.0;
         t.second = t.ring;
         t.second->at_rad = d.between(0.0, std::numbers::pi);
         t.second->seed = d.random();
         if (d.one_in(2))
           t.ring.spans.push_back({d.between(0.0, 3.0), 99.0, d.one_in(2) ? 0.0 : 0.02});
         else
           t.ring.missing = d.between(0.05, 0.4);
       }},
      {"pulses k + 1/2 samples wide",
       [](Draw& d, Trial& t) {
         FluxRing ring(34);
         ring.bump = FluxRing::Bump::cosine;
         ring.half_width = 0.22;
         const std::array<double, 3> speeds{4681, 4312, 3641};
         ring.rpm = speeds[static_cast<std::size_t>(d.whole(0, 2))];
         ring.height[0] = 1.12;
         ring.noise = 0.007;
         ring.start_rad = d.between(0.0, 6.28);
         ring.seed = d.random();
         t = {ring, ring, 4.0, {}};
       }},
  };
}

struct Read {
  Extraction extraction;
  std::vector<RevolutionBlock> blocks;
};

std::vector<float> vibration_of(const FluxRing& ring, double seconds) {
  return ring.vibration(seconds, std::polar(1.0, 0.7), 0.05);
}

Read read_element(const FluxRing& ring, const std::vector<float>& teeth, const std::vector<float>& shake,
                  const RingKnowledge& known) {
  const double fits = 0.98 * ring.rate_hz * 60.0 / (5.0 * ring.teeth);
  ToothRing declared{ring.teeth, ring.rising ? CentreSlope::rising : CentreSlope::falling, 300.0,
                     std::min(5600.0, fits), 0.0};
  declared.at_rad = ring.at_rad;
  ExtractionRules rules;
  rules.known = known;
  auto extractor = ReadingExtractor::create(declared, ring.rate_hz, {{"front"}}, rules);
  if (!extractor) {
    fmt::print("{}\n", extractor.error().message());
    std::exit(2);
  }
  Read result;
  const auto keep = [&] {
    const auto latest = extractor->latest_blocks();
    result.blocks.insert(result.blocks.end(), latest.begin(), latest.end());
  };
  for (std::size_t begin = 0; begin < teeth.size(); begin += 8192) {
    const std::size_t length = std::min<std::size_t>(8192, teeth.size() - begin);
    const std::vector<std::span<const float>> parts{std::span(shake).subspan(begin, length)};
    if (!extractor->push(std::span(teeth).subspan(begin, length), parts)) std::abort();
    keep();
  }
  result.extraction = extractor->finish();
  keep();
  return result;
}

/// The recording of a trial, and how it is read: by the element that is chosen.
struct Samples {
  std::vector<float> teeth, second, shake;

  explicit Samples(const Trial& trial)
      : teeth(trial.ring.samples(trial.seconds)),
        second(trial.second ? trial.second->samples(trial.seconds) : std::vector<float>{}),
        shake(vibration_of(trial.ring, trial.seconds)) {}
};

Read read(const Trial& trial, const Samples& samples, const RingKnowledge& known) {
  std::vector<Read> all{read_element(trial.ring, samples.teeth, samples.shake, known)};
  if (!trial.second) return all.front();
  all.push_back(read_element(*trial.second, samples.second, samples.shake, known));
  std::vector<ElementWatch> watches;
  for (const Read& one : all) {
    ElementWatch& watch = watches.emplace_back("");
    for (const RevolutionBlock& block : one.blocks) watch.see(block);
    watch.settle(one.extraction.turns, one.extraction.health.reference.basis);
  }
  const ElementChoice choice = chosen_element(watches, trial.ring.teeth);
  Read used = std::move(all[choice.used]);
  if (!choice.phase)
    for (DwellReading& dwell : used.extraction.dwells)
      settle(dwell, {ReferenceVerdict::elements_disagree, 0.0});
  for (const Finding& finding : disagreements(watches, trial.ring.teeth))
    used.extraction.health.findings.push_back(finding);
  return used;
}

/// Losses after which there was signal for long enough, and those of them not recovered from in time.
struct Recovery {
  int losses = 0, late = 0;
  double longest = 0.0;  ///< revolutions until the first trusted block begins

  void see(const Trial& trial, const Read& read) {
    if (trial.second) return;
    for (std::size_t i = 0; i < trial.ring.spans.size(); ++i) {
      const auto& span = trial.ring.spans[i];
      const double until = i + 1 < trial.ring.spans.size() ? trial.ring.spans[i + 1].begin_s : trial.seconds;
      const double turn_s = 60.0 / trial.ring.rpm;
      if (span.gain != 0.0 || until - span.end_s < 40.0 * turn_s) continue;
      double first = until;
      for (const RevolutionBlock& block : read.blocks) {
        const auto& turn = read.extraction.turns[static_cast<std::size_t>(block.ring)];
        if (block.verdict != ReferenceVerdict::trusted || turn.verdict != ReferenceVerdict::trusted) continue;
        if (block.track.end_s() > span.end_s) first = std::min(first, block.track.begin_s());
      }
      const double turns = std::max(0.0, (first - span.end_s) / turn_s);
      ++losses;
      longest = std::max(longest, turns);
      late += turns > 20.0 ? 1 : 0;
    }
  }
};

enum Outcome { right, refused, wrong, wordless };

Outcome outcome(const Extraction& extraction, const FluxRing& ring) {
  const Phasor truth = std::polar(1.0, 0.7 + ring.place_rad[0]);
  std::vector<Phasor> values;
  for (const DwellReading& dwell : extraction.dwells)
    if (dwell.phase_trusted) values.push_back(dwell.channels[0].value);
  for (const SweepPoint& point : extraction.sweep) values.push_back(point.channels[0]);
  const bool off = std::ranges::any_of(values, [&](const Phasor value) {
    return std::abs(std::arg(value / truth)) > 0.5 * std::numbers::pi / ring.teeth;
  });
  if (!off) return values.empty() ? refused : right;
  const bool told = std::ranges::any_of(extraction.health.findings, [](const Finding& finding) {
    return finding.gravity == Gravity::caution || finding.kind == FindingKind::taken_at_its_word;
  });
  return told ? wrong : wordless;
}

void explain(const Extraction& extraction, const FluxRing& ring, const char* how) {
  fmt::print("    {}: {} teeth, {:.0f} rpm, {:.0f} Hz, bump {} {:.2f}, noise {:.4f}\n", how, ring.teeth,
             ring.rpm, ring.rate_hz, static_cast<int>(ring.bump), ring.half_width,
             ring.noise * ring.full_rpm / ring.rpm);
  for (const Finding& finding : extraction.health.findings) fmt::print("      {}\n", finding.what);
  if (const auto& match = extraction.health.reference.with_known)
    fmt::print("      lead {:.1f}, misfit {:.2f}, could be {:.1f}\n", match->lead, match->misfit,
               match->expected_lead);
}

}  // namespace

int main(int argc, char** argv) {
  const int each = argc > 1 ? std::atoi(argv[1]) : 65;
  const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 51ULL;
  const std::string only = argc > 3 ? argv[3] : "";
  constexpr double seconds_each = 6.0;  // of signal: of long recordings fewer are read
  const bool why = std::getenv("REFERENCE_WHY") != nullptr;
  constexpr std::array<const char*, 4> how{"nothing known", "size known", "size and width", "ring known"};
  bool good = true;
  int sound_refused = 0, all = 0;
  fmt::print("{:<72} {:>5}", "right / refused / wrong (without a word), of", "");
  for (const char* one : how) fmt::print("  {:>19}", one);
  fmt::print("  {}\n", "late of losses (longest, revolutions)");
  std::uint64_t number = 0;
  for (const Family& family : families()) {
    ++number;
    if (std::string(family.name).find(only) == std::string::npos) continue;
    Draw draw{std::mt19937_64(seed * 1000 + number)};
    std::array<std::array<int, 4>, how.size()> tally{};
    Recovery recovery;
    int read_so_far = 0;
    for (double signal_s = 0.0; read_so_far < each && signal_s < seconds_each * each; ++read_so_far) {
      Trial trial = ordinary(draw);
      family.spoil(draw, trial);
      const Trial before{trial.sound, trial.sound, std::max(3.0, 3600.0 / trial.sound.rpm), {}};
      const ReferenceHealth earlier = read(before, Samples(before), {}).extraction.health;
      signal_s += trial.seconds;
      const Samples samples(trial);
      std::array<RingKnowledge, how.size()> known;
      const double width = std::round(100.0 * earlier.reference.wider) / 100.0;
      const std::size_t sized = width >= 1.07 ? 2 : 1;
      known[sized].ratio = std::round(100.0 * earlier.reference.over_others) / 100.0;
      known[sized].width = width;
      known[3].ring = earlier.ring;
      const bool have_earlier = earlier.reference.verdict == ReferenceVerdict::trusted;
      sound_refused += have_earlier ? 0 : 1;
      if (why && !have_earlier)
        fmt::print("    sound ring refused: {}\n", describe(earlier.reference.verdict));
      for (const std::size_t k : {std::size_t{0}, sized, std::size_t{3}}) {
        if (k > 0 && !have_earlier) continue;
        const Read one = read(trial, samples, known[k]);
        const Outcome result = outcome(one.extraction, trial.ring);
        ++tally[k][result];
        const Recovery so_far = recovery;
        if (k == 3) recovery.see(trial, one);
        if (why && (result == wordless || (k > 0 && result == wrong) || recovery.late > so_far.late ||
                    (result == refused && (k == 3 || std::string(family.name) == "ordinary"))))
          explain(one.extraction, trial.ring, how[k]);
      }
    }
    fmt::print("{:<72} {:>5}", family.name, read_so_far);
    for (std::size_t k = 0; k < how.size(); ++k) {
      const auto& [r, f, w, s] = tally[k];
      fmt::print("  {:>19}", fmt::format("{} / {} / {} ({})", r, f, w + s, s));
      good = good && s == 0 && (k == 0 || w == 0);
    }
    if (recovery.losses > 0)
      fmt::print("  {} of {} ({:.1f})", recovery.late, recovery.losses, recovery.longest);
    fmt::print("\n");
    std::fflush(stdout);
    all += read_so_far;
  }
  fmt::print("{} of {} earlier recordings of the sound rings were refused.\n", sound_refused, all);
  return good ? 0 : 1;
}
