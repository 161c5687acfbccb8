#include "scratch_folder.hpp"
#include "some.hpp"
#include "trimwright/records.hpp"

#include <doctest/doctest.h>
#include <sqlite3.h>

#include <filesystem>
#include <fstream>
#include <string>

using namespace trimwright;
namespace fs = std::filesystem;

namespace {

Record record_of(int i, const std::string& serial = "LKM-1") {
  Record record;
  record.rotor = "Larkmere demonstrator fan";
  record.serial = serial;
  record.station = "Quillhaven";
  record.date = "2031-05-" + std::to_string(10 + i);
  record.person = "R. Orrin";
  record.verdict = i % 2 == 0 ? "accepted" : "not_accepted";
  record.level = 0.1 * i;
  record.filed_at = "2031-06-01T10:00:00Z";
  record.filed_by = "L. Marsh";
  record.software = "trimwright test";
  record.content = "{\"i\":" + std::to_string(i) + "}";
  record.inputs = sha256(serial + record.content);
  return record;
}

Archive opened(const std::string& path) {
  auto archive = Archive::open(path, Archive::Opening::create_if_missing);
  REQUIRE(archive);
  return *std::move(archive);
}

/// Runs SQL as someone with another program would; gives SQLite's message, or nothing.
std::string by_hand(const std::string& path, const std::string& sql) {
  sqlite3* db = nullptr;
  REQUIRE(sqlite3_open(path.c_str(), &db) == SQLITE_OK);
  char* message = nullptr;
  sqlite3_exec(db, sql.c_str(), nullptr, nullptr, &message);
  const std::string text = message == nullptr ? "" : message;
  sqlite3_free(message);
  sqlite3_close(db);
  return text;
}

}  // namespace

TEST_CASE("What is filed is found and read again, record after record in one chain") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  Digest last{};
  for (int i = 0; i < 5; ++i) {
    const auto filed = archive.file(record_of(i, i < 3 ? "LKM-1" : "LKM-2"));
    REQUIRE(filed);
    CHECK(filed->number == i + 1);
    CHECK(filed->previous == last);
    last = filed->digest;
  }
  RecordQuery query;
  query.serial = "lkm-1";
  CHECK(archive.find(query)->size() == 3);
  query.verdict = "not_accepted";
  CHECK(archive.find(query)->size() == 1);
  RecordQuery by_level;
  by_level.level_above = 0.25;
  by_level.to = "2031-05-13";
  const auto found = archive.find(by_level);
  REQUIRE(found);
  REQUIRE(found->size() == 1);
  CHECK(archive.read(found->front().number)->record.content == "{\"i\":3}");
  const auto proof = archive.prove(last);
  REQUIRE(proof);
  CHECK(proof->whole());
  CHECK(proof->expected_at == 5);
  CHECK_FALSE(archive.read(6));
}

TEST_CASE("Search terms are taken literally, whatever they hold") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  Record odd = record_of(0);
  odd.person = "O'Hara \"50% _x*\"";
  REQUIRE(archive.file(odd));
  REQUIRE(archive.file(record_of(1)));
  for (const char* term : {"o'hara", "50%", "_x*", "\"50"}) {
    RecordQuery query;
    query.person = term;
    CHECK(archive.find(query)->size() == 1);
  }
  for (const char* term : {"%", "O%a", "'; DROP TABLE record; --", "_x_"}) {
    RecordQuery query;
    query.person = term;
    CHECK(archive.find(query)->size() == (std::string(term) == "%" ? 1u : 0u));
  }
}

TEST_CASE("A job filed twice is recognised; a correction points at the old record and gives a reason") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  REQUIRE(archive.file(record_of(0)));
  CHECK_FALSE(archive.file(record_of(0)));
  Record correction = record_of(0);
  correction.corrects = 1;
  CHECK_FALSE(archive.file(correction));
  correction.reason = "wrong station";
  REQUIRE(archive.file(correction));
  CHECK(archive.read(1)->corrected_by == 2);
  const auto twice = archive.file(correction);
  REQUIRE_FALSE(twice);
  CHECK(twice.error().what.find("corrected already, by record 2") != std::string::npos);
  correction.corrects = 7;
  CHECK_FALSE(archive.file(correction));
  Record of_another = record_of(1);
  REQUIRE(archive.file(of_another));
  of_another.corrects = 2;
  of_another.reason = "the readings of record 3";
  CHECK_FALSE(archive.file(of_another));
  Record other = record_of(1, "LKM-9");
  other.corrects = 1;
  other.reason = "x";
  CHECK_FALSE(archive.file(other));
  CHECK(archive.prove()->records == 3);
}

