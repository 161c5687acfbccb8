#include "trend.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "check/run_comparison.hpp"
#include "influence/speed_match.hpp"
#include "runs/mean_phasor.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
/// Dates that tell, where nothing is stated, how readings scatter and hang together.
constexpr std::size_t first_dates = 10;

/// Scatter over what is stated above which it is told.
constexpr double told_scatter = 1.2;

const std::complex<double> not_read = std::nan("");

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
    for (std::size_t r = base_; r < job.runs.size(); ++r) {
      spell_.dates.push_back({job.runs[r].name, note_of(job.runs[r]), {}});
      leave_out_off_speed(job.runs[r]);
    }
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

  void leave_out_off_speed(Run& run) {
    std::vector<Reading> kept;
    for (const auto& one : run.readings) {
      const std::string why = speed_mismatch(spell_.job, run, one);
      if (why.empty())
        kept.push_back(one);
      else
        spell_.notes.push_back("Left out: " + place_words(spell_.job, one.speed, one.sensor) + " on " +
                               run.name + ", " + why + ".");
    }
    run.readings = std::move(kept);
  }

  [[nodiscard]] std::optional<Phasor> read_on(std::size_t date, const Place& place) const {
    return mean_phasor(spell_.job.runs[base_ + date], place.speed, place.sensor);
  }

  void add_places() {
    for (const auto& place : spell_.job.places) {
      TrendPlace one{place, {}};
      for (std::size_t t = 0; t < spell_.dates.size(); ++t)
        one.readings.push_back({read_on(t, place), {}, 0.0, {}});
      if (std::any_of(one.readings.begin(), one.readings.end(), [](const auto& at) { return at.x; }))
        spell_.places.push_back(std::move(one));
    }
    within_.resize(spell_.places.size());
  }

  /// What tells of a next run that reads every place as the dates do on average.
  std::optional<Foretelling> next_foretold(Job job) {
    if (job.runs.empty()) return std::nullopt;
    job.runs.push_back(mean_run("next", 0, spell_.dates.size()));
    return foretelling(job, job.runs.size() - 1, prior());
  }

  [[nodiscard]] const Prior* prior() const { return input_.prior ? &*input_.prior : nullptr; }

  /// The spell's job with some of its runs alone.
  [[nodiscard]] Job job_of(std::size_t from, std::size_t to) const {
    Job job = spell_.job;
    const auto runs = spell_.job.runs.begin();
    job.runs.assign(runs + static_cast<std::ptrdiff_t>(from), runs + static_cast<std::ptrdiff_t>(to));
    return job;
  }

  bool hold() {
    if (spell_.places.empty()) {
      spell_.notes.emplace_back("No reading has a phase: nothing can be compared.");
      return false;
    }
    auto by = next_foretold(job_of(0, base_));
    spell_.foretold = by.has_value();
    if (!by && base_ > 0)
      spell_.notes.emplace_back(
          "The runs of the trim do not foretell these readings; expected is their own mean.");
    if (!by) {  // by what is stated of the scatter
      Job once = job_of(0, 0);
      once.runs.push_back(mean_run("once", 0, spell_.dates.size()));
      by = next_foretold(std::move(once));
    }
    if (!by) by = next_foretold(job_of(base_, std::min(base_ + first_dates, spell_.job.runs.size())));
    if (!by) {
      spell_.notes.emplace_back(
          "Nothing tells how these readings scatter: \"repeatability\" of the sensors in the rotor file, or "
          "three dates at least.");
      return false;
    }
    const RunComparison comparison(by->job, by->model, by->job.runs.size() - 1, {}, prior());
    noise_ = by->model.posterior->noise;
    fill_series(comparison.next_readings());
    return true;
  }

  void fill_series(const NextReadings& next) {
    series_.noise = next.noise;
    series_.expected = next.mean;
    series_.unsure = spell_.foretold ? next.unsure : nothing_expected(next.noise);
    for (const auto& held : next.readings) {
      rows_.push_back(place_at(held.speed, held.sensor));
      within_[rows_.back()] = held.within_sd;
      series_.group.push_back(held.sensor);
      series_.stated =
          series_.stated && noise_.sensors[held.sensor].within.source == NoisePart::Source::stated;
    }
    const auto rows = static_cast<Index>(rows_.size());
    series_.to_find.resize(rows);
    series_.read.resize(static_cast<Index>(spell_.dates.size()), rows);
    for (Index i = 0; i < rows; ++i) {
      const TrendPlace& place = spell_.places[rows_[static_cast<std::size_t>(i)]];
      series_.to_find(i) = 0.5 * place.place.goal();
      for (Index t = 0; t < series_.read.rows(); ++t)
        series_.read(t, i) = place.readings[static_cast<std::size_t>(t)].x.value_or(not_read);
    }
    for (std::size_t p = 0; p < spell_.places.size(); ++p)
      if (std::find(rows_.begin(), rows_.end(), p) == rows_.end())
        spell_.notes.push_back(
            "Not judged, because no run before tells anything of it: " +
            place_words(spell_.job, spell_.places[p].place.speed, spell_.places[p].place.sensor) + ".");
    if (!series_.stated && spell_.dates.size() < dates_to_learn)
      spell_.notes.push_back(fmt::format(
          "Nothing is stated of how these readings scatter (repeatability in the rotor file): only the dates "
          "themselves tell it, and until there are about {} a change is found late.",
          dates_to_learn));
  }

  [[nodiscard]] std::size_t place_at(std::size_t speed, std::size_t sensor) const {
    const auto at = std::find_if(spell_.places.begin(), spell_.places.end(), [&](const TrendPlace& one) {
      return one.place.speed == speed && one.place.sensor == sensor;
    });
    return static_cast<std::size_t>(at - spell_.places.begin());
  }

  void judge() {
    const SeriesCourse course = judge_course(series_);
    for (std::size_t t = 0; t < course.dates.size(); ++t) {
      spell_.dates[t].judged = course.dates[t];
      for (std::size_t i = 0; i < rows_.size(); ++i) {
        TrendReading& reading = spell_.places[rows_[i]].readings[t];
        const auto at = static_cast<Index>(i);
        if (std::isnan(course.dates[t].expected(at).real())) continue;
        reading.expected = course.dates[t].expected(at);
        reading.sd = course.dates[t].sd(at);
        if (reading.x) reading.score = course.dates[t].score(at);
      }
    }
    scatter_ = course.scatter;
    compare_scatter();
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

  /// How much more readings of a sensor scatter from date to date than is stated.
  void compare_scatter() {
    for (std::size_t s = 0; s < noise_.sensors.size(); ++s) {
      const auto& [within, run_to_run, proportional] = noise_.sensors[s];
      if (within.source != NoisePart::Source::stated) continue;
      double stated = within.sd * within.sd, really = 0.0, rows = 0.0;
      if (run_to_run.source == NoisePart::Source::stated) stated += run_to_run.sd * run_to_run.sd;
      for (Index i = 0; i < series_.noise.rows(); ++i)
        if (series_.group[static_cast<std::size_t>(i)] == s)
          really += series_.noise(i, i).real(), rows += 1.0;
      const double times = factor(s) * std::sqrt(really / (std::max(rows, 1.0) * stated));
      if (times > told_scatter) spell_.scatter.emplace_back(spell_.job.rotor.sensors[s].name, times);
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
    change.by_one_date = found.by_one_date;
    for (Index i = 0; i < found.after.size(); ++i) {
      if (std::isnan(found.after(i).real()) || std::isnan(found.before(i).real())) continue;
      const std::size_t at = rows_[static_cast<std::size_t>(i)];
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
    for (std::size_t p = 0; p < spell_.places.size(); ++p) {
      const auto& [place, readings] = spell_.places[p];
      Phasor sum = 0.0;
      double count = 0.0;
      for (std::size_t t = from; t < to; ++t)
        if (readings[t].x) sum += *readings[t].x, count += 1.0;
      if (count == 0.0) continue;
      Reading mean = reading_at(place);
      mean.rpm = spell_.job.speeds_rpm[place.speed];
      mean.x = sum / count;
      mean.amplitude = std::abs(*mean.x);
      if (within_[p]) mean.repeatability = factor(place.sensor) * *within_[p] / std::sqrt(count);
      run.readings.push_back(std::move(mean));
    }
    return run;
  }

  /// The first reading there with a phase.
  [[nodiscard]] Reading reading_at(const Place& place) const {
    for (std::size_t r = base_; r < spell_.job.runs.size(); ++r)
      for (const auto& one : spell_.job.runs[r].readings)
        if (one.speed == place.speed && one.sensor == place.sensor && one.x &&
            one.component == Component::once_per_rev)
          return one;
    return {};
  }

  [[nodiscard]] double factor(std::size_t sensor) const {
    return static_cast<Index>(sensor) < scatter_.size() ? scatter_(static_cast<Index>(sensor)) : 1.0;
  }

  /// States for every sensor the scatter that is known by now.
  void state_scatter(Rotor& rotor) const {
    for (std::size_t s = 0; s < rotor.sensors.size(); ++s) {
      const double times = factor(s) * noise_.widened;
      rotor.sensors[s].repeatability = times * noise_.sensors[s].within.sd;
      if (noise_.sensors[s].run_to_run.source != NoisePart::Source::unknown)
        rotor.sensors[s].run_to_run = times * noise_.sensors[s].run_to_run.sd;
    }
  }

  /// Whether the mean of some dates may come about so, with nobody at the weights.
  static bool may_be(MistakeKind kind, bool one_date) {
    const MistakeOf of = mistake_of(kind);
    return of == MistakeOf::measuring || of == MistakeOf::rotor || kind == MistakeKind::none_of_these ||
           (of == MistakeOf::one_reading && one_date);
  }

  void explain(const SeriesChange& found, std::size_t begin, std::size_t end, TrendChange& change) {
    change.what = unexplained;
    Job job = job_of(0, spell_.foretold ? base_ : 0);
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
  std::size_t base_ = 0;                       ///< runs of the trim
  std::vector<std::optional<double>> within_;  ///< of a reading within its run, by place; empty: not held
  std::vector<std::size_t> rows_;              ///< of the series: entries of the places
  DatedSeries series_;
  NoiseModel noise_;
  Eigen::VectorXd scatter_;  ///< by sensor
};

}  // namespace

Result<TrendSpell> trend_spell(const TrendInput& input) { return Spell(input).made(); }

}  // namespace trimwright
