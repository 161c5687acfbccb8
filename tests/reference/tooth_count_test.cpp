#include "reference/tooth_count.hpp"

#include <doctest/doctest.h>

#include <cstdint>
#include <vector>

using namespace trimwright;

namespace {

/// Pulses at whole numbers (one per second) but for those left out or put in.
struct Train {
  std::vector<double> times;
  explicit Train(int length) {
    for (int i = 0; i < length; ++i) times.push_back(i);
  }
  Train& without(int i) {
    std::erase(times, static_cast<double>(i));
    return *this;
  }
  Train& with(double time) {
    times.insert(std::lower_bound(times.begin(), times.end(), time), time);
    return *this;
  }
};

struct Counted {
  std::vector<CountedTooth> teeth;
  CountTally tally;
};

Counted counted(const Train& train, int teeth = 34) {
  ToothCount count(teeth);
  Counted result;
  for (const double time : train.times) {
    ToothPulse pulse;
    pulse.time_s = time;
    count.push(pulse, result.teeth);
  }
  count.finish(result.teeth);
  result.tally = count.tally();
  return result;
}

/// Every pulse handed out has the count that its time says.
bool all_right(const Counted& result) {
  for (const CountedTooth& tooth : result.teeth)
    if (static_cast<double>(tooth.count) != tooth.pulse.time_s) return false;
  return !result.teeth.empty();
}

}  // namespace

TEST_CASE("missing pulses are bridged, one or four in a row") {
  const auto result = counted(Train(100).without(20).without(50).without(51).without(52).without(53));
  CHECK(all_right(result));
  CHECK(result.tally.dropped == 5);
  CHECK(result.tally.lost == 0);
  CHECK(result.teeth.size() == 95);
}

TEST_CASE("an extra pulse is left out wherever it stands in the pitch") {
  for (const double at : {40.1, 40.3, 40.5, 40.7, 40.9}) {
    CAPTURE(at);
    const auto result = counted(Train(100).with(at));
    CHECK(all_right(result));
    CHECK(result.tally.extra == 1);
    CHECK(result.tally.lost == 0);
  }
}

TEST_CASE("an extra pulse just before a tooth does not displace the tooth") {
  // The tooth at 40 comes too soon after the extra pulse at 39.6: the extra one must go, not the tooth.
  const auto result = counted(Train(100).with(39.7).with(60.4));
  CHECK(all_right(result));
  CHECK(result.tally.extra == 2);
}

TEST_CASE("a spacing that is no whole number of pitches loses the count rather than guess it") {
  Train train(50);
  for (int i = 0; i < 50; ++i) train.times.push_back(50.5 + i);
  const auto result = counted(train);
  CHECK(result.tally.lost == 1);
  int breaks = 0;
  for (const auto& tooth : result.teeth) breaks += tooth.count_lost_before ? 1 : 0;
  CHECK(breaks == 1);
}

TEST_CASE("a long silence loses the count") {
  Train train(50);
  for (int i = 0; i < 50; ++i) train.times.push_back(80 + i);
  CHECK(counted(train).tally.lost == 1);
}

TEST_CASE("one pulse per revolution is followed through a speed change of nearly half per revolution") {
  Train train(0);
  double period = 1.0, time = 0.0;
  for (int i = 0; i < 8; ++i) {
    train.times.push_back(time);
    time += period;
    period *= 0.75;
  }
  const auto result = counted(train, 1);
  CHECK(result.tally.lost == 0);
  CHECK(result.tally.dropped == 0);
  CHECK(result.tally.extra == 0);
  CHECK(result.teeth.size() == 8);
}

TEST_CASE(
    "a pitch learned from noise is given up: teeth that come at every fifth of it are counted one by one") {
  Train train(40);
  for (int i = 0; i < 400; ++i) train.times.push_back(44.0 + 5.0 * i);
  const auto result = counted(train);
  CHECK(result.tally.lost >= 1);
  const auto& last = result.teeth.back();
  const auto& earlier = result.teeth[result.teeth.size() - 101];
  CHECK(last.count - earlier.count == 100);
}

TEST_CASE("pulses of another size are another signal") {
  ToothCount count(30);
  Counted result;
  for (int i = 0; i < 60; ++i) {
    ToothPulse pulse;
    pulse.time_s = i < 30 ? i : 30 + 0.97 * (i - 30);
    pulse.before = pulse.after = i < 30 ? 0.01 : 1.0;
    count.push(pulse, result.teeth);
  }
  CHECK(count.tally().lost == 1);
}
