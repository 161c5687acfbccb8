#include <doctest/doctest.h>

#include "job_builder.hpp"
#include "trimwright/report.hpp"

using namespace trimwright;
using namespace trimwright::testing;

TEST_CASE("A run sheet prints no stop level that is still to be confirmed, and those of the others") {
  Job job;
  job.rotor = free_rotor({"fan"}, {"front", "rear"});
  job.fitted_now.resize(1);
  job.rotor.sensors[0].bands = {{10000.0, 0.7654, 0.4321}};
  job.rotor.sensors[1].bands = {{10000.0, 0.9876, {}}};
  job.speeds_rpm = {3000.0};
  CHECK(run_sheet_page(job).find("0.765") != std::string::npos);
  job.rotor.to_confirm = {"limits of front"};
  const std::string sheet = run_sheet_page(job);
  CHECK(sheet.find("0.765") == std::string::npos);
  CHECK(sheet.find("0.432") == std::string::npos);
  CHECK(sheet.find("0.988") != std::string::npos);
  CHECK(sheet.find("Limits are not given yet") != std::string::npos);
}
