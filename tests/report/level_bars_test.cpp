#include "report/level_bars.hpp"

#include <doctest/doctest.h>

#include "job_builder.hpp"
#include "some.hpp"

using namespace trimwright;
using namespace trimwright::testing;

TEST_CASE("Bars put every limit at the same column, and the target, now and expected in their share of it") {
  Job job;
  job.rotor = free_rotor({"plane"}, {"A", "B"});
  job.speeds_rpm = {3000.0};
  const std::vector<Prediction> predictions{{0, 0, Phasor(0.0, 0.8), Phasor(0.1, 0.0), 1.0, 0.4, {}},
                                            {0, 1, Phasor(9.0, 0.0), Phasor(2.2, 0.0), 2.0, {}, {}}};
  const std::string text = level_bars(job, predictions, 80);
  std::vector<std::string> lines;
  for (std::size_t from = 0; from < text.size(); from = text.find('\n', from) + 1)
    lines.push_back(text.substr(from, text.find('\n', from) - from));
  REQUIRE(lines.size() == 4);
  const std::size_t start = lines[1].rfind(' ') + 1;
  const auto at = [&](std::size_t line, std::size_t column) { return lines[line].at(start + column); };
  CHECK(at(2, 4) == '#');
  CHECK(at(2, 5) == ' ');
  CHECK(at(2, 16) == '|');
  CHECK(at(2, 32) == 'o');
  CHECK(at(2, 40) == ']');
  CHECK(at(3, 40) == ']');  // the limit shows through a bar that passes it
  CHECK(at(3, 44) == '#');
  CHECK(at(3, 48) == '>');  // 4.5 times the limit
  for (const auto& line : some(lines)) CHECK(line.size() <= 80);
}
