#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/check/verdict.hpp"
#include "trimwright/records/archive.hpp"

namespace trimwright {

/// What a person adds when a trim is filed.
struct FilingDetails {
  std::string filed_by;
  std::string filed_at;  ///< YYYY-MM-DDThh:mm:ssZ
  std::string software;
  std::vector<std::pair<std::string, std::string>>
      entries;  ///< torque, locking, manual revision, part numbers, ...
  std::optional<std::int64_t> corrects;
  std::string reason;
};

/// A file as it was read, under a name relative to the folder that holds all of a job's files.
struct FiledFile {
  std::string name;
  std::string text;
};

/// The files a job was read from. Errors: those of reading them again.
[[nodiscard]] Result<std::vector<FiledFile>> job_files(const std::vector<std::string>& sources);

/// The record of a judged job: everything needed to do the calculation again, and what came of it.
/// Errors: those of `check_record` and `check_name` of the entries.
[[nodiscard]] Result<Record> record_of(const JudgedJob& judged, const std::vector<FiledFile>& files,
                                       const FilingDetails& details);

/// The files a record holds. Error: a name that leads out of the folder they are written to.
[[nodiscard]] Result<std::vector<FiledFile>> files_of(const StoredRecord& record);

/// Writes the files that a record holds into `folder`, made where it is not there. Errors: those of
/// `files_of`; a file that cannot be written.
[[nodiscard]] Result<void> write_files(const StoredRecord& record, const std::string& folder);

/// The `record 1` document with its place and digests.
[[nodiscard]] std::string record_json(const StoredRecord& record);
/// The `records 1` document: what `find` found.
[[nodiscard]] std::string records_json(const std::vector<StoredRecord>& records);
/// The `proof 1` document.
[[nodiscard]] std::string proof_json(const Proof& proof);

/// One row per reading of each record, RFC 4180.
[[nodiscard]] std::string export_csv(const std::vector<StoredRecord>& records);
/// The `export 1` document: every record whole.
[[nodiscard]] std::string export_json(const std::vector<StoredRecord>& records);

/// A rotor's history: each speed and sensor before and after, record by record.
[[nodiscard]] std::string history_text(const std::vector<StoredRecord>& records);
/// The `history 1` document.
[[nodiscard]] std::string history_json(const std::vector<StoredRecord>& records);

/// One page to be signed and filed, as text or CSV (RFC 4180).
[[nodiscard]] std::string sheet_text(const StoredRecord& record);
[[nodiscard]] std::string sheet_csv(const StoredRecord& record);

}  // namespace trimwright
