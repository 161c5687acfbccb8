// How often 90 % intervals of predicted vibration hold the truth, over virtual jobs: a table for
// docs/certainty.md.
//
//   certainty_coverage [jobs per line] [seed]

#include <fmt/format.h>

#include <cstdlib>
#include <string>
#include <vector>

#include "coverage.hpp"

int main(int argc, char** argv) {
  using trimwright::testing::CoverageCase;
  const int jobs = argc > 1 ? std::atoi(argv[1]) : 10000;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  struct Line {
    std::string name;
    CoverageCase one;
  };
  std::vector<Line> lines{{"noise stated, 4 runs", {}},
                          {"noise estimated, 4 runs (few degrees of freedom)", {}},
                          {"noise estimated, 12 runs (many)", {}},
                          {"wrong: 2 % non-linear, stated", {}},
                          {"wrong: outliers of 0.2 in/s in 5 % of readings, stated", {}},
                          {"wrong: noise stated at half, 4 runs", {}},
                          {"wrong: noise stated at half, 12 runs", {}}};
  lines[1].one.noise_stated = false;
  lines[2].one = {4, 4, false, 1.0, {}, 0.0};
  lines[3].one.bend = 0.02;
  lines[4].one.noise.outlier_share = 0.05;
  lines[5].one.stated_share = 0.5;
  lines[6].one = {4, 4, true, 0.5, {}, 0.0};
  fmt::print("| case | coverage of 90 % intervals |\n|---|---|\n");
  for (const auto& line : lines)
    fmt::print("| {} | {:.1f} % |\n", line.name,
               100.0 * trimwright::testing::coverage_of(line.one, jobs, seed));
}
