#include "trend.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "base/text.hpp"
#include "check/run_comparison.hpp"
#include "influence/usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using PlaceKey = std::pair<std::size_t, std::size_t>;

const std::complex<double> not_read = std::nan("");

/// Mean of what a run reads at a place, once per revolution.
std::optional<Phasor> read_at(const Job& job, const Run& run, PlaceKey place) {
  Phasor sum = 0.0;
  double count = 0.0;
  for (const auto& one : run.readings)
    if (PlaceKey(one.speed, one.sensor) == place && why_not_usable(job, run, one).empty())
      sum += *one.x, count += 1.0;
  return count > 0.0 ? std::optional(sum / count) : std::nullopt;
}

Reading made_reading(const Job& job, PlaceKey place, Phasor x, std::optional<double> repeatability) {
  Reading reading;
  reading.speed = place.first;
  reading.sensor = place.second;
  reading.rpm = job.speeds_rpm[place.first];
  reading.state = state_at(job, place.first);
  reading.x = x;
  reading.amplitude = std::abs(x);
  reading.repeatability = repeatability;
  return reading;
}

/// What readings are held against, and how they scatter.
struct Held {
  std::vector<PlaceKey> places;
  std::vector<double> within;  ///< of one reading within its run
  DatedSeries series;
  NoiseModel noise;
  bool foretold = false;
};

class Spell {
 public:
  explicit Spell(const TrendInput& input) : input_(input) {
    spell_.job = input.job;
    spell_.trim = input.trim;
    spell_.since = input.since;
    base_ = input.job.runs.size();
  }

