#pragma once

#include <optional>
#include <string>
#include <vector>

#include "course.hpp"
#include "trimwright/check.hpp"
#include "trimwright/job.hpp"
#include "trimwright/prior.hpp"

namespace trimwright {

/// Readings filed between two trims, and the trim before them.
struct TrendInput {
  /// The runs of the trim up to its check run, its phase convention settled; or a rotor alone, without runs.
  Job job;
  std::string trim;            ///< "the trim of 2031-05-13 (record 3)"; empty: none is filed before
  std::string since;           ///< when its check run was made
  std::optional<Prior> prior;  ///< the fleet's, where the trim's job named one
  std::vector<Run> dates;      ///< one for each date, in order; named by it; sensors are those of `job`
};

/// A change of this share of a limit signifies: ISO 20816-1 calls a change of 25 % of the boundary between
/// its zones B and C significant (from memory); the maker's manual goes before it.
inline constexpr double significant_share = 0.25;

/// One place at one date.
struct TrendReading {
  std::optional<Phasor> x;         ///< empty: not read
  std::optional<Phasor> expected;  ///< empty: nothing tells it yet
  double sd = 0.0;                 ///< of x minus expected, per real component, peak
  std::optional<Phasor> score;     ///< x minus expected, made standard normal; see `judge_course`
};

struct TrendPlace {
  Place place;
  std::vector<TrendReading> readings;  ///< by date
};

struct TrendDate {
  std::string when;
  std::string note;  ///< what the table says of it; may be empty
  DateJudged judged;
};

/// What changed at one place.
struct PlaceChange {
  std::size_t place = 0;  ///< index into TrendSpell::places
  Phasor before, after;
  double sd = 0.0;              ///< of after minus before, per real component
  double share_of_limit = 0.0;  ///< |after - before| over the limit
};

struct TrendChange {
  SeriesChange::Kind kind = SeriesChange::Kind::step;
  std::string before;  ///< the last date as before; empty: there is none since the trim
  std::string first, last, found;
  bool by_one_date = false;  ///< one date's readings told it (T^2); else the sum of several (CUSUM)
  std::vector<PlaceChange> places;
  double largest_share = 0.0;
  MistakeKind cause = MistakeKind::none_of_these;
  double probability = 0.0;  ///< of the cause, among those that need nobody to touch the weights
  std::string what;          ///< in words

  [[nodiscard]] bool significant() const { return largest_share > significant_share; }
};

/// The readings between two trims, and what became of them.
struct TrendSpell {
  Job job;  ///< the runs of the trim, then a run for each date
  std::string trim, since;
  bool foretold = false;  ///< expected is what the trim's runs foretell; else the first readings tell it
  std::vector<TrendDate> dates;
  std::vector<TrendPlace> places;
  std::vector<TrendChange> changes;
  std::vector<std::pair<std::string, double>>
      scatter;                     ///< sensor, times as much as stated, where it is clearly more
  std::vector<std::string> notes;  ///< what is not judged, and why
};

/// A rotor between its trims.
struct Trend {
  std::string rotor, serial;
  std::vector<TrendSpell> spells;
};

/// Judges the readings of `input` date by date (`judge_course`), and explains what changed by the shapes that
/// `compare_newest_run` compares: the mean of the readings since as one run, against the mean of those before
/// and the runs of the trim. Errors: those of `settle_places`.
[[nodiscard]] Result<TrendSpell> trend_spell(const TrendInput& input);

/// "a step", "one date alone", ...
[[nodiscard]] std::string kind_words(SeriesChange::Kind kind);
/// Stable name: "step", "lone", "last_alone", "gradual".
[[nodiscard]] std::string kind_name(SeriesChange::Kind kind);
/// "A step between 2031-06-03 and 2031-06-04, found on 2031-06-04: likeliest, 97 %, ...": when and how.
[[nodiscard]] std::string change_words(const TrendChange& change);
/// What a change means by its size, and whether one date may be wrong, in a sentence or two.
[[nodiscard]] std::string significance_words(const TrendChange& change);
/// The answer in one sentence.
[[nodiscard]] std::string trend_words(const Trend& trend);
/// What the expected readings of a spell are taken from, in a sentence.
[[nodiscard]] std::string basis_words(const TrendSpell& spell);

}  // namespace trimwright
