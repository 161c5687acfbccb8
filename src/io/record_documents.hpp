#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "trimwright/check.hpp"
#include "trimwright/records.hpp"

namespace trimwright {

/// What a person adds when a trim is filed.
struct FilingDetails {
  std::string filed_by;
  std::string filed_at;  ///< YYYY-MM-DDThh:mm:ssZ
  std::string software;
  std::string dated;  ///< the check run's date once more, where it is years old or yet to come
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
/// Errors: those of `check_record` and `check_name` of the entries; a check run without a date, or with one
/// that is years old or yet to come and not said twice.
[[nodiscard]] Result<Record> record_of(const JudgedJob& judged, const std::vector<FiledFile>& files,
                                       const FilingDetails& details);

/// The files a record holds. Error: a name that leads out of the folder they are written to.
[[nodiscard]] Result<std::vector<FiledFile>> files_of(const StoredRecord& record);

/// Writes a record's files into `folder`, made where it is not there. Error: a file that cannot be written.
[[nodiscard]] Result<void> write_files(const std::vector<FiledFile>& files, const std::string& folder);

/// The trim of a job file, judged and filed from one reading of its files, and what a correction changes.
struct FiledTrim {
  StoredRecord record;
  std::string differs_in;  ///< from the record that it corrects
};

/// Judges run `run` (empty: the last) of the job file `path` and files it in the archive `archive`, which is
/// made where there is none. Errors: those of `read_job`, `judge_job`, `record_of` and `Archive::file`; a run
/// that looks like a trial run and is not named; a correction that changes nothing.
[[nodiscard]] Result<FiledTrim> file_trim(const std::string& path, const std::string& run,
                                          const std::string& archive, const FilingDetails& details);

/// Each of these has the error of a record whose document is not understood.
/// The `record 1` document with its place and digests.
[[nodiscard]] Result<std::string> record_json(const StoredRecord& record);
/// One page to be signed and filed, as text or CSV (RFC 4180).
[[nodiscard]] Result<std::string> sheet_text(const StoredRecord& record);
[[nodiscard]] Result<std::string> sheet_csv(const StoredRecord& record);
/// A rotor's history: each speed and sensor before and after, record by record; as text, and as `history 1`.
[[nodiscard]] Result<std::string> history_text(const std::vector<StoredRecord>& records);
[[nodiscard]] Result<std::string> history_json(const std::vector<StoredRecord>& records);

/// `records 1` and text: what `find` found.
[[nodiscard]] std::string records_json(const std::vector<StoredRecord>& records);
[[nodiscard]] std::string records_text(const std::vector<StoredRecord>& records);
/// `proof 1` and text.
[[nodiscard]] std::string proof_json(const Proof& proof);
[[nodiscard]] std::string proof_text(const Proof& proof);
[[nodiscard]] std::string filed_text(const FiledTrim& filed);
[[nodiscard]] std::string sent_text(const std::vector<Sent>& sent);

/// How records are handed over: a row per reading (CSV), the `export 1` document, or a line for each record
/// that others can prove (docs/records.md).
enum class ExportForm { csv, json, lines };

/// Hands each part of the export to `write`, one record after the other. Errors: those of `write`; a record
/// that is not as it was filed.
using WritePart = std::function<Result<void>(std::string_view)>;
[[nodiscard]] Result<void> export_records(const Archive& archive, const RecordQuery& query, ExportForm form,
                                          const WritePart& write);

}  // namespace trimwright
