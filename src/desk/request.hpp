#pragma once

#include <functional>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "answers/planned.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

using DeskJson = nlohmann::ordered_json;

/// A request of the page, its files put into the folder.
struct DeskRequest {
  std::string folder;
  DeskJson asked;

  /// A text of the request; empty where it is not given.
  [[nodiscard]] std::string text(const std::string& key) const;
  [[nodiscard]] std::optional<int> number(const std::string& key) const;
  [[nodiscard]] bool flag(const std::string& key) const;
  /// Path of one of the files.
  [[nodiscard]] std::string path(const std::string& name) const;
  /// The files the request is about, by the names it gives ("job", "rotor"); job.yaml and rotor.yaml where it
  /// gives none.
  [[nodiscard]] std::string job() const;
  [[nodiscard]] std::string rotor() const;
  /// How a plan is asked for.
  [[nodiscard]] PlanOptions plan() const;
};

[[nodiscard]] DeskJson error_json(const Error& error);

/// One thing that can be asked.
using DeskAnswer = Result<DeskJson> (*)(const DeskRequest&);

// Forms: what stands in files, as the page edits it, and back.

/// `texts` of files by name: what each says it is, by name ("rotor", "job", ...; empty: nothing of ours).
[[nodiscard]] Result<DeskJson> kinds_of_texts(const DeskRequest& request);
/// `kind` ("rotor" or "job") and `text` of a YAML file: its `tree`, texts throughout.
[[nodiscard]] Result<DeskJson> tree_of_file(const DeskRequest& request);
/// A tree as the text of a YAML file; an empty text in it stands for a value not given yet.
[[nodiscard]] std::string yaml_text(const DeskJson& tree);
/// The same of the request's `tree`: `text`.
[[nodiscard]] Result<DeskJson> file_of_tree(const DeskRequest& request);
/// What is fitted, as the tree of a job file has it; an empty map where nothing is.
[[nodiscard]] DeskJson fitted_tree(const Rotor& rotor, const std::vector<FittedWeights>& fitted);
/// `name` of a table of readings of the rotor: its `readings` (`run` is empty where it has no column of
/// runs), and `notes` on what was left out.
[[nodiscard]] Result<DeskJson> readings_of_table(const DeskRequest& request);
/// `rows` of cells as the `text` of a CSV file.
[[nodiscard]] Result<DeskJson> table_of_rows(const DeskRequest& request);
/// `cells` as typed by a person whose decimal `mark` is "comma" or "point": each with a decimal point, or its
/// error.
[[nodiscard]] Result<DeskJson> numbers_of_cells(const DeskRequest& request);

// Facts: what the files say, as far as the page draws and checks it.

/// The rotor, its file or its `tree`: planes as they are drawn, sensors and their units.
[[nodiscard]] Result<DeskJson> rotor_facts(const DeskRequest& request);
/// The job: speeds, what was fitted in each run, and how many slots a plan may change.
[[nodiscard]] Result<DeskJson> job_facts(const DeskRequest& request);
/// `readings` one by one against rotor.yaml: for each null, or its error, whose `key` is the part at fault.
[[nodiscard]] Result<DeskJson> checked_readings(const DeskRequest& request);

/// `amplitude` ("10 %") and `phase` ("10 deg") of a paper that tells by how much readings scatter: the one
/// figure of a sensor's `proportional` that covers both, and `words` on how it came about.
[[nodiscard]] Result<DeskJson> scatter_of_paper(const DeskRequest& request);
/// The readings that stand out from what all runs together make of them: for each the `file` and `line` it is
/// written at, the part that is off (`key`: "amplitude" or "phase"), and `what`; the likeliest first, and the
/// others of its place, of which the runs cannot tell it, in the same `group` with `less` true. None where
/// the runs do not tell.
[[nodiscard]] Result<DeskJson> doubted_readings(const DeskRequest& request);

// Answers: as the program's commands give them, `text` and `document` (JSON in a text), or `page` (HTML).

[[nodiscard]] Result<DeskJson> ready_answer(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> influence_answer(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> trial_answer(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> plan_answer(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> check_answer(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> page_answer(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> sheet_answer(const DeskRequest& request);

// Practice on the virtual rotor; `files` gives the files as they are afterwards.

/// `seed` of a new virtual rotor.
[[nodiscard]] Result<DeskJson> new_rehearsal(const DeskRequest& request);
/// Runs it as `name`, with what the job's `fitted_now` says (nothing before the first run). `stopped`: where
/// and why it was stopped, or empty.
[[nodiscard]] Result<DeskJson> rehearsal_run(const DeskRequest& request);
[[nodiscard]] Result<DeskJson> rehearsal_told(const DeskRequest& request);

}  // namespace trimwright