TEST_CASE("Names that cannot be trusted on paper are refused") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  for (const std::string& bad :
       {std::string(1 << 20, 'x'), std::string("LKM\x1b[31m"), std::string("LKM\n1"),
        std::string("LKM\xE2\x80\xAE"
                    "714"),
        std::string("LKM\xE2\x80\x8B"), std::string(" LKM"), std::string("LKM\xff"), std::string()}) {
    const auto filed = archive.file(record_of(0, bad));
    REQUIRE_FALSE(filed);
    CHECK(filed.error().message().size() < 400);
  }
  CHECK(archive.file(record_of(0, "Ø-417 \xE5\xAF\xB8")));
}

TEST_CASE("Many records are filed all or none") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  std::vector<Record> records{record_of(0), record_of(1), record_of(0)};
  CHECK_FALSE(archive.file_all(records));
  CHECK(archive.prove()->records == 0);
  records.pop_back();
  CHECK(archive.file_all(records).value() == 2);
  CHECK(archive.prove()->whole());
}

TEST_CASE("Other programs cannot change, remove or misplace a record as long as the triggers stand") {
  const testing::ScratchFolder folder;
  const auto path = folder.path("a.db");
  Archive archive = opened(path);
  for (int i = 0; i < 3; ++i) REQUIRE(archive.file(record_of(i)));
  CHECK_FALSE(by_hand(path, "UPDATE record SET level = 0").empty());
  CHECK_FALSE(by_hand(path, "DELETE FROM record WHERE number = 3").empty());
  CHECK_FALSE(by_hand(path, "INSERT OR REPLACE INTO record SELECT * FROM record WHERE number = 2").empty());
  CHECK_FALSE(by_hand(path,
                      "INSERT INTO record SELECT 9, previous, digest, inputs, rotor, serial, station, date, "
                      "person, verdict, level, filed_at, filed_by, software, corrects, reason, content, NULL "
                      "FROM record WHERE number = 2")
                  .empty());
  CHECK(archive.prove()->whole());
}

TEST_CASE("A record changed, taken out, put in or cut off the end is found and named") {
  const testing::ScratchFolder folder;
  const std::string drop = "DROP TRIGGER record_is_never_changed; DROP TRIGGER record_is_never_removed; ";
  const std::string restore =
      "; CREATE TRIGGER record_is_never_changed BEFORE UPDATE ON record\n"
      "  BEGIN SELECT RAISE(ABORT, 'a record is never changed: file a correction'); END;"
      "CREATE TRIGGER record_is_never_removed BEFORE DELETE ON record\n"
      "  BEGIN SELECT RAISE(ABORT, 'a record is never removed: file a correction'); END;";
  struct Case {
    const char* sql;
    std::int64_t number;
  };
  for (const auto& [sql, number] : {Case{"UPDATE record SET level = 0.05 WHERE number = 3", 3},
                                    Case{"UPDATE record SET corrects = 1 WHERE number = 2", 2},
                                    Case{"UPDATE record SET content = content || ' ' WHERE number = 1", 1},
                                    Case{"UPDATE record SET serial = 'LKM-2' WHERE number = 4", 4},
                                    Case{"UPDATE record SET digest = zeroblob(32) WHERE number = 2", 2},
                                    Case{"UPDATE record SET corrects = 0 WHERE number = 2", 2},
                                    Case{"UPDATE record SET previous = x'00' WHERE number = 1", 1},
                                    Case{"UPDATE record SET previous = x'' WHERE number = 1", 1},
                                    Case{"UPDATE record SET inputs = x'00' WHERE number = 3", 3},
                                    Case{"UPDATE record SET origin = zeroblob(32) WHERE number = 3", 3},
                                    Case{"DELETE FROM record WHERE number = 2", 3}}) {
    const auto path = folder.path("changed.db");
    fs::remove(path);
    Archive archive = opened(path);
    for (int i = 0; i < 5; ++i) REQUIRE(archive.file(record_of(i)));
    REQUIRE(by_hand(path, drop + sql + restore).empty());
    const auto proof = archive.prove();
    REQUIRE(proof);
    const auto& statement = sql;
    INFO(statement);
    REQUIRE_FALSE(proof->whole());
    CHECK(proof->faults.front().number == number);
  }
  const auto path = folder.path("cut.db");
  Archive archive = opened(path);
  Digest head{};
  for (int i = 0; i < 5; ++i) head = archive.file(record_of(i))->digest;
  REQUIRE(by_hand(path, drop + "DELETE FROM record WHERE number = 5").empty());
  CHECK(archive.prove()->whole());  // a chain alone cannot know how long it was
  CHECK_FALSE(archive.prove(head)->whole());
}

