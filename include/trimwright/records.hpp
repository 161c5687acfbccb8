#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "trimwright/error.hpp"

namespace trimwright {

/// A SHA-256 message digest (FIPS 180-4).
using Digest = std::array<std::uint8_t, 32>;

/// Digests what it is fed; a field is fed with its length before it, so that no two rows of fields give the
/// same bytes.
class Sha256 {
 public:
  Sha256();
  ~Sha256();
  Sha256(const Sha256&) = delete;
  Sha256& operator=(const Sha256&) = delete;

  void feed(std::string_view bytes);
  void feed_number(std::uint64_t number);  ///< eight bytes, the lowest first
  void feed_field(std::string_view field);
  /// The digest; the next feeding begins anew.
  [[nodiscard]] Digest finish();

 private:
  struct Context;
  std::unique_ptr<Context> context_;
};

[[nodiscard]] Digest sha256(std::string_view bytes);

/// 64 hexadecimal digits, small letters.
[[nodiscard]] std::string hex(const Digest& digest);
/// The inverse; blanks between the digits are passed over (a sheet prints groups). Empty when it is none.
[[nodiscard]] std::optional<Digest> digest_from_hex(std::string_view text);

/// A finished trim as it is filed: what it is found by, and a document that holds all the rest.
struct Record {
  std::string rotor;   ///< type
  std::string serial;  ///< never empty
  std::string station;
  std::string date;      ///< YYYY-MM-DD of the check run
  std::string person;    ///< who made it
  std::string verdict;   ///< `outcome_name`
  double level = 0.0;    ///< largest once-per-rev amplitude over its limit
  std::string filed_at;  ///< YYYY-MM-DDThh:mm:ssZ
  std::string filed_by;
  std::string software;
  std::optional<std::int64_t> corrects;  ///< number of the record that this one corrects
  std::string
      wrong_serial;    ///< of the record corrected, said to be wrong; asked for when it is filed, not kept
  std::string reason;  ///< of the correction
  Digest inputs{};     ///< of what was measured: the same trim is recognised
  std::optional<Digest> origin;  ///< its digest in the archive that it was sent from
  std::string content;           ///< the `record 1` document
};

/// A record in its place in the archive.
struct StoredRecord {
  std::int64_t number = 0;  ///< 1, 2, 3, ...
  Digest previous{};        ///< digest of the record before in its chain; zero for the first
  Record record;
  Digest digest{};
  std::optional<std::int64_t> corrected_by;  ///< the latest record that corrects this one
  std::string corrected_serial;              ///< of that record
  bool holds = true;                         ///< its digest fits what it says
  int rule = 2;                              ///< of the digest
};

/// SHA-256 of a record in its place, by the rule of docs/records.md. `rule` 1, of older archives, takes no
/// `origin` and does not tell a record that corrects none from one that corrects record 0.
[[nodiscard]] Digest digest_of(std::int64_t number, const Digest& previous, const Record& record,
                               int rule = 2);

/// Whether a text can be filed as a name: nothing, or what `parse_name` takes. `what` begins the message:
/// "serial".
[[nodiscard]] Result<void> check_name(const std::string& what, const std::string& text);

/// Checks all names of a record, and that it has a serial and a person who files it.
[[nodiscard]] Result<void> check_record(const Record& record);

/// The state of an archive in one line: how many records, and the root of the Merkle tree over their digests.
struct TreeHead {
  std::int64_t size = 0;
  Digest root{};

  friend bool operator==(const TreeHead&, const TreeHead&) = default;
};

/// "12-5f1c09ab...": as a sheet prints it, blanks between the digits passed over.
[[nodiscard]] std::string head_text(const TreeHead& head);
[[nodiscard]] std::optional<TreeHead> head_from_text(std::string_view text);

/// Root of the Merkle tree of RFC 9162, section 2.1.1 (as in RFC 6962), over leaves that are added one after
/// the other; keeps one digest for each bit of their number. A leaf is SHA-256 of a byte 0 and the record's
/// digest, a node that of a byte 1 and its two children.
class MerkleTree {
 public:
  void add(const Digest& leaf);
  [[nodiscard]] TreeHead head() const;

 private:
  std::int64_t size_ = 0;
  std::vector<Digest> whole_;  ///< roots of the whole subtrees, the largest first
};

/// Makes the proof of RFC 9162, section 2.1.4.1, that a tree of `to` leaves goes on from its first `from`,
/// while the leaves pass by in order.
class ConsistencyProof {
 public:
  ConsistencyProof(std::int64_t from, std::int64_t to);
  void add(const Digest& leaf);
  [[nodiscard]] std::vector<Digest> nodes() const;

 private:
  struct Part {
    std::int64_t begin, end;
    MerkleTree tree;
  };
  void divide(std::int64_t from, std::int64_t begin, std::int64_t end, bool known);

  std::vector<Part> parts_;             ///< the subtrees of the proof, from left to right
  std::vector<std::int64_t> in_order_;  ///< where each begins, as the proof lists them
  std::int64_t next_ = 0;
};

/// Whether `proof` shows that the records of `later` begin with those of `earlier`: RFC 9162, 2.1.4.2.
[[nodiscard]] bool goes_on_from(const TreeHead& earlier, const TreeHead& later,
                                const std::vector<Digest>& proof);

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
  std::function<bool(const StoredRecord&)>
      also;  ///< what else is asked of a record that fits; empty: nothing
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
  std::vector<Fault> remarks;  ///< worth a look, and no fault
  /// Record beside which the expected digest stands. What it says may have been changed all the same.
  std::optional<std::int64_t> expected_at;
  std::vector<Digest> since;  ///< that `head` goes on from the head asked for: RFC 9162, section 2.1.4

  [[nodiscard]] bool whole() const { return faults.empty(); }
  /// Whether the record with the expected digest and all before it are those that the digest was printed of:
  /// none of the faults is of them or of the archive.
  [[nodiscard]] bool expected_holds() const;
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
  /// this does not correct it); the corrected record does not exist, is of another serial that is not said to
  /// be wrong, or is corrected already; the last record is not as it was filed; disk full; no permission.
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

  /// Other serials that are `serial` but for blanks, hyphens and the like (". / _"), twenty at most.
  [[nodiscard]] Result<std::vector<std::string>> serials_alike(const std::string& serial) const;

  /// Serials that hold `part` (small and capital letters are alike), in order, twenty at most.
  [[nodiscard]] Result<std::vector<std::string>> serials_with(const std::string& part) const;

  /// Errors: no such record; its digest does not fit.
  [[nodiscard]] Result<StoredRecord> read(std::int64_t number) const;
  /// The same of one that may have been changed since: `holds` tells.
  [[nodiscard]] Result<StoredRecord> read_as_it_stands(std::int64_t number) const;

  /// What a command sees of faults in passing. In a file of up to `most_proved_in_passing` bytes all that
  /// `prove` finds; in a larger one whether a number is missing and whether the last record holds. On a
  /// server, where numbers may be missing, nothing.
  [[nodiscard]] Result<std::vector<Fault>> faults_in_passing() const;
  static constexpr std::uint64_t most_proved_in_passing = 64'000'000;
  /// Whether it is on a server, each station with a chain of its own.
  [[nodiscard]] bool on_server() const;

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