  Result<TrendSpell> made() {
    Job& job = spell_.job;
    std::vector<SetSpeed> set;
    for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s) {
      if (s > 0 && job.speeds_rpm[s] == job.speeds_rpm[s - 1]) continue;  // the same in another state
      const auto name = job.speed_names.find(s);
      set.push_back({job.speeds_rpm[s], name == job.speed_names.end() ? "" : name->second, {}});
    }
    for (Run run : input_.dates) {
      run.fitted =
          base_ > 0 ? job.runs[base_ - 1].fitted : std::vector<FittedWeights>(job.rotor.planes.size());
      job.runs.push_back(std::move(run));
    }
    if (auto settled = settle_places(job, set); !settled) return tl::unexpected(settled.error());
    for (std::size_t r = base_; r < job.runs.size(); ++r)
      spell_.dates.push_back({job.runs[r].name, note_of(job.runs[r]), {}});
    add_places();
    if (hold()) judge();
    return std::move(spell_);
  }

 private:
  static std::string note_of(const Run& run) {
    for (const auto& [key, text] : run.conditions.other)
      if (key == "note") return text;
    return {};
  }

  void add_places() {
    for (const auto& place : spell_.job.places) {
      TrendPlace one{place, {}};
      bool read = false;
      for (std::size_t r = base_; r < spell_.job.runs.size(); ++r) {
        one.readings.push_back(
            {read_at(spell_.job, spell_.job.runs[r], {place.speed, place.sensor}), {}, 0.0});
        read = read || one.readings.back().x;
      }
      if (read) spell_.places.push_back(std::move(one));
    }
  }

  /// Runs that foretell a run with a reading at every place.
  std::optional<Foretelling> next_foretold(Job job, const std::vector<Run>& before) {
    job.runs.insert(job.runs.end(), before.begin(), before.end());
    if (job.runs.empty()) return std::nullopt;
    Run next;
    next.name = "next";
    next.fitted = spell_.job.runs.back().fitted;
    for (const auto& place : spell_.places) {
      const auto first = std::find_if(place.readings.begin(), place.readings.end(),
                                      [](const TrendReading& one) { return one.x.has_value(); });
      next.readings.push_back(
          made_reading(spell_.job, {place.place.speed, place.place.sensor}, *first->x, {}));
    }
    job.runs.push_back(std::move(next));
    return foretelling(job, job.runs.size() - 1, prior());
  }

  [[nodiscard]] const Prior* prior() const { return input_.prior ? &*input_.prior : nullptr; }

  [[nodiscard]] Job job_of_trim() const {
    Job job = spell_.job;
    job.runs.resize(base_);
    return job;
  }

  bool hold() {
    if (spell_.places.empty()) {
      spell_.notes.emplace_back("No reading has a phase: nothing can be compared.");
      return false;
    }
    auto by = base_ > 0 ? next_foretold(job_of_trim(), {}) : std::nullopt;
    held_.foretold = spell_.foretold = by.has_value();
    if (!by) {
      if (base_ > 0)
        spell_.notes.emplace_back(
            "The runs of the trim do not foretell these readings; expected is their own mean.");
      Job alone = job_of_trim();
      alone.runs.clear();
      const auto& runs = spell_.job.runs;
      const auto first = runs.begin() + static_cast<std::ptrdiff_t>(base_);
      by = next_foretold(
          std::move(alone),
          {first, first + static_cast<std::ptrdiff_t>(std::min(beginning, runs.size() - base_))});
    }
    if (!by) {
      spell_.notes.emplace_back(
          "Nothing tells how these readings scatter: \"repeatability\" of the sensors in the rotor file, or "
          "three dates at least.");
      return false;
    }
    const RunComparison comparison(by->job, by->model, by->job.runs.size() - 1, {}, prior());
    const NextReadings next = comparison.next_readings();
    held_.noise = by->model.posterior->noise;
    for (const auto& one : next.readings) {
      held_.places.emplace_back(one.speed, one.sensor);
      held_.within.push_back(one.within_sd);
    }
    fill_series(next);
    return true;
  }

  void fill_series(const NextReadings& next) {
    DatedSeries& series = held_.series;
    series.noise = next.noise;
    series.expected = next.mean;
    series.unsure = held_.foretold ? next.unsure : nothing_expected(next.noise);
    series.freedom = held_.noise.degrees_of_freedom;
    for (const auto& [speed, sensor] : held_.places)
      series.stated = series.stated && held_.noise.sensors[sensor].within.source == NoisePart::Source::stated;
    // Without a trim the noise is told by the same dates as the scatter of the series' beginning.
    if (!held_.foretold && std::isfinite(series.freedom)) series.freedom = 1e-3;
    const auto rows = static_cast<Index>(held_.places.size());
    series.to_find.resize(rows);
    series.read.resize(static_cast<Index>(spell_.dates.size()), rows);
    for (Index i = 0; i < rows; ++i) {
      const PlaceKey key = held_.places[static_cast<std::size_t>(i)];
      const TrendPlace& place = spell_.places[place_at(key)];
      series.group.push_back(key.second);
      series.to_find(i) = 0.5 * place.place.goal();
      for (Index t = 0; t < series.read.rows(); ++t)
        series.read(t, i) = place.readings[static_cast<std::size_t>(t)].x.value_or(not_read);
    }
    for (const auto& place : spell_.places)
      if (std::find(held_.places.begin(), held_.places.end(),
                    PlaceKey(place.place.speed, place.place.sensor)) == held_.places.end())
        spell_.notes.push_back("Not judged, because the trim foretells nothing of it: " +
                               place_words(spell_.job, place.place.speed, place.place.sensor) + ".");
  }

  [[nodiscard]] std::size_t place_at(PlaceKey key) const {
    for (std::size_t p = 0; p < spell_.places.size(); ++p)
      if (PlaceKey(spell_.places[p].place.speed, spell_.places[p].place.sensor) == key) return p;
    return 0;
  }

  void judge() {
    const SeriesCourse course = judge_course(held_.series);
    for (std::size_t t = 0; t < course.dates.size(); ++t) {
      spell_.dates[t].judged = course.dates[t];
      for (std::size_t i = 0; i < held_.places.size(); ++i) {
        TrendReading& reading = spell_.places[place_at(held_.places[i])].readings[t];
        const Phasor expected = course.dates[t].expected(static_cast<Index>(i));
        if (std::isnan(expected.real())) continue;
        reading.expected = expected;
        reading.sd = course.dates[t].sd(static_cast<Index>(i));
      }
    }
    scatter_ = course.scatter;
    for (std::size_t g = 0; g < static_cast<std::size_t>(scatter_.size()); ++g) {
      const double times = scatter_(static_cast<Index>(g)) * held_.noise.widened;
      if (times > 1.05) spell_.scatter.emplace_back(spell_.job.rotor.sensors[g].name, times);
    }
    if (spell_.dates.size() < fewest_for_scatter)
      spell_.notes.emplace_back(
          "Too few dates tell how readings scatter from date to date: only what is stated is known of it.");
    std::size_t begin = 0;
    for (std::size_t k = 0; k < course.changes.size(); ++k) {
      const SeriesChange& change = course.changes[k];
      const bool lone = change.kind == SeriesChange::Kind::lone;
      const std::size_t end = lone                            ? change.last + 1
                              : k + 1 < course.changes.size() ? course.changes[k + 1].first
                                                              : spell_.dates.size();
      add_change(change, begin, end);
      begin = lone ? end : change.kind == SeriesChange::Kind::gradual ? change.last : change.first;
    }
  }

  /// `begin`: first date of the level before; `end`: the date after the last of the level since.
  void add_change(const SeriesChange& found, std::size_t begin, std::size_t end) {
    TrendChange change;
    change.kind = found.kind;
    if (found.first > 0) change.before = spell_.dates[found.first - 1].when;
    change.first = spell_.dates[found.first].when;
    change.last = spell_.dates[found.last].when;
    change.found = spell_.dates[found.found].when;
    change.by_one_date = found.by_t_squared;
    for (Index i = 0; i < found.after.size(); ++i) {
      if (std::isnan(found.after(i).real()) || std::isnan(found.before(i).real())) continue;
      const std::size_t at = place_at(held_.places[static_cast<std::size_t>(i)]);
      const double share = std::abs(found.after(i) - found.before(i)) / spell_.places[at].place.limit;
      change.places.push_back(
          {at, found.before(i), found.after(i), std::sqrt(found.covariance(i, i).real()), share});
      change.largest_share = std::max(change.largest_share, share);
    }
    explain(found, begin, end, change);
    spell_.changes.push_back(std::move(change));
  }

  /// The mean of the readings of dates `from` to `to` as one run.
  [[nodiscard]] Run mean_run(const std::string& name, std::size_t from, std::size_t to) const {
    Run run;
    run.name = name;
    run.fitted = spell_.job.runs.back().fitted;
    for (std::size_t i = 0; i < held_.places.size(); ++i) {
      const auto& readings = spell_.places[place_at(held_.places[i])].readings;
      Phasor sum = 0.0;
      double count = 0.0;
      for (std::size_t t = from; t < to; ++t)
        if (readings[t].x) sum += *readings[t].x, count += 1.0;
      if (count == 0.0) continue;
      const double sd = factor(held_.places[i].second) * held_.within[i] / std::sqrt(count);
      run.readings.push_back(made_reading(spell_.job, held_.places[i], sum / count, sd));
    }
    return run;
  }

  [[nodiscard]] double factor(std::size_t sensor) const {
    return static_cast<Index>(sensor) < scatter_.size() ? scatter_(static_cast<Index>(sensor)) : 1.0;
  }

  /// States for every sensor the scatter that is known by now.
  void state_scatter(Rotor& rotor) const {
    for (std::size_t s = 0; s < rotor.sensors.size(); ++s) {
      const SensorNoise& noise = held_.noise.sensors[s];
      const double times = factor(s) * held_.noise.widened;
      rotor.sensors[s].repeatability = times * noise.within.sd;
      if (noise.run_to_run.source != NoisePart::Source::unknown)
        rotor.sensors[s].run_to_run = times * noise.run_to_run.sd;
    }
  }

  /// Whether the mean of some dates may come about so, with nobody at the weights.
  static bool may_be(MistakeKind kind, bool one_date) {
    using enum MistakeKind;
    switch (kind) {
      case polarity:
      case sensors_exchanged:
      case reference_shifted:
      case time_delay:
      case sensor_changed:
      case unit:
      case phase_sense:
      case rotor_changed:
      case none_of_these:
        return true;
      case mistyped:
      case speed:
        return one_date;
      default:
        return false;
    }
  }

  void explain(const SeriesChange& found, std::size_t begin, std::size_t end, TrendChange& change) {
    change.what = "nothing considered here explains it";
    Job job = job_of_trim();
    if (!held_.foretold) job.runs.clear();
    state_scatter(job.rotor);
    if (found.first > begin) {
      Run before = mean_run("before", begin, found.first);
      if (begin > 0 && !job.runs.empty()) before.before.push_back({Event::Kind::baseline_new});
      job.runs.push_back(std::move(before));
    }
    if (job.runs.empty()) return;
    const std::size_t from = found.kind == SeriesChange::Kind::gradual ? found.last : found.first;
    job.runs.push_back(mean_run("since", from, end));
    const std::size_t run = job.runs.size() - 1;
    const auto by = foretelling(job, run, prior());
    if (!by) return;
    const MistakeRanking ranking = rank_mistakes(by->job, by->model, run, {}, prior());
    double all = 0.0;
    std::map<MistakeKind, double> chance;
    const RankedMistake* likeliest = nullptr;
    for (const auto& one : ranking.kinds) {
      if (one.run && *one.run != run) continue;
      if (!may_be(one.kind, end - from == 1)) continue;
      all += one.probability;
      chance[one.kind] += one.probability;
      if (likeliest == nullptr || one.probability > likeliest->probability) likeliest = &one;
    }
    if (likeliest == nullptr || all <= 0.0 || !likeliest->fits) return;
    change.cause = likeliest->kind;
    change.probability = chance[likeliest->kind] / all;
    change.what = likeliest->what;
  }

  const TrendInput& input_;
  TrendSpell spell_;
  std::size_t base_ = 0;
  Held held_;
  Eigen::VectorXd scatter_;
};