TEST_CASE("Every flipped byte of the file is found, or changes no record") {
  const testing::ScratchFolder folder;
  const auto path = folder.path("a.db");
  std::vector<StoredRecord> good;
  {
    Archive archive = opened(path);
    for (int i = 0; i < 4; ++i) good.push_back(archive.file(record_of(i)).value());
  }
  std::string bytes;
  {
    std::ifstream in(path, std::ios::binary);
    bytes.assign(std::istreambuf_iterator<char>(in), {});
  }
  const auto changed = folder.path("changed.db");
  int found = 0, in_records = 0;
  const auto all_alike = [&](const Archive& archive) {
    for (const auto& one : good) {
      const auto read = archive.read(one.number);
      if (!read || digest_of(read->number, read->previous, read->record) != one.digest) return false;
    }
    return archive.find({})->size() == good.size();
  };
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    // every byte that belongs to a record's text, and one in 37 of the others
    const bool text = bytes.compare(at, 1, "\0", 1) != 0;
    if (!text && at % 37 != 0) continue;
    std::string flipped = bytes;
    flipped[at] = static_cast<char>(flipped[at] ^ (1 << (at % 8)));
    std::ofstream(changed, std::ios::binary | std::ios::trunc) << flipped;
    const auto archive = Archive::open(changed, Archive::Opening::existing);
    ++in_records;
    if (!archive || !archive->prove(good.back().digest)->whole()) {
      ++found;
      continue;
    }
    INFO(at);
    REQUIRE(all_alike(*archive));
  }
  CHECK(found > in_records / 2);
}

TEST_CASE(
    "An archive of a newer version, another database and a file that is none are refused and left alone") {
  const testing::ScratchFolder folder;
  const auto path = folder.path("a.db");
  { REQUIRE(opened(path).file(record_of(0))); }
  REQUIRE(by_hand(path, "PRAGMA user_version = 3").empty());
  for (const auto how : {Archive::Opening::existing, Archive::Opening::create_if_missing}) {
    const auto newer = Archive::open(path, how);
    REQUIRE_FALSE(newer);
    CHECK(newer.error().what.find("newer") != std::string::npos);
  }
  REQUIRE(by_hand(path, "PRAGMA user_version = 0").empty());
  const auto never = Archive::open(path, Archive::Opening::existing);
  REQUIRE_FALSE(never);
  CHECK(never.error().what.find("newer") == std::string::npos);
  REQUIRE(by_hand(folder.path("other.db"), "CREATE TABLE t (x); PRAGMA user_version = 1").empty());
  CHECK_FALSE(Archive::open(folder.path("other.db"), Archive::Opening::create_if_missing));
  std::ofstream(folder.path("text.db"))
      << "this is no database, only a text that is long enough to be looked at";
  CHECK_FALSE(Archive::open(folder.path("text.db"), Archive::Opening::create_if_missing));
  CHECK_FALSE(Archive::open(folder.path("missing.db"), Archive::Opening::existing));
  CHECK_FALSE(Archive::open(folder.path(), Archive::Opening::create_if_missing));
}

