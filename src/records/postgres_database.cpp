#include <fmt/format.h>
#include <libpq-fe.h>

#include <array>
#include <atomic>
#include <charconv>
#include <cstdlib>
#include <deque>

#include "database.hpp"
#include "postgres_schema.hpp"

namespace trimwright {
namespace {

struct Freed {
  void operator()(PGresult* result) const { PQclear(result); }
  void operator()(PGconn* connection) const { PQfinish(connection); }
  void operator()(PQconninfoOption* options) const { PQconninfoFree(options); }
};
using Answer = std::unique_ptr<PGresult, Freed>;

/// libpq's messages end their lines; a message here is one line.
std::string one_sentence(std::string_view text) {
  std::string line(text.substr(0, text.find_last_not_of(" \n") + 1));
  for (char& c : line)
    if (c == '\n') c = ' ';
  return line;
}

/// The archive's name without a password.
std::string shown_name(const std::string& url) {
  const std::unique_ptr<PQconninfoOption, Freed> options(PQconninfoParse(url.c_str(), nullptr));
  std::array<std::string, 3> parts;  // host, port, database
  for (const auto* one = options.get(); one != nullptr && one->keyword != nullptr; ++one)
    for (std::size_t i = 0; i < parts.size(); ++i)
      if (one->val != nullptr && std::string_view(one->keyword) == std::array{"host", "port", "dbname"}[i])
        parts[i] = one->val;
  return "postgresql://" + parts[0] + (parts[1].empty() ? "" : ":" + parts[1]) + "/" + parts[2];
}

struct PostgresWords {
  const char* state;  ///< how the SQLSTATE begins
  const char* what;
  const char* expected;
};
constexpr PostgresWords postgres_words[] = {
    {"23505", "another process files the same in this moment", "the same command again"},
    {"42501", "this user may not do that in the archive",
     "a user to whom the role trimwright_station is granted"},
    {"55P03", "another process keeps the archive busy", "the same command a little later"},
    {"40", "another process keeps the archive busy", "the same command a little later"},
    {"53100", "the server's disk is full: nothing was filed", "room on it, then the same command again"},
    {"57P", "the server is going down: nothing was filed", "the same command a little later"},
    {"42P01", "this database holds no archive", "one that trimwright record setup made"},
    {"3F000", "this database holds no archive", "one that trimwright record setup made"},
    {"XX001", "the archive's storage is damaged", "a backup of it"},
    {"XX002", "the archive's storage is damaged", "a backup of it"},
    {"", "the archive failed", ""}};

[[noreturn]] void fail_with(PGconn* connection, const PGresult* answer, const std::string& name) {
  const char* state = answer == nullptr ? nullptr : PQresultErrorField(answer, PG_DIAG_SQLSTATE);
  const std::string_view code = state == nullptr ? "" : state;
  std::string_view detail = answer == nullptr ? "" : PQresultErrorMessage(answer);
  if (detail.empty()) detail = PQerrorMessage(connection);
  if (PQstatus(connection) == CONNECTION_BAD)
    throw DatabaseFailure{{"the server cannot be reached, or went away (" + one_sentence(detail) + ")",
                           "a server that answers, and a user and password that it knows",
                           {name, 0, {}}}};
  const auto* one = postgres_words;
  while (!code.starts_with(one->state)) ++one;
  throw DatabaseFailure{
      {std::string(one->what) + " (" + one_sentence(detail) + ")", one->expected, {name, 0, {}}},
      code == "23505"};
}

class PostgresStatement final : public Statement {
 public:
  PostgresStatement(PGconn* connection, const std::string& name, std::string_view sql)
      : connection_(connection), name_(name), sql_(sql) {
    for (char& c : sql_)
      if (c == '?') c = '$';
  }
  ~PostgresStatement() override {
    end();
    if (!prepared_.empty()) PQclear(PQexec(connection_, ("DEALLOCATE " + prepared_).c_str()));
  }
  PostgresStatement(const PostgresStatement&) = delete;
  PostgresStatement& operator=(const PostgresStatement&) = delete;

  void bind(int at, std::string_view text) override { put(at, std::string(text)); }
  void bind(int at, std::int64_t number) override { put(at, std::to_string(number)); }
  void bind(int at, double number) override { put(at, fmt::format("{}", number)); }
  void bind(int at, const Digest& digest) override { put(at, "\\x" + hex(digest)); }
  void bind_null(int at) override { put(at, std::nullopt); }

