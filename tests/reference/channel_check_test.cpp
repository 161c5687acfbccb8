#include "reference/channel_check.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

using namespace trimwright;

namespace {

std::vector<float> wave(double amplitude, double noise, double limit, double step) {
  std::mt19937_64 random(4);
  std::normal_distribution<double> normal;
  std::vector<float> samples;
  for (int i = 0; i < 60000; ++i) {
    double x = amplitude * std::sin(0.013 * i) + noise * normal(random);
    x = std::clamp(x, -limit, limit);
    if (step > 0.0) x = step * std::round(x / step);
    samples.push_back(static_cast<float>(x));
  }
  return samples;
}

ChannelCondition seen(const std::vector<float>& samples) {
  ChannelCheck check("x");
  for (std::size_t begin = 0; begin < samples.size(); begin += 1000)
    REQUIRE(check.look_at(
        std::span(samples).subspan(begin, std::min<std::size_t>(1000, samples.size() - begin)), 1000.0));
  return check.condition();
}

}  // namespace

TEST_CASE("a clipped wave is found out, lightly or heavily, with noise or quantised") {
  CHECK(seen(wave(1.0, 0.0, 0.9, 0.0)).clipped);
  CHECK(seen(wave(1.0, 0.05, 0.9, 0.0)).clipped);
  CHECK(seen(wave(1.0, 0.05, 0.5, 1.0 / 32768)).clipped);
}

TEST_CASE("a whole wave is not called clipped, not even one quantised to few steps with flat crests") {
  CHECK_FALSE(seen(wave(1.0, 0.0, 9.0, 0.0)).clipped);
  CHECK_FALSE(seen(wave(1.0, 0.05, 9.0, 0.0)).clipped);
  for (const double step : {0.1, 0.01, 0.003, 0.001, 0.0001})
    CHECK_FALSE(seen(wave(1.0, 0.0, 9.0, step)).clipped);
}

TEST_CASE("a silent channel is silent even when it stands at an offset") {
  CHECK(seen(std::vector<float>(5000, 3.0F)).silent);
  CHECK_FALSE(seen(wave(0.001, 0.0, 9.0, 0.0)).silent);
  CHECK(ChannelCheck("x").condition().silent);
}

TEST_CASE("level and offset are measured") {
  std::vector<float> samples = wave(2.0, 0.0, 9.0, 0.0);
  for (float& x : samples) x += 5.0F;
  const ChannelCondition condition = seen(samples);
  CHECK(condition.mean == doctest::Approx(5.0).epsilon(0.01));
  CHECK(condition.rms == doctest::Approx(std::sqrt(2.0)).epsilon(0.01));
}

TEST_CASE("a sample that is not a number is named with channel and time") {
  std::vector<float> samples(1000, 0.0F);
  samples[250] = std::numeric_limits<float>::quiet_NaN();
  const auto looked = ChannelCheck("turbine").look_at(samples, 1000.0);
  REQUIRE_FALSE(looked);
  CHECK(looked.error().message().find("'turbine'") != std::string::npos);
  CHECK(looked.error().message().find("0.25 s") != std::string::npos);
}
