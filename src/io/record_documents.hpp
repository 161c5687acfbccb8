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
  std::string wrong_serial;  ///< under which the corrected record was filed
  std::string reason;
};

/// Stands for the verdict in the record of readings without a trim.
inline constexpr const char* readings_verdict = "readings";
[[nodiscard]] inline bool holds_readings(const Record& record) { return record.verdict == readings_verdict; }

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
/// The same into a folder that is not there yet; nothing is left of it after an error.
[[nodiscard]] Result<void> write_files_anew(const std::vector<FiledFile>& files, const std::string& folder);

/// The trim of a job file, judged and filed from one reading of its files, and what a correction changes.
struct FiledTrim {
  StoredRecord record;
  std::string differs_in;  ///< from the record that it corrects
  std::vector<std::string>
      warnings;         ///< worth a look: a serial that is almost another, readings of another trim
  std::string verdict;  ///< in a sentence; empty for readings without a trim
};

/// "KEY: TEXT" as one more entry. Errors: it has no key or no text; the key is there already.
[[nodiscard]] Result<void> add_entry(const std::string& text, FilingDetails& details);

/// A correction keeps the entries of the record it corrects in the archive `name`, but for those it gives
/// itself. What is wrong with that record or archive is told when it is filed.
void keep_entries(const std::string& name, FilingDetails& details);

/// "KEY: TEXT": whether a record has an entry of this name that holds the text.
[[nodiscard]] Result<std::function<bool(const StoredRecord&)>> with_entry(const std::string& text);

/// What was changed in a record that is not as it was filed, as far as it can be told: what its columns say
/// against its document, and the document against what its own files give.
[[nodiscard]] std::vector<std::string> edits_of(const StoredRecord& record);
/// Adds them to the faults of a proof.
void tell_edits(const Archive& archive, Proof& proof);

/// A trim, or readings, ready to be filed, and the files they were read from.
struct JudgedTrim {
  Record record;
  std::vector<std::string> sources;
};

/// Judges run `run` (empty: the last) of the job file `path`, as its files stand when they are read: what is
/// judged is what will be filed. Errors: those of `read_job`, `judge_job` and `record_of`; other weights are
/// in now than in a last run that is not named.
[[nodiscard]] Result<JudgedTrim> judge_trim(const std::string& path, const std::string& run,
                                            const FilingDetails& details);

/// Readings of a rotor without a trim: a table with dates (`read_dated_table`), and whose they are.
struct ReadingsToFile {
  std::string table, rotor;  ///< paths
  std::string serial, station;
};

/// The record of such readings. Errors: those of `read_rotor` and `read_dated_table`; a speed without a
/// limit; those of `check_record`; a last date that is years old or yet to come and not said twice.
[[nodiscard]] Result<JudgedTrim> readings_record(const ReadingsToFile& readings,
                                                 const FilingDetails& details);

/// Files either in the archive `name`, which is made where there is none. Errors: those of `Archive::file`;
/// an archive in a file that does not prove whole; a trim whose check run was made at the time of one that is
/// filed; a correction that changes nothing.
[[nodiscard]] Result<FiledTrim> file_trim(const Record& trim, const std::string& name);

/// All records of a serial in the archive `name`, each as it was filed. Errors: there are none; one is not as
/// it was filed.
[[nodiscard]] Result<std::vector<StoredRecord>> records_of(const Archive& archive, const std::string& name,
                                                           const std::string& serial);

/// "LKM-417" or "LKM-418", each in quotation marks: serials that hold `part`; empty where none does.
[[nodiscard]] std::string serials_words(const Archive& archive, const std::string& part);

/// Each of these has the error of a record whose document is not understood.
/// The `record 1` document with its place and digests.
[[nodiscard]] Result<std::string> record_json(const StoredRecord& record);
/// To be signed and filed, as text or CSV (RFC 4180).
[[nodiscard]] Result<std::string> sheet_text(const StoredRecord& record, std::size_t width = 80);
/// The same to be read: nothing to sign or to fill in; of a record that is not as it was filed, that it is
/// not.
[[nodiscard]] Result<std::string> shown_text(const StoredRecord& record, std::size_t width = 80);
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

/// How records are handed over: a row per reading (CSV, or CSV with semicolons and decimal commas), the
/// `export 1` document, or a line for each record that others can prove (docs/records.md).
enum class ExportForm { csv, csv_of_commas, json, lines };

/// Hands each part of the export to `write`, one record after the other. Errors: those of `write`; a record
/// that is not as it was filed.
using WritePart = std::function<Result<void>(std::string_view)>;
[[nodiscard]] Result<void> export_records(const Archive& archive, const RecordQuery& query, ExportForm form,
                                          const WritePart& write);

}  // namespace trimwright
