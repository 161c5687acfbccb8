#include <fmt/format.h>

#include <algorithm>

#include "archive_state.hpp"

namespace trimwright {
namespace {

/// Columns of a stored record in the order that `stored` reads them.
constexpr const char* columns =
    "number, previous, digest, inputs, rotor, serial, station, date, person, verdict, level, filed_at, "
    "filed_by, "
    "software, corrects, reason, content";

/// Into a record that may have held another.
void read_stored(const Statement& row, StoredRecord& one) {
  one.number = row.integer(0);
  one.previous = row.digest(1);
  one.digest = row.digest(2);
  Record& record = one.record;
  record.inputs = row.digest(3);
  int at = 4;
  for (auto* text :
       {&record.rotor, &record.serial, &record.station, &record.date, &record.person, &record.verdict})
    row.text(at++, *text);
  record.level = row.real(at++);
  for (auto* text : {&record.filed_at, &record.filed_by, &record.software}) row.text(at++, *text);
  record.corrects = row.is_null(at) ? std::nullopt : std::optional(row.integer(at));
  row.text(at + 1, record.reason);
  row.text(at + 2, record.content);
}

StoredRecord stored(const Statement& row) {
  StoredRecord one;
  read_stored(row, one);
  return one;
}

}  // namespace

Result<std::vector<StoredRecord>> Archive::find(const RecordQuery& query) const {
  std::string where;
  std::vector<std::pair<const std::string*, std::optional<double>>> values;
  const auto ask = [&](const std::string& term, const char* condition) {
    if (term.empty()) return;
    where += (where.empty() ? " WHERE " : " AND ") + fmt::format(fmt::runtime(condition), values.size() + 1);
    values.emplace_back(&term, std::nullopt);
  };
  const auto compare = [&](const std::optional<double>& bound, const char* condition) {
    if (!bound) return;
    where += (where.empty() ? " WHERE " : " AND ") + fmt::format(fmt::runtime(condition), values.size() + 1);
    values.emplace_back(nullptr, bound);
  };
  ask(query.serial, "serial = ?{0}");
  ask(query.rotor, "instr(lower(rotor), lower(?{0})) > 0");
  ask(query.station, "instr(lower(station), lower(?{0})) > 0");
  ask(query.person, "(instr(lower(person), lower(?{0})) > 0 OR instr(lower(filed_by), lower(?{0})) > 0)");
  ask(query.verdict, "verdict = ?{0}");
  ask(query.from, "date >= ?{0}");
  ask(query.to, "date <= ?{0}");
  compare(query.level_above, "level > ?{0}");
  compare(query.level_below, "level < ?{0}");
  const std::string sql =
      "SELECT number, previous, digest, inputs, rotor, serial, station, date, person, verdict, level, "
      "filed_at, "
      "filed_by, software, corrects, reason, '', (SELECT max(c.number) FROM record c WHERE c.corrects = "
      "record.number) FROM record" +
      where + fmt::format(" ORDER BY number DESC LIMIT {}", query.most);
  try {
    Statement statement(state_->database, sql);
    for (std::size_t i = 0; i < values.size(); ++i) {
      const int at = static_cast<int>(i) + 1;
      if (values[i].first != nullptr) {
        statement.bind(at, std::string_view(*values[i].first));
      } else {
        statement.bind(at, *values[i].second);
      }
    }
    std::vector<StoredRecord> found;
    while (statement.step()) {
      found.push_back(stored(statement));
      if (!statement.is_null(17)) found.back().corrected_by = statement.integer(17);
    }
    std::reverse(found.begin(), found.end());
    return found;
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

Result<StoredRecord> Archive::read(std::int64_t number) const {
  try {
    Statement statement(state_->database, fmt::format("SELECT {} FROM record WHERE number = ?", columns));
    statement.bind(1, number);
    if (!statement.step())
      refuse(state_->database, fmt::format("there is no record {}", number),
             fmt::format("1 to {}", last_record(state_->database).first));
    auto one = stored(statement);
    if (digest_of(one.number, one.previous, one.record) != one.digest)
      refuse(state_->database,
             fmt::format("record {} is not as it was filed: its digest does not fit", number),
             "a backup (trimwright record prove tells what else is changed)");
    Statement later(state_->database, "SELECT max(number) FROM record WHERE corrects = ?");
    later.bind(1, number);
    if (later.step() && !later.is_null(0)) one.corrected_by = later.integer(0);
    return one;
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

namespace {

/// What SQLite itself finds wrong with its file.
void check_structure(Database& database, Proof& proof) {
  Statement check(database, "PRAGMA integrity_check(20)");
  while (check.step())
    if (const auto found = check.text(0); found != "ok")
      proof.faults.push_back({0, "the file is damaged: " + found});
}

void check_chain(Database& database, const std::optional<Digest>& expected, Proof& proof) {
  Statement all(database, fmt::format("SELECT {} FROM record NOT INDEXED ORDER BY number", columns));
  StoredRecord one;
  while (all.step()) {
    read_stored(all, one);
    ++proof.records;
    proof.bytes += one.record.content.size();
    if (one.number != proof.records) {
      proof.faults.push_back({one.number, fmt::format("stands where record {} should", proof.records)});
      proof.records = one.number;
    }
    if (one.previous != proof.head)
      proof.faults.push_back(
          {one.number, "does not follow the record before it: one of the two was changed or put in"});
    if (digest_of(one.number, one.previous, one.record) != one.digest)
      proof.faults.push_back({one.number, "is not as it was filed: its digest does not fit"});
    proof.head = one.digest;
    if (expected && one.digest == *expected) proof.expected_at = one.number;
  }
}

}  // namespace

Result<Proof> Archive::prove(const std::optional<Digest>& expected) const {
  Proof proof;
  try {
    state_->database.run("BEGIN");  // one state of the archive, whoever files meanwhile
    check_chain(state_->database, expected, proof);
    check_structure(state_->database, proof);
    state_->database.run("COMMIT");
  } catch (const DatabaseFailure& failure) {
    sqlite3_exec(state_->database.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
    proof.faults.push_back({proof.records + 1, "cannot be read: " + failure.error.what});
  }
  if (expected && !proof.expected_at)
    proof.faults.push_back({0,
                            "no record has the expected digest: records were cut off the end, or made anew "
                            "from some record on"});
  return proof;
}

}  // namespace trimwright
