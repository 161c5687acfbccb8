#include <doctest/doctest.h>

#include <utility>

#include "some.hpp"
#include "trimwright/phasor.hpp"

using namespace trimwright;
using trimwright::testing::some;

TEST_CASE("A vibration unit is understood as people usually write it") {
  const std::vector<std::pair<const char*, const char*>> spellings{{"ips peak", "in/s peak"},
                                                                   {"IPS pk", "in/s peak"},
                                                                   {"ips 0-pk", "in/s peak"},
                                                                   {"in/sec pk", "in/s peak"},
                                                                   {"in/s (pk)", "in/s peak"},
                                                                   {"mil p-p", "mil pp"},
                                                                   {"mils pp", "mil pp"},
                                                                   {"Mils pk-pk", "mil pp"},
                                                                   {"mils peak to peak", "mil pp"},
                                                                   {"mil-pp", "mil pp"},
                                                                   {"mil peak-peak", "mil pp"},
                                                                   {"µm p-p", "µm pp"},
                                                                   {"microns pp", "µm pp"},
                                                                   {"um p/p", "µm pp"},
                                                                   {"mm/s RMS", "mm/s rms"},
                                                                   {"mm/sec rms", "mm/s rms"},
                                                                   {"inch/s zero-peak", "in/s peak"},
                                                                   {"G peak", "g peak"},
                                                                   {"m/s^2 rms", "m/s² rms"}};
  for (const auto& spelling : some(spellings)) {
    const auto& written = spelling.first;
    const auto& meant = spelling.second;
    CAPTURE(written);
    const auto unit = parse_vibration_unit(written);
    REQUIRE(unit);
    CHECK(unit->text() == meant);
  }
}

TEST_CASE("A unit with something else behind it, or no detector, is not guessed") {
  for (const char* written :
       {"mil", "ips", "mil pq", "milpp", "in/s2 peak", "p-p", "", "peak", "mil peak rms", "mil peak peak"}) {
    CAPTURE(written);
    CHECK_FALSE(parse_vibration_unit(written));
  }
}

TEST_CASE("Masses and lengths are understood in whole words") {
  CHECK(*parse_mass_g("4.2 grams") == 4.2);
  CHECK(*parse_mass_g("1 lbs") == doctest::Approx(453.59237));
  CHECK(*parse_length_mm("2 inches") == doctest::Approx(50.8));
}

TEST_CASE("A decimal comma is told with the number that was meant") {
  const auto refused = parse_quantity("0,90 in/s");
  REQUIRE_FALSE(refused);
  CHECK(refused.error().what.find("\"0.90 in/s\"") != std::string::npos);
}