  bool step() override {
    if (!asked_) ask();
    while (true) {
      answer_.reset(PQgetResult(connection_));
      if (answer_ == nullptr) return asked_ = false;
      const auto status = PQresultStatus(answer_.get());
      if (status == PGRES_SINGLE_TUPLE) return true;
      if (status == PGRES_TUPLES_OK || status == PGRES_COMMAND_OK) continue;
      const Answer failed = std::move(answer_);
      end();
      fail_with(connection_, failed.get(), name_);
    }
  }
  void reset() override { end(); }

  [[nodiscard]] std::string_view view(int column) const override {
    return {PQgetvalue(answer_.get(), 0, column),
            static_cast<std::size_t>(PQgetlength(answer_.get(), 0, column))};
  }
  [[nodiscard]] std::int64_t integer(int column) const override {
    std::int64_t number = 0;
    const auto text = view(column);
    std::from_chars(text.data(), text.data() + text.size(), number);
    return number;
  }
  [[nodiscard]] double real(int column) const override {
    return std::strtod(PQgetvalue(answer_.get(), 0, column), nullptr);
  }
  [[nodiscard]] bool is_null(int column) const override { return PQgetisnull(answer_.get(), 0, column) != 0; }
  [[nodiscard]] Digest digest(int column) const override {
    const auto text = view(column);
    const auto digest = text.starts_with("\\x") ? digest_from_hex(text.substr(2)) : std::nullopt;
    return digest ? *digest : sha256(text);
  }

 private:
  void put(int at, std::optional<std::string> value) {
    if (static_cast<std::size_t>(at) > values_.size()) values_.resize(static_cast<std::size_t>(at));
    values_[static_cast<std::size_t>(at) - 1] = std::move(value);
  }
  /// A statement that is asked again is prepared by the server, once.
  void ask() {
    std::vector<const char*> values;
    for (const auto& value : values_) values.push_back(value ? value->c_str() : nullptr);
    const int count = static_cast<int>(values.size());
    if (++times_asked_ == 2) {
      static std::atomic<int> names = 0;
      prepared_ = fmt::format("trimwright_{}", ++names);
      const Answer done(PQprepare(connection_, prepared_.c_str(), sql_.c_str(), count, nullptr));
      if (PQresultStatus(done.get()) != PGRES_COMMAND_OK) fail_with(connection_, done.get(), name_);
    }
    const int sent =
        prepared_.empty()
            ? PQsendQueryParams(connection_, sql_.c_str(), count, nullptr, values.data(), nullptr, nullptr, 0)
            : PQsendQueryPrepared(connection_, prepared_.c_str(), count, values.data(), nullptr, nullptr, 0);
    if (sent != 1) fail_with(connection_, nullptr, name_);
    PQsetSingleRowMode(connection_);
    asked_ = true;
  }
  /// The rows that are left are passed over; many of them are asked not to be sent.
  void end() {
    for (int passed = 0; asked_; ++passed) {
      answer_.reset(PQgetResult(connection_));
      asked_ = answer_ != nullptr;
      if (passed != 100) continue;
      PGcancel* cancel = PQgetCancel(connection_);
      std::array<char, 256> why{};
      if (cancel != nullptr) PQcancel(cancel, why.data(), static_cast<int>(why.size()));
      PQfreeCancel(cancel);
    }
  }

  PGconn* connection_;
  const std::string& name_;
  std::string sql_;
  std::vector<std::optional<std::string>> values_;
  Answer answer_;
  bool asked_ = false;
  int times_asked_ = 0;
  std::string prepared_;  ///< its name on the server
};

class PostgresDatabase final : public Database {
 public:
  explicit PostgresDatabase(const std::string& url) {
    name_ = shown_name(url);
    const std::array keywords{"connect_timeout", "application_name", "dbname", "client_encoding",
                              static_cast<const char*>(nullptr)};
    const std::array values{"10", "trimwright", url.c_str(), "UTF8", static_cast<const char*>(nullptr)};
    connection_.reset(PQconnectdbParams(keywords.data(), values.data(), 1));
    if (PQstatus(connection_.get()) != CONNECTION_OK) fail_with(connection_.get(), nullptr, name_);
    PQsetNoticeProcessor(
        connection_.get(), [](void*, const char*) {}, nullptr);
    // Compiling a query or starting processes for it takes the server longer than finding a few records.
    run("SET search_path = trimwright; SET synchronous_commit = on; SET lock_timeout = '20s'; "
        "SET extra_float_digits = 1; SET bytea_output = hex; SET jit = off; "
        "SET max_parallel_workers_per_gather = 0");
  }

