#include <fmt/format.h>

#include <deque>
#include <variant>

#include "archive_state.hpp"
#include "base/text.hpp"
#include "refusals.hpp"

namespace trimwright {

std::string stored_columns(const Database& database) {
  return std::string(
             "number, previous, digest, inputs, rotor, serial, station, date, person, verdict, level, "
             "filed_at, filed_by, software, corrects, reason, content") +
         (database.version() > 1 ? ", origin" : "");
}

void read_stored(const Database& database, const Statement& row, StoredRecord& one) {
  one.number = row.integer(0);
  one.previous = row.digest(1);
  one.digest = row.digest(2);
  Record& record = one.record;
  record.inputs = row.digest(3);
  int at = 4;
  for (auto* text :
       {&record.rotor, &record.serial, &record.station, &record.date, &record.person, &record.verdict})
    text->assign(row.view(at++));
  record.level = row.real(at++);
  for (auto* text : {&record.filed_at, &record.filed_by, &record.software}) text->assign(row.view(at++));
  record.corrects = row.is_null(at) ? std::nullopt : std::optional(row.integer(at));
  record.reason.assign(row.view(at + 1));
  record.content.assign(row.view(at + 2));
  record.origin =
      database.version() == 1 || row.is_null(at + 3) ? std::nullopt : std::optional(row.digest(at + 3));
  one.corrected_by.reset();
  one.corrected_serial.clear();
  one.rule = database.version();
  one.holds =
      digest_of(one.number, one.previous, record, one.rule) == one.digest && record.corrects.value_or(1) > 0;
}

std::optional<StoredRecord> last_record(Database& database, const std::string& station) {
  const auto last = database.prepare(fmt::format("SELECT {} FROM record {} ORDER BY number DESC LIMIT 1",
                                                 stored_columns(database),
                                                 database.chain_per_station() ? "WHERE station = ?1" : ""));
  if (database.chain_per_station()) last->bind(1, std::string_view(station));
  StoredRecord one;
  if (!last->step()) return std::nullopt;
  read_stored(database, *last, one);
  return one;
}

namespace {

/// Conditions on records, and the values they are asked with.
class Conditions {
 public:
  Conditions(const RecordQuery& query, const char* serial) {
    if (!query.serial.empty()) add(std::string(serial) + " = {0}", lower_case(query.serial));
    part("lower(serial) LIKE {0} ESCAPE '!'", query.part_of_serial);
    part("lower(rotor) LIKE {0} ESCAPE '!'", query.rotor);
    part("lower(station) LIKE {0} ESCAPE '!'", query.station);
    part("(lower(person) LIKE {0} ESCAPE '!' OR lower(filed_by) LIKE {0} ESCAPE '!')", query.person);
    if (!query.verdict.empty()) add("verdict = {0}", query.verdict);
    if (!query.from.empty()) add("date >= {0}", query.from);
    if (!query.to.empty()) add("date <= {0}", query.to);
    if (query.level_above) add("level > {0}", *query.level_above);
    if (query.level_below) add("level < {0}", *query.level_below);
  }
  [[nodiscard]] const std::string& where() const { return where_; }
  void bind_to(Statement& statement) const {
    for (std::size_t i = 0; i < values_.size(); ++i)
      std::visit([&](const auto& value) { bind(statement, static_cast<int>(i) + 1, value); }, values_[i]);
  }

 private:
  static void bind(Statement& statement, int at, const std::string& text) {
    statement.bind(at, std::string_view(text));
  }
  static void bind(Statement& statement, int at, double number) { statement.bind(at, number); }
  void add(const std::string& condition, std::variant<std::string, double> value) {
    values_.push_back(std::move(value));
    where_ += (where_.empty() ? " WHERE " : " AND ") +
              fmt::format(fmt::runtime(condition), fmt::format("?{}", values_.size()));
  }
  void part(const char* condition, const std::string& term) {
    if (term.empty()) return;
    std::string pattern = "%";
    for (const char c : lower_case(term))
      pattern += c == '%' || c == '_' || c == '!' ? std::string("!") + c : std::string(1, c);
    add(condition, pattern + "%");
  }

