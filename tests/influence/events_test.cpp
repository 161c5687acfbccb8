#include <doctest/doctest.h>

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "event_world.hpp"
#include "learned_prior.hpp"
#include "some.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

using Of = EventPart::Of;

const EventPart& part_of(const InfluenceModel& model, Of of) {
  REQUIRE(model.posterior);
  const auto& all = model.posterior->events;
  const auto part = std::find_if(all.begin(), all.end(), [of](const auto& one) { return one.of == of; });
  REQUIRE(part != all.end());
  return *part;
}

Job unturned() {
  return changed_after_two({Event::Kind::reference_moved, 0, 0.0}, [](double, std::size_t) { return 1.0; });
}

}  // namespace

TEST_CASE(
    "A reference that moved by an unknown angle is told by a repeated run, and turns the answer with it") {
  const Job job =
      changed_after_two({Event::Kind::reference_moved}, [](double, std::size_t) { return at_angle(-34.0); });
  const auto model = fit_influence(job), still = fit_influence(unturned());
  REQUIRE(model);
  REQUIRE(still);
  const EventPart& angle = part_of(*model, Of::angle);
  CHECK(angle.value == doctest::Approx(radians(-34.0)).epsilon(1e-5));
  CHECK(angle.sd > 0.0);
  for (std::size_t i = 0; i < some(model->rows).size(); ++i) {
    CHECK(std::abs(model->rows[i].baseline - at_angle(-34.0) * still->rows[i].baseline) < 1e-5);
    for (Eigen::Index p = 0; p < 2; ++p)
      CHECK(std::abs(model->rows[i].coefficients(p) - at_angle(-34.0) * still->rows[i].coefficients(p)) <
            1e-8);
  }
  CHECK(model->runs.misfit < 1e-6);
  CHECK(model->runs.misfit_dof == still->runs.misfit_dof - 1);
}

TEST_CASE("Turning later phases changes no weight of the correction") {
  const Job job =
      changed_after_two({Event::Kind::reference_moved}, [](double, std::size_t) { return at_angle(100.0); });
  const auto model = fit_influence(job), still = fit_influence(unturned());
  REQUIRE(model);
  REQUIRE(still);
  const auto turned = plan_trim(job, *model, {}), plain = plan_trim(unturned(), *still, {});
  REQUIRE(turned);
  REQUIRE(plain);
  for (std::size_t p = 0; p < 2; ++p)
    CHECK(std::abs(turned->correction.parts[p].moment_to_add - plain->correction.parts[p].moment_to_add) <
          0.1);
}

TEST_CASE("A delay turns phases in proportion to speed") {
  const Job job = changed_after_two({Event::Kind::delay_changed},
                                    [](double rpm, std::size_t) { return at_angle(-20.0 * rpm / 3000.0); });
  const auto model = fit_influence(job);
  REQUIRE(model);
  CHECK(part_of(*model, Of::delay).value == doctest::Approx(radians(-20.0)).epsilon(1e-4));
  Job stated = job;
  stated.runs[2].before[0].by = radians(20.0) / (100.0 * std::numbers::pi);  // seconds later
  const auto known = fit_influence(stated);
  REQUIRE(known);
  CHECK(known->runs.misfit < 1e-6);
}

TEST_CASE("A changed sensor reads a complex ratio of what it did; the others are left alone") {
  const Job job = changed_after_two({Event::Kind::sensor_changed, 1}, [](double, std::size_t sensor) {
    return sensor == 1 ? 1.3 * at_angle(70.0) : Phasor(1.0);
  });
  const auto model = fit_influence(job), still = fit_influence(unturned());
  REQUIRE(model);
  REQUIRE(still);
  CHECK(std::exp(part_of(*model, Of::log_size).value) == doctest::Approx(1.3).epsilon(1e-4));
  CHECK(part_of(*model, Of::turn).value == doctest::Approx(radians(70.0)).epsilon(1e-4));
  for (std::size_t i = 0; i < some(model->rows).size(); ++i) {
    const Phasor ratio = model->rows[i].sensor == 1 ? 1.3 * at_angle(70.0) : Phasor(1.0);
    CHECK(std::abs(model->rows[i].baseline - ratio * still->rows[i].baseline) < 1e-4);
  }
}