/// Whether a cause is the rotor's or the measuring chain's.
std::string side_words(MistakeKind cause) {
  using enum MistakeKind;
  switch (cause) {
    case rotor_changed:
      return "; the rotor, not the sensor";
    case reference_shifted:
    case time_delay:
    case sensor_changed:
    case polarity:
    case sensors_exchanged:
    case unit:
    case phase_sense:
      return "; what measures, not the rotor";
    default:
      return {};
  }
}

std::string shares_words(double share) { return fmt::format("{:.0f} %", 100.0 * share); }

}  // namespace

Result<TrendSpell> trend_spell(const TrendInput& input) { return Spell(input).made(); }

std::string kind_words(SeriesChange::Kind kind) {
  switch (kind) {
    case SeriesChange::Kind::step:
      return "a step";
    case SeriesChange::Kind::lone:
      return "off for a while, then as before";
    case SeriesChange::Kind::last_alone:
      return "the last date alone";
    case SeriesChange::Kind::gradual:
      return "little by little";
  }
  return {};
}

std::string kind_name(SeriesChange::Kind kind) {
  switch (kind) {
    case SeriesChange::Kind::step:
      return "step";
    case SeriesChange::Kind::lone:
      return "lone";
    case SeriesChange::Kind::last_alone:
      return "last_alone";
    case SeriesChange::Kind::gradual:
      return "gradual";
  }
  return {};
}