  std::string where_;
  std::vector<std::variant<std::string, double>> values_;
};

}  // namespace

Result<void> Archive::each(const RecordQuery& query, const Take& take) const {
  return caught([&]() -> Result<void> {
    Database& database = *state_->database;
    const Conditions asked(query, database.serial_column());
    const bool all = query.most == RecordQuery{}.most;  // then nothing is gathered before the first is told
    const auto which =
        all || query.also
            ? asked.where()
            : fmt::format(" WHERE number IN (SELECT number FROM record{} ORDER BY number DESC LIMIT {})",
                          asked.where(), query.most);
    constexpr const char* by =
        "(SELECT c.{} FROM record c WHERE c.corrects = record.number "
        "ORDER BY c.number DESC LIMIT 1)";
    const auto rows = database.prepare(fmt::format(
        "SELECT {}, {} AS by_number, {} AS by_serial FROM record{} ORDER BY number", stored_columns(database),
        fmt::format(fmt::runtime(by), "number"), fmt::format(fmt::runtime(by), "serial"), which));
    const int corrected = database.version() > 1 ? 18 : 17;
    StoredRecord one;
    const auto each_row = [&](auto&& act) -> Result<void> {
      rows->reset();
      asked.bind_to(*rows);
      while (rows->step()) {
        read_stored(database, *rows, one);
        if (!rows->is_null(corrected)) one.corrected_by = rows->integer(corrected);
        one.corrected_serial = rows->is_null(corrected + 1) ? "" : rows->text(corrected + 1);
        if (query.also && !query.also(one)) continue;
        if (auto done = act(); !done) return done;
      }
      return {};
    };
    std::deque<std::int64_t> latest;
    if (query.also && !all)
      if (auto gathered = each_row([&]() -> Result<void> {
            latest.push_back(one.number);
            if (std::ssize(latest) > query.most) latest.pop_front();
            return {};
          });
          !gathered)
        return gathered;
    return each_row([&]() -> Result<void> {
      return !latest.empty() && one.number < latest.front() ? Result<void>{} : take(one);
    });
  });
}

Result<std::vector<StoredRecord>> Archive::find(const RecordQuery& query) const {
  std::vector<StoredRecord> found;
  const auto all = each(query, [&](StoredRecord& one) -> Result<void> {
    one.record.content.clear();
    found.push_back(one);
    return {};
  });
  if (!all) return tl::unexpected(all.error());
  return found;
}

Result<std::vector<std::string>> Archive::serials_alike(const std::string& serial) const {
  return caught([&]() -> Result<std::vector<std::string>> {
    constexpr std::string_view passed_over = " -./_";
    std::string bare = lower_case(serial), column = "lower(serial)";
    std::erase_if(bare, [&](char c) { return passed_over.find(c) != std::string_view::npos; });
    for (const char c : passed_over) column = fmt::format("replace({}, '{}', '')", column, c);
    const auto rows = state_->database->prepare("SELECT DISTINCT serial FROM record WHERE " + column +
                                                " = ?1 AND lower(serial) <> ?2 ORDER BY serial LIMIT 20");
    const std::string small = lower_case(serial);
    rows->bind(1, std::string_view(bare));
    rows->bind(2, std::string_view(small));
    std::vector<std::string> serials;
    while (rows->step()) serials.push_back(rows->text(0));
    return serials;
  });
}

Result<std::vector<std::string>> Archive::serials_with(const std::string& part) const {
  return caught([&]() -> Result<std::vector<std::string>> {
    RecordQuery query;
    query.part_of_serial = part;
    const Conditions asked(query, state_->database->serial_column());
    const auto rows = state_->database->prepare("SELECT DISTINCT serial FROM record" + asked.where() +
                                                " ORDER BY serial LIMIT 20");
    asked.bind_to(*rows);
    std::vector<std::string> serials;
    while (rows->step()) serials.push_back(rows->text(0));
    return serials;
  });
}

Result<StoredRecord> Archive::read(std::int64_t number) const {
  auto one = read_as_it_stands(number);
  if (!one || one->holds) return one;
  return tl::unexpected(not_as_filed(number, state_->database->name()));
}

Result<StoredRecord> Archive::read_as_it_stands(std::int64_t number) const {
  return caught([&]() -> Result<StoredRecord> {
    Database& database = *state_->database;
    const auto row =
        database.prepare(fmt::format("SELECT {} FROM record WHERE number = ?1", stored_columns(database)));
    row->bind(1, number);
    if (!row->step()) {
      row->reset();
      const auto last = database.prepare("SELECT max(number) FROM record");
      const bool any = last->step() && !last->is_null(0);
      database.refuse(fmt::format("there is no record {}", number),
                      any ? fmt::format("1 to {}", last->integer(0)) : "an archive with records");
    }
    StoredRecord one;
    read_stored(database, *row, one);
    row->reset();
    one.corrected_by = Filing(database).correction_of(number);
    if (!one.corrected_by) return one;
    const auto by = database.prepare("SELECT serial FROM record WHERE number = ?1");
    by->bind(1, *one.corrected_by);
    if (by->step()) one.corrected_serial = by->text(0);
    return one;
  });
}

}  // namespace trimwright