TEST_CASE("A new baseline is the one that levels are of; coefficients are shared") {
  const Phasor moved(0.1, -0.05);
  const Job job = changed_after_two(
      {Event::Kind::baseline_new}, [](double, std::size_t) { return 1.0; }, nullptr, moved);
  const auto model = fit_influence(job), still = fit_influence(unturned());
  REQUIRE(model);
  REQUIRE(still);
  for (std::size_t i = 0; i < some(model->rows).size(); ++i) {
    CHECK(std::abs(model->rows[i].baseline - still->rows[i].baseline -
                   moved * (1.0 + static_cast<double>(i))) < 1e-9);
    for (Eigen::Index p = 0; p < 2; ++p)
      CHECK(std::abs(model->rows[i].coefficients(p) - still->rows[i].coefficients(p)) < 1e-12);
    CHECK(model->rows[i].spare == 0);
  }
  Job ignored = job;
  ignored.runs[2].before.clear();
  const auto wrong = fit_influence(ignored);
  REQUIRE(wrong);
  CHECK(std::abs(wrong->rows[0].coefficients(1) - still->rows[0].coefficients(1)) > 1e-5);
}

TEST_CASE("A place that no run since the new baseline reads is not settled") {
  Job job = changed_after_two({Event::Kind::baseline_new}, [](double, std::size_t) { return 1.0; });
  for (const std::size_t r : {2u, 3u}) job.runs[r].readings.pop_back();
  const auto model = fit_influence(settled(job));
  REQUIRE(model);
  CHECK(model->rows.size() == 3);
  REQUIRE(model->unsettled.size() == 1);
}

TEST_CASE("A place first read since the new baseline has one baseline only") {
  const TwoSpeeds world;
  Run first = world.run("as found", none());
  first.readings.pop_back();
  const Job job = job_of(world.rotor, {first, after(world.run("again", none()), {Event::Kind::baseline_new}),
                                       world.run("front", front_fitted()), world.run("rear", rear_fitted())});
  const auto model = fit_influence(job), still = fit_influence(unturned());
  REQUIRE(model);
  REQUIRE(still);
  REQUIRE(model->rows.size() == 4);
  for (std::size_t i = 0; i < 4; ++i)
    CHECK(std::abs(model->rows[i].coefficients(1) - still->rows[i].coefficients(1)) < 1e-12);
}

TEST_CASE("Where the runs leave the angle open, the run that would settle it is named") {
  const TwoSpeeds world;
  const auto turn = [](double, std::size_t) { return at_angle(8.18); };
  std::vector<Run> runs{
      world.run("as found", none()),
      after(changed(world.run("front", front_fitted()), turn), {Event::Kind::reference_moved}),
      changed(world.run("rear", rear_fitted()), turn)};
  const auto open = fit_influence(job_of(world.rotor, runs));
  REQUIRE_FALSE(open);
  CHECK(open.error().what == "the runs cannot tell by what angle the reference moved since run \"front\"");
  CHECK(open.error().expected.find("same weights as a run before it (\"as found\")") != std::string::npos);
  runs.push_back(changed(world.run("again", none()), turn));
  const auto told = fit_influence(job_of(world.rotor, runs));
  REQUIRE(told);
  CHECK(part_of(*told, Of::angle).value == doctest::Approx(radians(8.18)).epsilon(1e-4));
  runs.pop_back();
  runs[1].before[0].by = radians(8.18);
  const auto stated = fit_influence(job_of(world.rotor, runs));
  REQUIRE(stated);
  CHECK(std::abs(stated->rows[0].coefficients(0) - at_angle(8.18) * Phasor(1e-3, 0.0)) < 1e-12);
}

