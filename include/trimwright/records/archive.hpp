#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "trimwright/records/record.hpp"

namespace trimwright {

/// What records are looked for by; empty fields are not asked for. A term is taken literally: it has no
/// wildcards. Letters A to Z count as their small ones.
struct RecordQuery {
  std::string serial;   ///< the whole serial
  std::string rotor;    ///< part of the type's name
  std::string station;  ///< part of it
  std::string person;   ///< part of who made the run or filed the record
  std::string verdict;  ///< whole
  std::string from;     ///< date, and later
  std::string to;       ///< date, and earlier
  std::optional<double> level_above;
  std::optional<double> level_below;
  std::int64_t most = 1000;  ///< records told, the latest
};

/// One thing that is not as it was filed.
struct Fault {
  std::int64_t number = 0;  ///< of the record; 0: the archive as a whole
  std::string what;
};

/// What `Archive::prove` found.
struct Proof {
  std::int64_t records = 0;
  Digest head{};  ///< digest of the last record; zero in an empty archive
  std::uint64_t bytes = 0;
  std::vector<Fault> faults;
  std::optional<std::int64_t> expected_at;  ///< record whose digest is the expected one

  [[nodiscard]] bool whole() const { return faults.empty(); }
};

/// All finished trims in one file, for good: an SQLite database to which records are only ever added.
///
/// Tamper-evident, not tamper-proof: each record's digest covers its content and its predecessor's digest, so
/// a change to any record is found and named, unless everything after it is made anew. Against that, and
/// against records cut off the end, compare with a digest kept elsewhere: `prove(expected)`.
///
/// A record is on the disk once `file` has returned (rollback journal, synchronous = EXTRA); a process killed
/// or power lost before leaves the archive as it was. Several processes may use one archive at the same time.
class Archive {
 public:
  enum class Opening { existing, create_if_missing };

  /// Errors: no such file, not an archive, one of a newer version, no permission, a damaged file.
  [[nodiscard]] static Result<Archive> open(const std::string& path, Opening how);

  Archive(Archive&&) noexcept;
  Archive& operator=(Archive&&) noexcept;
  ~Archive();

  /// Adds one record. Errors: those of `check_record`; the same job is filed already (and this corrects no
  /// record); the corrected record does not exist, or is of another serial; disk full; no permission.
  [[nodiscard]] Result<StoredRecord> file(const Record& record);

  /// Adds many in one transaction: all or none. Gives the number of the last.
  [[nodiscard]] Result<std::int64_t> file_all(std::span<const Record> records);

  /// In the order filed, without `content`.
  [[nodiscard]] Result<std::vector<StoredRecord>> find(const RecordQuery& query) const;

  /// Errors: no such record; its digest does not fit.
  [[nodiscard]] Result<StoredRecord> read(std::int64_t number) const;

  /// Reads every record, its digest, its place in the chain, and lets SQLite check its own structure.
  [[nodiscard]] Result<Proof> prove(const std::optional<Digest>& expected = {}) const;

  /// A copy, made while others may read and file. Error: the copy's file is there already.
  [[nodiscard]] Result<void> back_up(const std::string& path) const;

 private:
  struct State;
  explicit Archive(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace trimwright