TEST_CASE("Names that SQLite keeps in memory, and what is no file, are no archives") {
  for (const char* name : {":memory:", "", "file:x.db?mode=memory", "file:x.db", "/dev/null"}) {
    INFO(name);
    CHECK_FALSE(Archive::open(name, Archive::Opening::create_if_missing));
  }
  CHECK_FALSE(fs::exists("x.db"));
}

TEST_CASE(
    "An archive that another program gave triggers, views or tables is refused, and the first is named") {
  const testing::ScratchFolder folder;
  for (const auto& [sql, named] :
       {std::pair{
            "CREATE TRIGGER t AFTER INSERT ON record BEGIN DELETE FROM record WHERE number = NEW.number; END",
            "trigger t"},
        std::pair{"CREATE TRIGGER t BEFORE INSERT ON record BEGIN SELECT RAISE(IGNORE); END", "trigger t"},
        std::pair{"CREATE TABLE notes (x)", "table notes"},
        std::pair{"CREATE VIEW v AS SELECT * FROM record", "view v"},
        std::pair{"DROP INDEX record_by_serial", "index record_by_serial"},
        std::pair{"DROP TRIGGER record_is_never_changed", "trigger record_is_never_changed"},
        std::pair{
            "ALTER TABLE record RENAME TO kept; CREATE VIEW record AS WITH RECURSIVE n(i) AS (SELECT 1 UNION "
            "ALL SELECT i + 1 FROM n) SELECT i AS number, kept.* FROM n, kept",
            "record"},
        std::pair{"DROP INDEX record_by_date; CREATE INDEX record_by_date ON record (station)",
                  "index record_by_date is not as"}}) {
    const auto path = folder.path("foreign.db");
    fs::remove(path);
    { REQUIRE(opened(path).file(record_of(0))); }
    const auto& statement = sql;
    INFO(statement);
    REQUIRE(by_hand(path, sql).empty());
    const auto archive = Archive::open(path, Archive::Opening::create_if_missing);
    REQUIRE_FALSE(archive);
    CHECK(archive.error().what.find(named) != std::string::npos);
  }
}

TEST_CASE("A record is not acknowledged when it is not in the file") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  REQUIRE(archive.file(record_of(0)));
  // Another program adds a trigger while the archive is open.
  REQUIRE(
      by_hand(folder.path("a.db"), "CREATE TRIGGER t BEFORE INSERT ON record BEGIN SELECT RAISE(IGNORE); END")
          .empty());
  CHECK_FALSE(archive.file(record_of(1)));
}

TEST_CASE("Nothing is filed after a last record that was edited, or into a file that is cut short") {
  const testing::ScratchFolder folder;
  const auto path = folder.path("a.db");
  {
    Archive archive = opened(path);
    for (int i = 0; i < 3; ++i) REQUIRE(archive.file(record_of(i)));
  }
  const auto cut = folder.path("cut.db");
  fs::copy_file(path, cut);
  fs::resize_file(cut, fs::file_size(cut) - 100);
  if (auto archive = Archive::open(cut, Archive::Opening::existing)) {
    CHECK_FALSE(archive->file(record_of(3)));
    CHECK_FALSE(archive->prove()->whole());
  }
  // Bytes of the last record changed in the file, past every trigger.
  std::string bytes;
  {
    std::ifstream in(path, std::ios::binary);
    bytes.assign(std::istreambuf_iterator<char>(in), {});
  }
  const auto at = bytes.find("{\"i\":2}");
  REQUIRE(at != std::string::npos);
  bytes[at + 5] = '7';
  std::ofstream(path, std::ios::binary | std::ios::trunc) << bytes;
  Archive archive = opened(path);
  const auto filed = archive.file(record_of(3));
  REQUIRE_FALSE(filed);
  CHECK(filed.error().what.find("record 3, the last, is not as it was filed") != std::string::npos);
  const auto found = archive.find({});
  REQUIRE(found);
  CHECK((found->at(0).holds && found->at(1).holds && !found->at(2).holds));
}