std::string change_words(const TrendChange& change) {
  using enum SeriesChange::Kind;
  const std::string until =
      change.before.empty() ? "before " + change.first : "between " + change.before + " and " + change.first;
  std::string when;
  switch (change.kind) {
    case step:
      when = "A step " + until;
      break;
    case lone:
      when = change.first == change.last
                 ? "Off on " + change.first + " alone, and as before since"
                 : "Off from " + change.first + " to " + change.last + ", and as before since";
      break;
    case last_alone:
      when = "The last date, " + change.first + ", is off";
      break;
    case gradual:
      when = "Little by little from " + change.first + " to " + change.last;
      break;
  }
  const std::string likely =
      names_a_cause(change.cause)
          ? fmt::format("likeliest, {:.0f} %: {}", std::min(99.0, 100.0 * change.probability), change.what)
          : change.what;
  return fmt::format("{} (found on {}, by {}): {}{}.", when, change.found,
                     change.by_one_date ? "that date alone" : "the sum of several dates", likely,
                     side_words(change.cause));
}

std::string weight_words(const TrendChange& change) {
  std::string words = fmt::format(
      "The largest change is {} of a limit: {} by the rule of ISO 20816-1 ({} of a boundary; here of the "
      "limit). The maker's manual goes before it.",
      shares_words(change.largest_share), change.significant() ? "significant" : "not significant",
      shares_words(significant_share));
  if (change.kind == SeriesChange::Kind::last_alone)
    words += " One date may be wrong: read once more before anything is done.";
  if (const auto remedy = mistake_remedy(change.cause); !remedy.empty()) words += " " + remedy;
  return words;
}

std::string trend_words(const Trend& trend) {
  std::size_t dates = 0, changes = 0, significant = 0;
  for (const auto& spell : trend.spells) {
    dates += spell.dates.size();
    changes += spell.changes.size();
    for (const auto& change : spell.changes)
      if (change.significant()) ++significant;
  }
  const std::string of = " on " + counted(dates, "date") + " of readings";
  if (changes == 0) return "Nothing changed" + of + ".";
  if (changes == 1)
    return "1 change" + of + ", and " + (significant == 1 ? "it is" : "not") + " significant.";
  return counted(changes, "change") + of + ", " + (significant == 0 ? "none" : std::to_string(significant)) +
         " of them significant.";
}

std::string expected_words(const TrendSpell& spell) {
  return spell.foretold ? "Expected is what the runs of " + spell.trim +
                              " foretell, and since then the mean of what was read."
                        : "Expected is the mean of what was read before.";
}

}  // namespace trimwright
