#pragma once

#include <cstddef>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "trimwright/rotor.hpp"

namespace trimwright {

template <class Named>
[[nodiscard]] std::vector<std::string> names_of(const std::vector<Named>& named) {
  std::vector<std::string> names;
  for (const auto& one : named) names.push_back(one.name);
  return names;
}

/// A kind of weight of the kit, its amount as a person wrote it.
struct StartWeight {
  std::string id;
  std::string amount;          ///< "2.5 g", or a moment, "500 g.mm"
  bool is_moment = false;      ///< then it needs no radius
  std::optional<int> stock{};  ///< empty: nobody counted them
};

/// Where slot 1 is and which way the slot numbers grow.
struct StartNumbering {
  std::string slot_1_at = "0 deg";
  SeenSense numbered{Sense::clockwise, ViewingEnd::front};
  bool taken_over = false;        ///< from another plane: to be confirmed
  bool read_as_numbered = false;  ///< the angle was told without a sense
};

struct StartPlane {
  std::string name;
  int slots = 0;  ///< 0: not told
  std::optional<StartNumbering> numbering{};
  std::string radius{};  ///< "250 mm"; empty: not told
  std::vector<StartWeight> weights{};

  /// Whether the weights can be written as they are: told, and at a radius where they need one.
  [[nodiscard]] bool has_weights() const;
};

struct StartSensor {
  std::string name;
  VibrationUnit unit;
  std::string limit{};             ///< "1.0 in/s"; empty: not told
  std::string target{};            ///< the same
  std::optional<double> differ{};  ///< the most that its readings differ, nothing changed: peak, in its unit
};

struct StartRun {
  std::string name;
  std::string fitted{};  ///< as a job has it: "none", "{front plane: {7: S2}}"; empty: not told
};

/// A line of the rotor file that a person has to compare, and the words for it in its list to_confirm.
struct LineToConfirm {
  std::ptrdiff_t line = 0;
  std::string words;
};

/// All that is known of a new job: what was answered, what a table of readings tells, and for what a rotor
/// must have and nobody told, what is assumed.
struct StartJob {
  std::string name = "Rotor type";
  std::string serial{};
  SeenSense rotation{Sense::clockwise, ViewingEnd::aft};
  std::string phase = "lag";
  int teeth = 1;
  std::vector<StartPlane> planes{{"plane 1"}};
  std::vector<StartSensor> sensors{};
  std::vector<std::string> speeds{};  ///< each with its unit
  bool speeds_were_set = true;        ///< false: each run has its own, as they were read
  std::string speed_100{};            ///< "4740 rpm"; empty: not told
  std::string mass{};                 ///< "260 kg"; empty: not told
  std::vector<StartRun> runs{{"as found"}};
  std::string fitted_now{};               ///< empty: not told
  std::string table = "readings.csv";     ///< beside the job
  bool table_names_runs = true;           ///< false: it is of the one run
  bool has_readings = false;              ///< the table is there already, and filled in
  std::vector<std::string> understood{};  ///< what was read into an answer that it does not say, in words
  std::set<std::string> told{};           ///< keys of the questions that have an answer

  [[nodiscard]] bool is_told(const std::string& key) const { return told.contains(key); }
  /// Whether a run with readings had other weights in, so that these must be known.
  [[nodiscard]] bool has_trials() const { return has_readings && runs.size() > 1; }
  /// What may have other weights in: the runs, and "now" where there were trials.
  [[nodiscard]] std::vector<std::string> runs_and_now() const {
    auto names = names_of(runs);
    if (has_trials()) names.emplace_back("now");
    return names;
  }
};

}  // namespace trimwright
