#include "report/text_table.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <sstream>

#include "some.hpp"

using namespace trimwright;
using trimwright::testing::some;

namespace {

using Align = TextTable::Align;

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

}  // namespace

TEST_CASE("No line of a table is wider than a terminal, whatever the names") {
  for (const std::size_t length : {3U, 30U, 90U, 200U}) {
    CAPTURE(length);
    const std::string name = std::string(length, 'x'), words = "a sensor of " + name + " words";
    TextTable table({{"speed", Align::left},
                     {"sensor", Align::left},
                     {"now", Align::right},
                     {"expected", Align::right},
                     {"9 in 10", Align::right},
                     {"differs by", Align::right},
                     {"limit", Align::right},
                     {"result", Align::left}});
    table.add({"2867 rpm (56 %)", words, "0.431 ∠ 68°", "0.0731 ∠ 299°", "0.0215-0.120", "0.135", "0.800",
               "✓ below target"});
    std::string all;
    long tables = 0;
    for (const auto& line : some(lines_of(table.text()))) {
      CHECK(text_columns(line) <= widest_line);
      if (line.rfind("  speed", 0) == 0) ++tables;
      all += line;
    }
    CHECK(std::count(all.begin(), all.end(), 'x') ==
          tables * static_cast<long>(length) + 1);  // and the one of "expected"
    for (const auto& line : some(lines_of(wrapped("  * ", words + " and more"))))
      CHECK(text_columns(line) <= widest_line);
  }
}

TEST_CASE("A table that fits has one line for each row, as before") {
  TextTable table({{"plane", Align::left}, {"slot", Align::right}, {"blades", Align::left}});
  table.add({"spinner", "37", "between blades 26 and 27"});
  CHECK(table.text() ==
        "  plane    slot  blades\n  -------  ----  ------------------------\n  spinner    37  between blades "
        "26 and 27\n");
}

TEST_CASE("A table that is too wide stands under what its first column says, or goes on below") {
  TextTable table(
      {{"speed", Align::left}, {"sensor", Align::left}, {"now", Align::right}, {"unit", Align::left}});
  table.add({"2867 rpm", "front", "0.431", "in/s peak"});
  table.add({"2867 rpm", "rear", "1.92", "mil pp"});
  table.add({"3482 rpm", "rear", "2", "mil pp"});
  CHECK(table.text(38) ==
        "  speed     sensor    now  unit\n  --------  ------  -----  ---------\n"
        "  2867 rpm  front   0.431  in/s peak\n  2867 rpm  rear     1.92  mil pp\n"
        "  3482 rpm  rear        2  mil pp\n");
  CHECK(table.text(30) ==
        "    sensor    now  unit\n    ------  -----  ---------\n"
        "  speed 2867 rpm\n    front   0.431  in/s peak\n    rear     1.92  mil pp\n"
        "  speed 3482 rpm\n    rear        2  mil pp\n");
  CHECK(table.text(26) ==
        "  speed     sensor    now\n  --------  ------  -----\n"
        "  2867 rpm  front   0.431\n  2867 rpm  rear     1.92\n  3482 rpm  rear        2\n\n"
        "  speed     sensor  unit\n  --------  ------  --------\n"
        "  2867 rpm  front   in/s\n                    peak\n  2867 rpm  rear    mil pp\n  3482 rpm  rear    "
        "mil pp\n");
}

TEST_CASE("A column without anything in it can be left out") {
  TextTable table({{"speed", Align::left}, {"±", Align::right}, {"limit", Align::right}});
  table.add({"60 %", "?", "1"});
  table.add({"80 %", "-", "2"});
  table.leave_out_if_empty("±");
  table.leave_out_if_empty("limit");
  CHECK(table.text() == "  speed  limit\n  -----  -----\n  60 %       1\n  80 %       2\n");
}
