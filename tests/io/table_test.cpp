#include <doctest/doctest.h>

#include <sstream>

#include "io/csv_rows.hpp"
#include "io/decimal_mark.hpp"

using namespace trimwright;

namespace {

ColumnMarks column(std::initializer_list<const char*> cells, bool comma_in_table = false) {
  ColumnMarks marks;
  for (const char* cell : cells) marks.add(cell);
  marks.comma_in_table = comma_in_table || marks.comma;
  return marks;
}

}  // namespace

TEST_CASE("What the writer of tables writes, the reader gives back") {
  const std::vector<std::string> cells{
      "as found",     "a, b",       "say \"so\"", "two\nlines", " blank before",
      "blank after ", "semi;colon", "tab\there",  "",           "Größe"};
  std::istringstream in(csv_line({"x"}) + csv_line(cells));
  CsvRows rows(in, "table.csv");
  CHECK((*rows.next())->cells == std::vector<std::string>{"x"});
  const auto read = rows.next();
  REQUIRE(read);
  REQUIRE(*read);
  CHECK((*read)->cells == cells);
  CHECK((*read)->line == 2);
  CHECK_FALSE(*rows.next());
}

TEST_CASE("A row knows its line, whatever ends the lines and whatever is left blank") {
  for (const std::string end : {"\n", "\r\n", "\r"}) {
    std::istringstream in("a,b" + end + end + "\"two" + end + "lines\",c" + end + "d,e");
    CsvRows rows(in, "table.csv");
    CHECK((*rows.next())->line == 1);
    CHECK((*rows.next())->line == 3);
    if (end != "\r") CHECK((*rows.next())->line == 5);  // within a cell a return alone is no line
  }
}

TEST_CASE("A quotation mark that is never closed is told behind the rows before it") {
  std::istringstream in("a,b\nc,\"d\ne\n");
  CsvRows rows(in, "table.csv");
  REQUIRE(rows.next());
  const auto broken = rows.next();
  REQUIRE_FALSE(broken);
  CHECK(broken.error().where.line == 2);
}

TEST_CASE("A comma before three digits is read where the column settles what it is, else refused") {
  CHECK_FALSE(with_decimal_point("4,800 rpm", column({"4,800 rpm", "3485 rpm"})));
  CHECK(with_decimal_point("4,800 rpm", column({"4,800 rpm", "3485,5 rpm"})) == "4.800 rpm");
  CHECK(with_decimal_point("4,800 rpm", column({"4,800 rpm", "3485.5 rpm"})) == "4800 rpm");
  CHECK_FALSE(with_decimal_point("4,800 rpm", column({"4,800 rpm", "3485.5 rpm", "60,5 %"})));
}

TEST_CASE("A comma that can only be a decimal mark is one") {
  for (const char* cell : {"0,197 in/s peak", "-0,197", "+3,25", "4800,125 rpm", "2,87 mil pp", "12,3456"}) {
    std::string point = cell;
    point[point.find(',')] = '.';
    CHECK(with_decimal_point(cell, column({cell})) == point);
  }
}

TEST_CASE("A point is a decimal mark, but before three digits not in a table with decimal commas") {
  CHECK(with_decimal_point("1.710 mil pp", column({"1.710 mil pp"})) == "1.710 mil pp");
  CHECK_FALSE(with_decimal_point("4.800 rpm", column({"4.800 rpm"}, true)));
  CHECK_FALSE(with_decimal_point("4.800 rpm", column({"4.800 rpm", "60,5 %"})));
  CHECK(with_decimal_point("4.800 rpm", column({"4.800 rpm", "60.5 %"}, true)) == "4.800 rpm");
}

TEST_CASE("A number with several marks is left as it is, to be refused as none") {
  CHECK(with_decimal_point("4,800,25 rpm", column({"0,5"})) == "4,800,25 rpm");
  CHECK(with_decimal_point("missing, cable", column({"0,5"})) == "missing, cable");
}
