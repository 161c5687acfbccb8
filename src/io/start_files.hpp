#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/error.hpp"

namespace trimwright {

/// One thing that a new job has to know. What is not answered is assumed, and the rotor file says so.
struct StartQuestion {
  std::string key;        ///< also the option of the command line
  std::string words;      ///< as a person is asked
  std::string usual;      ///< the answer assumed, an invented one; empty: none is
  std::string confirmed;  ///< what the rotor file lists as assumed without an answer; empty: nothing
};

/// In the order in which they are asked.
[[nodiscard]] const std::vector<StartQuestion>& start_questions();

/// Answers by key, as a person writes them.
using StartAnswers = std::map<std::string, std::string>;

/// Error: the answer does not fit its question, or the answers to the `others`.
[[nodiscard]] Result<void> check_start_answer(const std::string& key, const std::string& answer,
                                              const StartAnswers& others);

/// Names and contents of the files of a new job: a commented rotor and job that can be read as they are, and
/// a table of readings with one row for each speed. Errors: an answer that does not fit its question, or
/// another answer.
[[nodiscard]] Result<std::vector<std::pair<std::string, std::string>>> start_files(
    const StartAnswers& answers);

/// Writes them and a blank run sheet into `folder`, which is made where there is none. Gives back the names.
/// Errors: those of `start_files`; one of the files is there already, or cannot be written.
[[nodiscard]] Result<std::vector<std::string>> start_folder(const std::string& folder,
                                                            const StartAnswers& answers);

}  // namespace trimwright
