#pragma once

#include "dated_readings.hpp"
#include "record_documents.hpp"
#include "trimwright/files.hpp"

namespace trimwright {

/// The job that a record's files hold; the first of them is the job file, as `job_files` gives them. Errors:
/// those of `read_job`, with the files' own names; a file outside the record that is not as it was.
[[nodiscard]] Result<JobFile> read_filed_job(const std::vector<FiledFile>& files);

/// The same judged as its check run `run` (empty: the last). Errors: those of `judge_job` too.
[[nodiscard]] Result<JudgedJob> judge_filed_job(const std::vector<FiledFile>& files, const std::string& run);

/// What a record of readings holds: first the rotor, then the table, as `readings_record` files them.
struct FiledReadings {
  Rotor rotor;
  DatedReadings readings;
};
/// Errors: those of `read_rotor` and `read_dated_table`, with the files' own names.
[[nodiscard]] Result<FiledReadings> read_filed_readings(const std::vector<FiledFile>& files);

}  // namespace trimwright