  std::unique_ptr<Statement> prepare(std::string_view sql) override {
    return std::make_unique<PostgresStatement>(connection_.get(), name_, sql);
  }
  void run(const std::string& sql) override {
    const Answer answer(PQexec(connection_.get(), sql.c_str()));
    const auto status = PQresultStatus(answer.get());
    if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK)
      fail_with(connection_.get(), answer.get(), name_);
  }
  void begin_reading() override { run("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"); }
  void begin_writing(const std::set<std::string>& stations) override {
    run("BEGIN ISOLATION LEVEL READ COMMITTED");
    for (const auto& station : stations) {
      const auto lock = prepare("SELECT pg_advisory_xact_lock(hashtextextended(?1, 0))");
      lock->bind(1, std::string_view(station));
      lock->step();
    }
  }
  void commit() override {
    try {
      run("COMMIT");
    } catch (DatabaseFailure& failure) {
      if (PQstatus(connection_.get()) == CONNECTION_BAD) {
        failure.error.what =
            "the server went away while the record was filed, so it is not known whether it is there";
        failure.error.expected = "the same command again: what is filed already is not filed twice";
      }
      throw;
    }
  }
  void roll_back() noexcept override { PQclear(PQexec(connection_.get(), "ROLLBACK")); }
  std::unique_ptr<Database> looked_at_again() override { return nullptr; }
  std::int64_t next_number(std::int64_t) override {
    if (numbers_.empty()) reserve_numbers(1);
    const auto number = numbers_.front();
    numbers_.pop_front();
    return number;
  }
  void reserve_numbers(std::size_t count) override {
    numbers_.clear();
    const auto next = prepare("SELECT nextval('record_number') FROM generate_series(1, ?1)");
    next->bind(1, static_cast<std::int64_t>(count));
    while (next->step()) numbers_.push_back(next->integer(0));
  }
  [[nodiscard]] bool refuses_twice() const override { return true; }
  [[nodiscard]] bool chain_per_station() const override { return true; }
  [[nodiscard]] const char* serial_column() const override { return "lower(serial)"; }
  void settle_tree() override {
    Transaction transaction(*this, {"the tree of all records"});
    run("INSERT INTO leaf SELECT (SELECT coalesce(max(place), 0) FROM leaf) + "
        "row_number() OVER (ORDER BY number), number FROM record "
        "WHERE NOT EXISTS (SELECT FROM leaf WHERE leaf.number = record.number)");
    transaction.commit();
  }
  std::vector<std::string> storage_faults() override {
    std::vector<std::string> faults;
    const auto orphans = prepare(
        "SELECT number FROM leaf WHERE NOT EXISTS "
        "(SELECT FROM record WHERE record.number = leaf.number) LIMIT 20");
    while (orphans->step()) faults.push_back("record " + orphans->text(0) + " was removed");
    return faults;
  }

  void check() {
    if (setting("SHOW fsync") != "on")
      refuse("this server does not force records to its disk (fsync is off)", "a server with fsync = on");
    Schema found;
    const auto all = prepare(postgres_schema_now);
    while (all->step()) found.emplace(all->text(0), all->text(1));
    if (found.empty())
      refuse("this database holds no archive, or this user may not see it",
             "one that trimwright record setup made, and a user to whom trimwright_station is granted");
    compare_schema(postgres_schema_expected(), found);
  }
  void set_up() {
    run("BEGIN");
    try {
      if (setting("SELECT count(*) FROM pg_namespace WHERE nspname = 'trimwright'") != "0")
        refuse("this database holds an archive already", "a database without one");
      run(postgres_schema);
      run("COMMIT");
    } catch (const DatabaseFailure&) {
      roll_back();
      throw;
    }
  }

 private:
  [[nodiscard]] std::string setting(const char* sql) {
    const auto asked = prepare(sql);
    asked->step();
    return asked->text(0);
  }

  std::unique_ptr<PGconn, Freed> connection_;
  std::deque<std::int64_t> numbers_;  ///< reserved
};

}  // namespace

bool is_postgres(std::string_view name) {
  return name.starts_with("postgresql://") || name.starts_with("postgres://");
}

std::unique_ptr<Database> open_postgres(const std::string& url) {
  auto database = std::make_unique<PostgresDatabase>(url);
  database->check();
  return database;
}

void set_up_postgres(const std::string& url) { PostgresDatabase(url).set_up(); }

}  // namespace trimwright
