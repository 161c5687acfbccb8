// How well events are told and found: two tables for docs/history.md.
//
//   events_table [jobs] [seed]
//
// Told: simulation-based calibration (S. Talts et al., arXiv 1804.06788, 2018) of each figure of an event and
// of the baseline foretold with it: chi-squared over the ten deciles of what was said, its probability, and
// the root mean square of error over standard deviation. Found: what `ready` says of the newest run, on the
// virtual fleet of the certainty study, with a change of each shape in the size given.

#include <fmt/format.h>

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cstdlib>

#include "event_world.hpp"
#include "trimwright/check.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;
using Of = EventPart::Of;

struct Calibration {
  std::vector<int> deciles = std::vector<int>(10, 0);
  double squares = 0.0;
  int count = 0;
  void add(double z) {
    const double share = boost::math::cdf(boost::math::normal(), z);
    ++deciles[static_cast<std::size_t>(std::min(9.0, std::floor(10.0 * share)))];
    squares += z * z;
    ++count;
  }
  [[nodiscard]] std::string words() const {
    double chi = 0.0;
    for (const int n : deciles) chi += std::pow(n - count / 10.0, 2) / (count / 10.0);
    const double p = boost::math::cdf(boost::math::complement(boost::math::chi_squared(9), chi));
    return fmt::format("{:.2f} | {:.2f}", p, std::sqrt(squares / count));
  }
};

void told(const char* name, Event::Kind kind, Of of, int jobs, std::uint64_t seed) {
  Draws draws{boost::random::mt19937_64(seed)};
  Calibration value, baseline;
  for (int j = 0; j < jobs; ++j) {
    const double truth = of == Of::log_size ? 0.4 * (draws.uniform() - 0.5)
                         : of == Of::delay  ? 0.4 * std::numbers::pi * (draws.uniform() - 0.5)
                                            : 2.0 * std::numbers::pi * (draws.uniform() - 0.5);
    const auto by = [&](double rpm, std::size_t sensor) -> Phasor {
      if (of == Of::angle) return std::polar(1.0, truth);
      if (of == Of::delay) return std::polar(1.0, truth * rpm / 3000.0);
      if (sensor != 1) return 1.0;
      return of == Of::turn ? std::polar(1.0, truth) : Phasor(std::exp(truth));
    };
    const auto model = fit_influence(changed_after_two({kind, 1}, by, &draws));
    if (!model) continue;
    for (const auto& part : model->posterior->events)
      if (part.of == of) value.add(std::remainder(part.value - truth, 2.0 * std::numbers::pi) / part.sd);
    const auto& row = model->rows[3];
    const double sd = *prediction_sd(*model, row, Eigen::Vector2cd::Zero());
    baseline.add((row.baseline - by(3000.0, 1) * Phasor(0.2, 0.6)).real() / sd);
  }
  fmt::print("| {} | {} | {} |\n", name, value.words(), baseline.words());
}

void found(const char* name, const char* words, const Change& change, Phasor moment, int jobs,
           std::uint64_t seed) {
  int spoken = 0, named = 0;
  for (int j = 0; j < jobs; ++j) {
    const Job job = with_last(seed + static_cast<std::uint64_t>(j), change, moment);
    Readiness readiness = trimwright::readiness(job);
    compare_newest_run(job, readiness);
    for (const auto& one : readiness.findings) {
      if (one.concern != ReadinessConcern::not_as_foretold) continue;
      ++spoken;
      named += finding_words(job, one).find(words) != std::string::npos;
    }
  }
  fmt::print("| {} | {} | {} | {} |\n", name, jobs, spoken, named);
}

}  // namespace

int main(int argc, char** argv) {
  const int jobs = argc > 1 ? std::atoi(argv[1]) : 200;
  const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  fmt::print(
      "| figure | deciles of it, probability | error over ± | of the baseline: probability | error over ± "
      "|\n");
  fmt::print("|---|---|---|---|---|\n");
  told("angle of the reference", Event::Kind::reference_moved, Of::angle, jobs, seed);
  told("delay", Event::Kind::delay_changed, Of::delay, jobs, seed + 1);
  told("ratio of a sensor", Event::Kind::sensor_changed, Of::log_size, jobs, seed + 2);
  told("turn of a sensor", Event::Kind::sensor_changed, Of::turn, jobs, seed + 3);

  const VirtualFleet fleet;
  const Change same = [](const Reading& r) { return *r.x; };
  fmt::print("\n| what happened | jobs | told | as what it is |\n|---|---|---|---|\n");
  found("nothing", "", same, 0.0, jobs, seed);
  for (const double degrees : {8.18, 34.0, 150.0})
    found(
        fmt::format("every phase turned by {}°", degrees).c_str(), "reference",
        [degrees](const Reading& r) { return *r.x * at_angle(degrees); }, 0.0, jobs, seed);
  found(
      "a delay of 40° at the highest speed", "in proportion to speed",
      [](const Reading& r) { return *r.x * at_angle(-40.0 * r.rpm / 4750.0); }, 0.0, jobs, seed);
  found(
      "one sensor reads 1.3 times as much, 20° more", "sensor B reads",
      [](const Reading& r) { return r.sensor == 1 ? *r.x * 1.3 * at_angle(20.0) : *r.x; }, 0.0, jobs, seed);
  found("an unbalance in one plane, 0.3 in/s", "nobody fitted, at or near rear", same,
        fleet.moment_worth(0.3, 1) * at_angle(70.0), jobs, seed);
  found(
      "one vector added to each sensor's readings, 0.3 in/s", "one vector added",
      [](const Reading& r) { return *r.x + (r.sensor == 0 ? Phasor(0.3, 0.0) : Phasor(0.0, -0.3)); }, 0.0,
      jobs, seed);
  found(
      "every reading moved on its own, 0.2 in/s", "nothing considered here",
      [](const Reading& r) {
        return *r.x + std::polar(0.2, 2.4 * static_cast<double>(r.speed * 2 + r.sensor));
      },
      0.0, jobs, seed);
}