TEST_CASE("A clock that went back is told, and is no fault") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  Record early = record_of(1);
  early.filed_at = "2031-05-31T10:00:00Z";
  REQUIRE(archive.file(record_of(0)));
  REQUIRE(archive.file(early));
  const auto proof = archive.prove();
  CHECK(proof->whole());
  REQUIRE(proof->remarks.size() == 1);
  CHECK(proof->remarks.front().number == 2);
}

TEST_CASE(
    "An archive goes on from the head that was told, unless a record before it was changed or removed") {
  const testing::ScratchFolder folder;
  const auto path = folder.path("a.db");
  std::vector<TreeHead> heads;
  {
    Archive archive = opened(path);
    for (int i = 0; i < 6; ++i) {
      heads.push_back(archive.prove()->head);
      REQUIRE(archive.file(record_of(i)));
    }
    for (const auto& head : testing::some(heads)) {
      const auto proof = archive.prove({}, head);
      CHECK(proof->whole());
      CHECK(goes_on_from(head, proof->head, proof->since));
    }
    CHECK_FALSE(archive.prove({}, TreeHead{7, heads[3].root})->whole());
  }
  // Someone makes the archive anew without record 3: whole in itself, and no going on from a head after it.
  Archive anew = opened(folder.path("anew.db"));
  for (int i = 0; i < 6; ++i)
    if (i != 2) REQUIRE(anew.file(record_of(i)));
  CHECK(anew.prove()->whole());
  CHECK(anew.prove({}, heads[2])->whole());
  CHECK_FALSE(anew.prove({}, heads[3])->whole());
}

TEST_CASE("A station's records are sent once, and a record corrected at both ends is told, not merged") {
  const testing::ScratchFolder folder;
  Archive local = opened(folder.path("local.db")), shared = opened(folder.path("shared.db"));
  REQUIRE(shared.file(record_of(9, "LKM-9")));
  REQUIRE(shared.file(record_of(2)));  // filed there by someone else, too
  for (int i = 0; i < 3; ++i) REQUIRE(local.file(record_of(i)));
  Record correction = record_of(0);
  correction.corrects = 1;
  correction.reason = "the station";
  const auto corrected = local.file(correction);
  REQUIRE(corrected);
  const auto fates = [](const std::vector<Sent>& sent) {
    std::vector<std::pair<Sent::Fate, std::int64_t>> all;
    for (const auto& one : sent) all.emplace_back(one.fate, one.there);
    return all;
  };
  using Fates = std::vector<std::pair<Sent::Fate, std::int64_t>>;
  using enum Sent::Fate;
  CHECK(fates(*shared.take_over(local)) == Fates{{added, 3}, {added, 4}, {there_already, 2}, {added, 5}});
  CHECK(fates(*shared.take_over(local)) ==
        Fates{{there_already, 3}, {there_already, 4}, {there_already, 2}, {there_already, 5}});
  const auto sent = shared.read(5);
  REQUIRE(sent);
  CHECK(sent->record.corrects == 3);  // as it is numbered there
  CHECK(sent->record.origin == corrected->digest);
  CHECK(shared.prove(corrected->digest)->expected_at == 5);  // the sheet printed at the station still proves

  for (Archive* archive : {&local, &shared}) {
    Record other = record_of(1, "LKM-1");
    other.corrects = archive == &local ? 2 : 4;
    other.reason = archive == &local ? "one" : "two";
    REQUIRE(archive->file(other));
  }
  CHECK(fates(*shared.take_over(local)).back() == std::pair{corrected_twice, std::int64_t{6}});
  CHECK(shared.prove()->records == 6);
}

TEST_CASE("Nothing is sent from an archive in which a record was changed") {
  const testing::ScratchFolder folder;
  Archive local = opened(folder.path("local.db")), shared = opened(folder.path("shared.db"));
  for (int i = 0; i < 3; ++i) REQUIRE(local.file(record_of(i)));
  REQUIRE(by_hand(folder.path("local.db"),
                  "DROP TRIGGER record_is_never_changed; UPDATE record SET level = 0.5 WHERE number = 3")
              .empty());
  CHECK_FALSE(shared.take_over(local));
  CHECK(shared.prove()->records == 0);
}

