#pragma once

#include <string>
#include <vector>

#include "start_questions.hpp"
#include "trimwright/files.hpp"

namespace trimwright {

struct StartedFolder {
  std::vector<std::string> files;         ///< names of those written
  std::vector<LineToConfirm> to_confirm;  ///< of rotor.yaml
  JobFile job;                            ///< as it reads them
};

/// Error where `folder` has a file already that `start_folder` would write.
[[nodiscard]] Result<void> check_new_folder(const std::string& folder, const std::string& table);

/// Writes the files of a new job into `folder`, which is made where there is none: rotor.yaml, job.yaml, the
/// table of readings (a copy of `table` where that is given and lies elsewhere) and a run sheet. Errors:
/// those of `start_job` and `check_complete`; one of the files is there already, or cannot be written.
[[nodiscard]] Result<StartedFolder> start_folder(const std::string& folder, const StartAnswers& answers,
                                                 const std::string& table);

}  // namespace trimwright