TEST_CASE("A plane changed only together with a new baseline says so") {
  const TwoSpeeds world;
  const auto model = fit_influence(
      job_of(world.rotor, {world.run("as found", none()),
                           after(world.run("front", front_fitted()), {Event::Kind::baseline_new})}));
  REQUIRE_FALSE(model);
  CHECK(model.error().what ==
        "the runs cannot tell how plane \"front\" acts: its weights changed only where the baseline is new");
}

TEST_CASE("What an event leaves unknown widens what is foretold") {
  const Job told = unturned();
  Job open = told;
  open.runs[2].before[0].by.reset();
  const auto known = fit_influence(told), unsure = fit_influence(open);
  REQUIRE(known);
  REQUIRE(unsure);
  const Eigen::Vector2cd u(100.0, Phasor(0.0, 50.0));
  for (std::size_t i = 0; i < some(known->rows).size(); ++i)
    CHECK(prediction_sd(*unsure, unsure->rows[i], u).value() >
          prediction_sd(*known, known->rows[i], u).value());
}

TEST_CASE("Estimated angle, ratio and delay, and what is foretold with them, are as uncertain as they say") {
  // Simulation-based calibration: the share of draws below each decile of what was said.
  Draws draws{boost::random::mt19937_64(7190301)};
  struct Case {
    Event::Kind kind;
    Of of;
  };
  const Case cases[] = {{Event::Kind::reference_moved, Of::angle},
                        {Event::Kind::delay_changed, Of::delay},
                        {Event::Kind::sensor_changed, Of::log_size},
                        {Event::Kind::sensor_changed, Of::turn}};
  constexpr int jobs = 200, bins = 10;
  for (const auto& one : some(cases)) {
    std::vector<int> of_value(bins, 0), of_baseline(bins, 0);
    const auto count = [](std::vector<int>& in, double z) {
      ++in[static_cast<std::size_t>(
          std::min(bins - 1.0, std::floor(bins * boost::math::cdf(boost::math::normal(), z))))];
    };
    for (int j = 0; j < jobs; ++j) {
      const double value = one.of == Of::log_size ? 0.4 * (draws.uniform() - 0.5)
                                                  : 2.0 * std::numbers::pi * (draws.uniform() - 0.5);
      const auto by = [&](double rpm, std::size_t sensor) -> Phasor {
        if (one.of == Of::angle) return std::polar(1.0, value);
        if (one.of == Of::delay) return std::polar(1.0, 0.2 * value * rpm / 3000.0);
        if (sensor != 1) return 1.0;
        return one.of == Of::turn ? std::polar(1.0, value) : Phasor(std::exp(value));
      };
      const Job job = changed_after_two({one.kind, 1}, by, &draws);
      const auto model = fit_influence(job);
      REQUIRE(model);
      const EventPart& part = part_of(*model, one.of);
      const double truth = one.of == Of::delay ? 0.2 * value : value;
      count(of_value, std::remainder(part.value - truth, 2.0 * std::numbers::pi) / part.sd);
      const auto& row = model->rows[3];
      const double sd = prediction_sd(*model, row, Eigen::Vector2cd::Zero()).value();
      count(of_baseline, (row.baseline - by(3000.0, 1) * Phasor(0.2, 0.6)).real() / sd);
    }
    for (const auto* in : {&of_value, &of_baseline}) {
      double chi = 0.0;
      for (const int n : *in) chi += std::pow(n - jobs / bins, 2) / (jobs / bins);
      CHECK(boost::math::cdf(boost::math::complement(boost::math::chi_squared(bins - 1), chi)) > 0.001);
    }
  }
}