TEST_CASE("A backup made while the archive is open holds the same chain") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  Digest head{};
  for (int i = 0; i < 4; ++i) head = archive.file(record_of(i))->digest;
  REQUIRE(archive.back_up(folder.path("copy.db")));
  CHECK_FALSE(archive.back_up(folder.path("copy.db")));
  REQUIRE(archive.file(record_of(5)));
  const auto proof = opened(folder.path("copy.db")).prove(head);
  CHECK(proof->whole());
  CHECK(proof->records == 4);
}

TEST_CASE("A digest is read from the groups a sheet prints, and from nothing else") {
  const Digest digest = sha256("x");
  CHECK(digest_from_hex(hex(digest)) == digest);
  std::string grouped = hex(digest);
  for (std::size_t i = 60; i > 0; i -= 4) grouped.insert(i, " ");
  CHECK(digest_from_hex(grouped) == digest);
  CHECK_FALSE(digest_from_hex(hex(digest) + "0"));
  CHECK_FALSE(digest_from_hex(hex(digest).substr(1)));
  CHECK_FALSE(digest_from_hex("g" + hex(digest).substr(1)));
}

TEST_CASE("A digest that still stands beside a changed record does not vouch for it") {
  const testing::ScratchFolder folder;
  const std::string path = folder.path("a.db");
  Digest digests[3];
  {
    Archive archive = opened(path);
    for (int i = 0; i < 3; ++i) digests[i] = archive.file(record_of(i))->digest;
    CHECK(archive.prove(digests[2])->expected_holds());
    CHECK(archive.faults_in_passing()->empty());
  }
  const std::string kept =
      "CREATE TRIGGER record_is_never_changed BEFORE UPDATE ON record\n  BEGIN SELECT "
      "RAISE(ABORT, 'a record is never changed: file a correction'); END;";
  REQUIRE(by_hand(path,
                  "DROP TRIGGER record_is_never_changed; UPDATE record SET content = 'x' WHERE number = 2;" +
                      kept)
              .empty());
  const Archive archive = opened(path);
  CHECK(archive.prove(digests[0])->expected_holds());
  CHECK_FALSE(archive.prove(digests[1])->expected_holds());
  CHECK_FALSE(archive.prove(digests[2])->expected_holds());
  CHECK(archive.prove(digests[1])->expected_at == 2);
  CHECK(archive.faults_in_passing()->size() == 1);
  CHECK_FALSE(archive.read(2));
  REQUIRE(archive.read_as_it_stands(2));
  CHECK_FALSE(archive.read_as_it_stands(2)->holds);
}

TEST_CASE("A record of a wrong serial is corrected where that is said, and names the right one") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  REQUIRE(archive.file(record_of(0, "LKM-714")));
  Record right = record_of(0, "LKM-741");
  right.corrects = 1;
  right.reason = "plate misread";
  CHECK_FALSE(archive.file(right));
  right.wrong_serial = "LKM-715";
  CHECK_FALSE(archive.file(right));
  right.wrong_serial = "lkm-714";
  REQUIRE(archive.file(right));
  CHECK(archive.read(1)->corrected_serial == "LKM-741");
  CHECK(archive.find({})->front().corrected_serial == "LKM-741");
  CHECK(*archive.serials_alike("LKM 741") == std::vector<std::string>{"LKM-741"});
  CHECK(archive.serials_alike("lkm-741")->empty());
  Archive shared = opened(folder.path("b.db"));
  REQUIRE(shared.take_over(archive));
  CHECK(shared.prove()->whole());
}

TEST_CASE("What else is asked of records counts before the latest are taken") {
  const testing::ScratchFolder folder;
  Archive archive = opened(folder.path("a.db"));
  for (int i = 0; i < 6; ++i) REQUIRE(archive.file(record_of(i)));
  RecordQuery query;
  query.also = [](const StoredRecord& one) { return one.number % 2 == 1; };
  query.most = 2;
  const auto found = archive.find(query);
  REQUIRE(found);
  REQUIRE(found->size() == 2);
  CHECK((found->front().number == 3 && found->back().number == 5));
}
