#include <doctest/doctest.h>

#include "job_builder.hpp"
#include "trimwright/job.hpp"

namespace trimwright {
namespace {

JobBuilder bench() {
  JobBuilder made("bench rotor", PhaseConvention::lag);
  made.plane("disc").sensor("bearing", "mm/s peak-to-peak", 4.0, 1.0);
  return made;
}

std::string refusal(const JobBuilder& made) {
  const auto job = made.job();
  return job ? std::string("accepted") : job.error().message();
}

TEST_CASE("a job made in code holds what was said, in the library's own conventions") {
  const auto job =
      bench().run("baseline").read("bearing", 1500.0, 3.0, 40.0).run("trial").fit("disc", 500.0, 90.0).job();
  REQUIRE(job);
  CHECK(job->runs[0].readings[0].amplitude == doctest::Approx(1.5));  // peak
  CHECK(std::arg(*job->runs[0].readings[0].x) == doctest::Approx(-40.0 * std::acos(-1.0) / 180.0));
  CHECK(job->places.size() == 1);
  CHECK(job->places[0].limit == doctest::Approx(2.0));
  CHECK(*job->places[0].target == doctest::Approx(0.5));
  CHECK(run_unbalance(*job, 1)[0].imag() == doctest::Approx(500.0));
  CHECK(job->fitted_now[0].free.size() == 1);
}

TEST_CASE("catalogue weights are fitted by name and judged as in a job file") {
  JobBuilder made("rotor", PhaseConvention::lead);
  made.plane(testing::slotted_plane("spinner", 8, {100.0})).sensor("A", "mil peak", 1.0);
  CHECK(made.run("a").fit("spinner", 3, "w1").job());
  CHECK(refusal(made.fit("spinner", 9, "w1")).find("run \"a\", plane \"spinner\"") == 0);
}

TEST_CASE(
    "a whole rotor, overall levels, runs set aside and what is fitted now are said in code as in a job "
    "file") {
  Rotor rotor;
  rotor.name = "bench rotor";
  rotor.phase = PhaseConvention::lag;
  rotor.speed_100_rpm = 3000.0;
  rotor.speed_tolerance_rpm = 5.0;
  JobBuilder made(rotor);
  made.plane("disc").sensor("bearing", "mm/s peak-to-peak", 4.0);
  made.run("baseline").read("bearing", 1500.0, 3.0, 40.0).overall("bearing", 1504.0, 3.4);
  made.run("spoilt").fit("disc", 900.0, 0.0).read("bearing", 1500.0, 9.0, 40.0).set_aside("rain");
  made.run("trial").fit("disc", 500.0, 90.0).read("bearing", 1510.0, 2.0, 10.0);
  const auto job = made.fitted_now("baseline").job();
  REQUIRE(job);
  CHECK(job->speeds_rpm.size() == 2);  // 1510 rpm is a speed of its own
  CHECK(job->runs[0].readings[1].amplitude == doctest::Approx(1.7));
  CHECK_FALSE(job->runs[0].readings[1].x);
  CHECK(job->runs[1].set_aside == "rain");
  CHECK(unbalance_now(*job)[0] == std::complex<double>());
  CHECK(refusal(made.fitted_now("check")) ==
        "no run is named \"check\"; expected one of \"baseline\", \"spoilt\", \"trial\"");
  rotor.planes = {Plane{}, Plane{}};
  CHECK(refusal(JobBuilder(rotor).run("a")).find("a second plane") == 0);
}

TEST_CASE("readings within 20 rpm are of one speed where the rotor was not told whole") {
  auto made = bench();
  CHECK(made.run("a")
            .read("bearing", 1500.0, 3.0, 40.0)
            .run("b")
            .read("bearing", 1515.0, 3.0, 40.0)
            .job()
            ->speeds_rpm.size() == 1);
}

TEST_CASE("a name that a person takes for a plane's or a sensor's is that one's") {
  const std::string cyrillic = "\u0410";
  JobBuilder made("rotor", PhaseConvention::lag);
  made.plane(cyrillic + " disc").sensor(cyrillic, "mm/s peak", 4.0);
  CHECK(made.run("a").fit("A disc", 5.0, 0.0).read("A", 1500.0, 3.0, 40.0).job());
}

TEST_CASE("the first call that was wrong is told, with what would do") {
  CHECK(refusal(bench()) == "a job without runs; expected a baseline run");
  CHECK(refusal(bench().read("bearing", 1500.0, 1.0, 0.0)).find("before a run") != std::string::npos);
  CHECK(refusal(bench().run("a").read("baering", 1500.0, 1.0, 0.0)) ==
        "no sensor is named \"baering\"; expected one of \"bearing\"");
  CHECK(refusal(bench().run("a").fit("rim", 5.0, 0.0)) ==
        "no plane is named \"rim\"; expected one of \"disc\"");
  CHECK(refusal(bench().run("a").read("bearing", 1500.0, -1.0, 0.0)) != "accepted");
  CHECK(refusal(bench().run("a").fit("disc", 1, "w1")) != "accepted");
  CHECK(refusal(bench().sensor("other", "furlong", 1.0)) != "accepted");
  CHECK(refusal(bench().sensor("other", "mm/s peak", 1.0, 2.0)) != "accepted");
  CHECK(refusal(bench().plane("disc")) != "accepted");
  CHECK(refusal(bench().sensor("bearing", "mil peak", 1.0)) != "accepted");
  CHECK(refusal(bench().run("a").plane("late")) != "accepted");
}

}  // namespace
}  // namespace trimwright
