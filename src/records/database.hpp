#pragma once

#include <cstdint>
#include <memory>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/records.hpp"

namespace trimwright {

/// A failure of the database, thrown inside `records` and caught at the archive's surface.
struct DatabaseFailure {
  Error error;
  bool taken = false;  ///< another process filed the same in this moment: looked at again, it can be told
};

/// A prepared statement, its parameters ?1, ?2, ... Bindings are kept by reference until the first `step`.
class Statement {
 public:
  virtual ~Statement() = default;
  virtual void bind(int at, std::string_view text) = 0;
  virtual void bind(int at, std::int64_t number) = 0;
  virtual void bind(int at, double number) = 0;
  virtual void bind(int at, const Digest& digest) = 0;
  virtual void bind_null(int at) = 0;
  /// True when there is a row.
  virtual bool step() = 0;
  virtual void reset() = 0;

  [[nodiscard]] virtual std::string_view view(int column) const = 0;
  [[nodiscard]] virtual std::int64_t integer(int column) const = 0;
  [[nodiscard]] virtual double real(int column) const = 0;
  [[nodiscard]] virtual bool is_null(int column) const = 0;
  /// Bytes that are no digest give their own digest, which fits nowhere.
  [[nodiscard]] virtual Digest digest(int column) const = 0;
  [[nodiscard]] std::string text(int column) const { return std::string(view(column)); }
};

/// What is in an archive's database beside its records: kind and name, and how it is made.
using Schema = std::set<std::pair<std::string, std::string>>;

/// One connection to an archive. Everything throws DatabaseFailure. The statements are the same for every
/// kind of database; what differs is here.
class Database {
 public:
  virtual ~Database() = default;
  [[nodiscard]] virtual std::unique_ptr<Statement> prepare(std::string_view sql) = 0;
  virtual void run(const std::string& sql) = 0;

  /// One state of the archive, whoever files meanwhile.
  virtual void begin_reading() = 0;
  /// Nobody else files into the chains of these stations until the end of the transaction.
  virtual void begin_writing(const std::set<std::string>& stations) = 0;
  virtual void commit() = 0;
  virtual void roll_back() noexcept = 0;

  /// Another look at the same archive, to see what is really there; null where this one sees it.
  [[nodiscard]] virtual std::unique_ptr<Database> looked_at_again() = 0;
  [[nodiscard]] virtual std::int64_t next_number(std::int64_t last) = 0;
  /// So many numbers will be asked for.
  virtual void reserve_numbers(std::size_t) {}
  /// Whether it refuses a trim that is filed already by itself (`taken`), without being asked before.
  [[nodiscard]] virtual bool refuses_twice() const = 0;
  /// Whether every station has a chain of its own, or all records are in one.
  [[nodiscard]] virtual bool chain_per_station() const = 0;
  /// What small letters of a serial are compared with.
  [[nodiscard]] virtual const char* serial_column() const = 0;
  /// Gives every record that has none its place in the tree of all records.
  virtual void settle_tree() = 0;
  /// What the database itself finds wrong with its storage.
  [[nodiscard]] virtual std::vector<std::string> storage_faults() = 0;

  [[nodiscard]] const std::string& name() const { return name_; }
  /// Of the archive: 1, or 2 with `origin` and the second rule of digests.
  [[nodiscard]] int version() const { return version_; }
  [[noreturn]] void refuse(std::string what, std::string expected) const {
    throw DatabaseFailure{{std::move(what), std::move(expected), {name_, 0, {}}}, false};
  }

 protected:
  /// Refuses an archive that has more than records, or less; names the first difference.
  void compare_schema(const Schema& expected, const Schema& found) const;

  std::string name_;
  int version_ = 2;
};

/// A transaction that is rolled back unless committed.
class Transaction {
 public:
  explicit Transaction(Database& database) : database_(database) { database_.begin_reading(); }
  Transaction(Database& database, const std::set<std::string>& stations) : database_(database) {
    database_.begin_writing(stations);
  }
  ~Transaction() {
    if (!committed_) database_.roll_back();
  }
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  void commit() {
    database_.commit();
    committed_ = true;
  }

 private:
  Database& database_;
  bool committed_ = false;
};

/// An archive in a file of its own. Refuses what is no archive, one of a newer version, one that holds more.
[[nodiscard]] std::unique_ptr<Database> open_sqlite(const std::string& path, bool create);
void copy_sqlite(Database& archive, const std::string& path);

/// Whether an archive's name leads to a PostgreSQL server.
[[nodiscard]] bool is_postgres(std::string_view name);
/// An archive on a server, for many stations; `url` as libpq takes it.
[[nodiscard]] std::unique_ptr<Database> open_postgres(const std::string& url);
/// Makes the tables and the role of stations in an empty database.
void set_up_postgres(const std::string& url);

}  // namespace trimwright
