#include <fmt/format.h>

#include "archive_state.hpp"
#include "base/text.hpp"
#include "refusals.hpp"

namespace trimwright {

Filing::Filing(Database& database, bool tell)
    : database_(database),
      tell_(tell),
      same_(database.prepare("SELECT number FROM record WHERE inputs = ?1 ORDER BY number")),
      correction_(database.prepare("SELECT max(number) FROM record WHERE corrects = ?1")) {
  const bool origin = database.version() > 1;
  insert_ =
      database.prepare(fmt::format("INSERT INTO record ({}) VALUES "
                                   "(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,?17{})",
                                   stored_columns(database), origin ? ",?18" : ""));
  if (origin) sent_ = database.prepare("SELECT number FROM record WHERE origin = ?1");
}

Placed Filing::append(const Record& record) {
  check_correction(record);
  check_not_filed_yet(record);
  auto& [number, digest] = end_of_chain(record.station);
  Placed place{database_.next_number(number), digest, {}};
  place.digest = digest_of(place.number, place.previous, record, database_.version());
  insert(place, record);
  number = place.number;
  digest = place.digest;
  return place;
}

std::optional<std::int64_t> Filing::first_of(Statement& statement) {
  const bool found = statement.step() && !statement.is_null(0);
  const auto number = found ? std::optional(statement.integer(0)) : std::nullopt;
  statement.reset();
  return number;
}

std::optional<std::int64_t> Filing::correction_of(std::int64_t number) {
  correction_->bind(1, number);
  return first_of(*correction_);
}

std::optional<std::int64_t> Filing::sent_as(const Digest& origin) {
  if (!sent_) return std::nullopt;
  sent_->bind(1, origin);
  return first_of(*sent_);
}

/// A correction may have the readings of what it corrects, and of what that corrected.
std::optional<std::int64_t> Filing::same_as(const Record& record) {
  std::set<std::int64_t> corrected;
  for (auto at = record.corrects; at && corrected.insert(*at).second;) {
    const auto before = database_.prepare("SELECT corrects FROM record WHERE number = ?1");
    before->bind(1, *at);
    at = first_of(*before);
  }
  std::optional<std::int64_t> same;
  same_->bind(1, record.inputs);
  while (!same && same_->step())
    if (!corrected.contains(same_->integer(0))) same = same_->integer(0);
  same_->reset();
  return same;
}

void Filing::check_not_filed_yet(const Record& record) {
  if (!tell_ && !record.corrects && database_.refuses_twice()) return;
  if (const auto same = same_as(record)) {
    const Error error = trim_filed_already(*same);
    database_.refuse(error.what, error.expected);
  }
}

void Filing::check_correction(const Record& record) {
  if (!record.corrects) return;
  const auto corrected = database_.prepare("SELECT serial FROM record WHERE number = ?1");
  corrected->bind(1, *record.corrects);
  if (!corrected->step())
    database_.refuse(fmt::format("there is no record {} to correct", *record.corrects),
                     "the number of a record");
  const std::string serial = corrected->text(0);
  corrected->reset();
  const bool said = !record.wrong_serial.empty() && lower_case(record.wrong_serial) == lower_case(serial);
  if (serial != record.serial && !said && !record.origin)  // what is sent was asked where it was filed
    database_.refuse(
        fmt::format("record {} is of serial \"{}\", not \"{}\"", *record.corrects, serial, record.serial),
        fmt::format("a record of the same rotor, or --wrong-serial \"{}\" where that is what was wrong",
                    serial));
  if (const auto by = correction_of(*record.corrects))
    database_.refuse(fmt::format("record {} is corrected already, by record {}", *record.corrects, *by),
                     fmt::format("--corrects with the latest, {} or one that corrects it", *by));
}

void Filing::insert(const Placed& one, const Record& record) {
  insert_->bind(1, one.number);
  insert_->bind(2, one.previous);
  insert_->bind(3, one.digest);
  insert_->bind(4, record.inputs);
  int at = 5;
  for (const auto* text :
       {&record.rotor, &record.serial, &record.station, &record.date, &record.person, &record.verdict})
    insert_->bind(at++, std::string_view(*text));
  insert_->bind(at++, record.level);
  for (const auto* text : {&record.filed_at, &record.filed_by, &record.software})
    insert_->bind(at++, std::string_view(*text));
  record.corrects ? insert_->bind(at++, *record.corrects) : insert_->bind_null(at++);
  insert_->bind(at++, std::string_view(record.reason));
  insert_->bind(at++, std::string_view(record.content));
  if (database_.version() > 1) record.origin ? insert_->bind(at, *record.origin) : insert_->bind_null(at);
  insert_->step();
  insert_->reset();
}

/// Nothing is filed after a record that is not as it was filed.
std::pair<std::int64_t, Digest>& Filing::end_of_chain(const std::string& station) {
  const std::string chain = database_.chain_per_station() ? station : std::string{};
  const auto [end, is_new] = ends_.try_emplace(chain);
  if (!is_new) return end->second;
  if (const auto last = last_record(database_, chain)) {
    if (!last->holds)
      database_.refuse(
          fmt::format("record {}, the last, is not as it was filed: nothing was filed", last->number),
          "a backup (trimwright record prove tells what else is changed)");
    end->second = {last->number, last->digest};
  }
  return end->second;
}

}  // namespace trimwright
