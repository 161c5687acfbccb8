#pragma once

#include <functional>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "trimwright/records/merkle.hpp"
#include "trimwright/records/record.hpp"

namespace trimwright {

/// What records are looked for by; empty fields are not asked for. A term is taken literally: it has no
/// wildcards. Letters A to Z count as their small ones.
struct RecordQuery {
  std::string serial;          ///< the whole serial
  std::string part_of_serial;  ///< part of it
  std::string rotor;           ///< part of the type's name
  std::string station;         ///< part of it
  std::string person;          ///< part of who made the run or filed the record
  std::string verdict;         ///< whole
  std::string from;            ///< date, and later
  std::string to;              ///< date, and earlier
  std::optional<double> level_above;
  std::optional<double> level_below;
  std::int64_t most = std::numeric_limits<std::int64_t>::max();  ///< records told, the latest
};

/// One thing that is not as it was filed.
struct Fault {
  std::int64_t number = 0;  ///< of the record; 0: the archive as a whole
  std::string what;
};

/// What `Archive::prove` found.
struct Proof {
  std::int64_t records = 0;
  Digest last{};  ///< digest of the last record; zero in an empty archive
  TreeHead head;  ///< over all records
  std::uint64_t bytes = 0;
  std::vector<Fault> faults;
  std::vector<Fault> remarks;               ///< worth a look, and no fault
  std::optional<std::int64_t> expected_at;  ///< record whose digest is the expected one
  std::vector<Digest> since;  ///< that `head` goes on from the head asked for: RFC 9162, section 2.1.4

  [[nodiscard]] bool whole() const { return faults.empty(); }
};

/// What became of a record that was sent.
struct Sent {
  enum class Fate {
    added,
    there_already,    ///< sent before, or the same trim was filed there
    corrected_twice,  ///< it corrects a record that another one corrects there, or one that was not sent
  };
  std::int64_t number = 0;  ///< where it comes from
  Fate fate = Fate::added;
  std::int64_t there = 0;  ///< its number in the other archive, or that of the record that stands against it
};

/// All finished trims, for good: an SQLite database in one file, or a PostgreSQL database for many stations,
/// to which records are only ever added.
///
/// Tamper-evident, not tamper-proof: each record's digest covers its content and its predecessor's digest, so
/// a change to any record is found and named, unless everything after it is made anew. Against that, and
/// against records cut off the end, compare with a digest or a head kept elsewhere: `prove`.
///
/// A record is on the disk, and was read back, once `file` has returned; a process killed or power lost
/// before leaves the archive as it was, or with the record whole. Several processes may use one archive at
/// the same time.
class Archive {
 public:
  enum class Opening { existing, create_if_missing };

  /// `name`: a path, or postgresql://... as libpq takes it. Errors: no such file, not an archive, one of a
  /// newer version, one with tables, views, triggers or indices of others, no permission, a damaged file.
  [[nodiscard]] static Result<Archive> open(const std::string& name, Opening how);
  /// Makes the archive on a server, and the role `trimwright_station` that may add and read.
  [[nodiscard]] static Result<void> set_up(const std::string& url);

  Archive(Archive&&) noexcept;
  Archive& operator=(Archive&&) noexcept;
  ~Archive();

  /// Adds one record and reads it back. Errors: those of `check_record`; the same trim is filed already (and
  /// this does not correct it); the corrected record does not exist, is of another serial or is corrected
  /// already; the last record is not as it was filed; disk full; no permission.
  [[nodiscard]] Result<StoredRecord> file(const Record& record);

  /// Adds many in one transaction: all or none. Gives the number of the last.
  [[nodiscard]] Result<std::int64_t> file_all(std::span<const Record> records);

  /// Adds the records of a station's own archive that are not here yet, in one transaction, and tells the
  /// fate of each. Errors: a record of `local` that is not as it was filed; those of `file`.
  [[nodiscard]] Result<std::vector<Sent>> take_over(const Archive& local);

  /// Hands over each record, one after the other in the order filed; stops with the first error of `take`.
  using Take = std::function<Result<void>(StoredRecord&)>;
  [[nodiscard]] Result<void> each(const RecordQuery& query, const Take& take) const;

  /// Those of `each`, without `content`.
  [[nodiscard]] Result<std::vector<StoredRecord>> find(const RecordQuery& query) const;

  /// Errors: no such record; its digest does not fit.
  [[nodiscard]] Result<StoredRecord> read(std::int64_t number) const;

  /// Reads every record, its digest, its place in its chain and in the tree, and lets SQLite check its own
  /// structure. `since`: an earlier head that this archive must go on from.
  [[nodiscard]] Result<Proof> prove(const std::optional<Digest>& expected = {},
                                    const std::optional<TreeHead>& since = {}) const;

  /// A copy, made while others may read and file. Errors: the copy's file is there already; the archive is on
  /// a server (whose own tools copy it).
  [[nodiscard]] Result<void> back_up(const std::string& path) const;

 private:
  struct State;
  explicit Archive(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace trimwright