TEST_CASE("Noise that nobody stated is estimated with the angle, and not too small") {
  Draws draws{boost::random::mt19937_64(7190302)};
  double squares = 0.0, plain = 0.0;
  constexpr int jobs = 60;
  for (int j = 0; j < jobs; ++j) {
    Job job = changed_after_two(
        {Event::Kind::reference_moved}, [](double, std::size_t) { return at_angle(50.0); }, &draws);
    for (auto& sensor : job.rotor.sensors) sensor.repeatability.reset();
    const auto model = fit_influence(job);
    REQUIRE(model);
    REQUIRE(model->posterior);
    for (const auto& sensor : model->posterior->noise.sensors)
      squares += std::pow(sensor.within.sd / 0.01, 2) / (2.0 * jobs), plain += 1.0;
  }
  CHECK(squares == doctest::Approx(1.0).epsilon(0.25));
}

TEST_CASE("A fleet's prior tells by how much the reference moved before the first run, with one trial") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.05, 0.03}, 12, 7190303);
  FleetDraws draws(7190304);
  const FleetRotor rotor = fleet.draw({0.05, 0.03}, {}, draws);
  const auto turned = [](Run run) {
    return changed(std::move(run), [](double, std::size_t) { return at_angle(34.0); });
  };
  Eigen::Vector2cd trial(fleet.moment_worth(0.5, 0), 0.0);
  const Run as_found = after(turned(fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)),
                             {Event::Kind::reference_moved});
  const auto open = settle_and_fit(fleet.job({as_found}), {}, &prior);
  REQUIRE_FALSE(open);
  CHECK(open.error().what == "the runs cannot tell by what angle the reference moved since run \"as found\"");
  const Job job = fleet.job({as_found, turned(fleet.run(rotor, "trial", trial, {}, draws))});
  const auto told = settle_and_fit(job, {}, &prior);
  REQUIRE(told);
  const EventPart& angle = part_of(told->model, Of::angle);
  CHECK(angle.sd < radians(5.0));
  CHECK(std::abs(angle.value - radians(34.0)) < 3.0 * angle.sd);
  CHECK(std::abs(std::arg(told->model.rows[0].coefficients(1) / (at_angle(34.0) * rotor.c(0, 1)))) <
        radians(12.0));
}

TEST_CASE("Whether an angle is a whole number of teeth") {
  Job job = unturned();
  EventPart part{2, 0, Of::angle, false, radians(8.4), radians(0.3)};
  auto whole = whole_teeth(job, part);
  REQUIRE(whole);
  CHECK(whole->teeth == 1);
  CHECK(whole->probability > 0.9);
  part.value = radians(12.2);
  whole = whole_teeth(job, part);
  REQUIRE(whole);
  CHECK(whole->none > 0.99);
  part.sd = radians(6.0);
  whole = whole_teeth(job, part);
  REQUIRE(whole);
  CHECK(whole->probability < 0.9);
  CHECK(whole->none < 0.9);
  part.stated = true;
  CHECK_FALSE(whole_teeth(job, part));
}

TEST_CASE("Each event is told in a sentence, in the convention of the rotor file") {
  Job job = changed_after_two({Event::Kind::reference_moved, 0, {}, "new pickup"},
                              [](double, std::size_t) { return at_angle(2.0 * 360.0 / 44.0); });
  job.runs[3].before.push_back({Event::Kind::sensor_changed, 0});
  job.runs[2].before.push_back({Event::Kind::baseline_new});
  const auto model = fit_influence(job);
  REQUIRE_FALSE(model);  // the sensor is read nowhere with weights of before
  job.runs[3].before.clear();
  job.runs[2].before.pop_back();
  const auto told = fit_influence(job);
  REQUIRE(told);
  const auto words = event_words(job, *told);
  REQUIRE(words.size() == 1);
  CHECK(words[0].starts_with(
      "Before run \"again\" the phase reference moved (new pickup). Every phase reads 16.4° ± "));
  CHECK(words[0].find(" more since then, as the runs tell. It is 2 teeth of the 44 (16.36°;") !=
        std::string::npos);
}
