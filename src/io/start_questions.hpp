#pragma once

#include <map>
#include <string>
#include <vector>

#include "start_job.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

/// What a question is asked of.
enum class AskedOf { job, planes, sensors, runs };

/// One thing that a new job has to know.
struct StartQuestion {
  AskedOf asked_of;
  std::string key;        ///< also the option of the command line
  std::string words;      ///< as a person is asked; "{}" stands for the plane, sensor or run it is asked of
  std::string reason;     ///< what it is for, in one line
  std::string example;    ///< an answer, invented
  std::string enter;      ///< what no answer means
  std::string confirmed;  ///< what the rotor file lists as assumed without an answer; empty: nothing
  Result<void> (*take)(const std::string&, StartJob&);
};

/// In the order in which they are asked.
[[nodiscard]] const std::vector<StartQuestion>& start_questions();

/// What a question is asked of, so far as the job is known: names of planes, sensors or runs; one empty name
/// where it is asked once; nothing where it is not asked.
[[nodiscard]] std::vector<std::string> named_by(const StartQuestion& question, const StartJob& job);

/// The example of an answer in the words of the job: its planes and weights, the sensor's unit.
[[nodiscard]] std::string example_of(const StartQuestion& question, const std::string& of,
                                     const StartJob& job);

/// What no answer means there.
[[nodiscard]] std::string enter_means(const StartQuestion& question, const std::string& of,
                                      const StartJob& job);

/// The answer that Enter stands for there; empty: none.
[[nodiscard]] std::string enter_answer(const StartQuestion& question, const std::string& of,
                                       const StartJob& job);

/// Why the job cannot do without an answer of that plane, sensor or run; empty: it can.
[[nodiscard]] std::string why_needed(const StartQuestion& question, const std::string& of,
                                     const StartJob& job);

/// Answers by key, as a person writes them.
using StartAnswers = std::map<std::string, std::string>;

/// What a table of readings tells of a job (`table`; empty: none). Errors: those of the table.
[[nodiscard]] Result<StartJob> begun_job(const std::string& table);

/// What answers tell of a job beside its table. Errors: an answer that does not fit its question, or another
/// answer.
[[nodiscard]] Result<StartJob> start_job(const StartAnswers& answers, StartJob job);

/// Error where something is missing without which no rotor or job can be written.
[[nodiscard]] Result<void> check_complete(const StartJob& job);

}  // namespace trimwright
