#include "base/name.hpp"

#include <doctest/doctest.h>

#include "base/date.hpp"
#include "base/text.hpp"

using namespace trimwright;

TEST_CASE("A name is kept as a person sees it, whichever way it was typed") {
  CHECK(parse_name("as found") == "as found");
  CHECK(parse_name("Pru\xCC\x88"
                   "fstand") ==
        "Pr\xC3\xBC"
        "fstand");  // u and two dots become one letter
  CHECK(parse_name("as\xC2\xA0"
                   "found") == "as found");  // a blank that does not break
  CHECK(parse_name("as  found") == "as found");
  CHECK(parse_name("振動 1") == "振動 1");
  CHECK(parse_name(std::string(longest_name, 'x')).has_value());
}

TEST_CASE("A name that hides something, or shows nothing, is refused") {
  for (const char* name : {"",
                           " ",
                           "spinner ",
                           " spinner",
                           "spinner\xC2\xA0",
                           "\xE2\xA0\x80",  // blanks
                           "S5\xE2\x80\x8B",
                           "S\xC2\xAD"
                           "5",
                           "\xEF\xBB\xBFS5",  // no width, soft hyphen
                           "Larkmere\xE2\x80\xAE naf",
                           "a\xE2\x81\xA6"
                           "b",  // turned about
                           "re\nar",
                           "\x1B[31mrear",
                           "a\xC2\x85"
                           "b",
                           "a\xE2\x80\xA8"
                           "b",  // controls, line ends
                           "S5\xEF\xB8\x8F",
                           "\xE3\x85\xA4",
                           "\xEE\x80\x80",  // ignored, filler, private
                           "\xCC\x88rear",
                           "a\xFF"
                           "b"})  // an accent on nothing, broken UTF-8
    CHECK_MESSAGE(!parse_name(name), one_line(name));
  CHECK_FALSE(parse_name(std::string(longest_name + 1, 'x')));
}

TEST_CASE("Two names are alike when a person would take one for the other") {
  CHECK(alike("S5", "S5"));
  CHECK(
      alike("Pr\xC3\xBC"
            "f",
            "Pru\xCC\x88"
            "f"));
  CHECK(alike("S5",
              "\xD0\x85"
              "5"));  // a Cyrillic letter
  CHECK(alike("ABC",
              "\xCE\x91\xCE\x92"
              "C"));                               // Greek ones
  CHECK(alike("S5", "\xEF\xBC\xB3\xEF\xBC\x95"));  // as wide as a Chinese sign
  CHECK(alike("as found",
              "as\xC2\xA0"
              "found"));
  CHECK_FALSE(alike("S5", "S6"));
  CHECK_FALSE(alike("S5", "s5"));
  CHECK_FALSE(alike("front", "frönt"));
}

TEST_CASE("What would not be seen is written out on a line") {
  CHECK(one_line("a\nb\tc\x1B[31m") == "a\\nb\\tc\\u001b[31m");
  CHECK(one_line("S5\xE2\x80\x8B \xE2\x80\xAE") == "S5\\u200b \\u202e");
  CHECK(one_line("\xF3\xA0\x80\xA0") == "\\U000e0020");
  CHECK(one_line("cut \xE2\x80") == "cut \\xe2\\x80");
  CHECK(one_line("ü ∠ 漢字") == "ü ∠ 漢字");
}

TEST_CASE("A date is a day that there is, written one way") {
  CHECK(parse_date("2032-02-29").has_value());
  for (const char* wrong : {"", "2031-02-29", "2031-13-01", "2031-00-10", "2031-04-31", "2031-4-30",
                            "31-04-2031", "2031-04-30 ", "2031/04/30", "+031-04-30", "2031-04-3O"})
    CHECK_MESSAGE(!parse_date(wrong), wrong);
  CHECK(begins_as_date("2031-13-45 14:20"));
  CHECK_FALSE(begins_as_date("12 May 2031"));
}
