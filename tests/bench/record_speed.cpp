// The archive beside plain SQLite inserting the same bytes, in one run: record_speed [FOLDER [RECORDS]].
// The figures of docs/records.md.
#include <fmt/format.h>
#include <sqlite3.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <stdexcept>

#include "trimwright/records.hpp"

using namespace trimwright;
namespace fs = std::filesystem;

namespace {

double seconds_of(const auto& act) {
  const auto begin = std::chrono::steady_clock::now();
  act();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

/// A record of the size that the shipped example makes, each with a serial and content of its own.
Record invented(std::size_t i, std::size_t size) {
  Record record;
  record.rotor = "Larkmere demonstrator fan";
  record.serial = fmt::format("LKM-{}", i % 20011);
  record.station = "Quillhaven test stand";
  record.date = fmt::format("20{:02}-{:02}-{:02}", 31 + i % 20, 1 + i % 12, 1 + i % 28);
  record.person = "R. Orrin";
  record.verdict = "accepted";
  record.level = 0.1 + 0.001 * static_cast<double>(i % 700);
  record.filed_at = "2031-05-12T15:00:00Z";
  record.filed_by = "L. Marsh";
  record.software = "trimwright";
  record.content = fmt::format("{{\"number\":{},\"text\":\"", i);
  while (record.content.size() < size)
    record.content += fmt::format("{:016x} ", (i + 1) * 0x9E3779B97F4A7C15u + record.content.size());
  record.content += "\"}";
  record.inputs = sha256(record.content);
  return record;
}

void must(int code) {
  if (code != SQLITE_OK && code != SQLITE_DONE) throw std::runtime_error(sqlite3_errstr(code));
}

/// The peer: a table with the same columns' bytes in one value, no triggers, no digests, the same durability.
class Plain {
 public:
  explicit Plain(const std::string& path) {
    must(sqlite3_open(path.c_str(), &db_));
    run("PRAGMA synchronous = EXTRA");
    run("CREATE TABLE plain (number INTEGER PRIMARY KEY, serial TEXT, inputs BLOB, rest TEXT, content TEXT)");
    run("CREATE INDEX plain_serial ON plain (serial)");
    run("CREATE INDEX plain_inputs ON plain (inputs)");
    must(sqlite3_prepare_v2(db_, "INSERT INTO plain (serial, inputs, rest, content) VALUES (?,?,?,?)", -1,
                            &insert_, nullptr));
  }
  ~Plain() {
    sqlite3_finalize(insert_);
    sqlite3_close(db_);
  }
  Plain(const Plain&) = delete;
  Plain& operator=(const Plain&) = delete;
  void run(const char* sql) { must(sqlite3_exec(db_, sql, nullptr, nullptr, nullptr)); }
  void insert(const Record& r) {
    const std::string rest = r.rotor + r.station + r.date + r.person + r.verdict + r.filed_at + r.filed_by +
                             r.software + std::string(72, 'x');
    must(sqlite3_bind_text(insert_, 1, r.serial.data(), static_cast<int>(r.serial.size()), nullptr));
    must(sqlite3_bind_blob(insert_, 2, r.inputs.data(), 32, nullptr));
    must(sqlite3_bind_text(insert_, 3, rest.data(), static_cast<int>(rest.size()), nullptr));
    must(sqlite3_bind_text(insert_, 4, r.content.data(), static_cast<int>(r.content.size()), nullptr));
    must(sqlite3_step(insert_));
    must(sqlite3_reset(insert_));
  }

 private:
  sqlite3* db_ = nullptr;
  sqlite3_stmt* insert_ = nullptr;
};

double median(std::vector<double> all) {
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  return all[all.size() / 2];
}

void bulk(const fs::path& folder, std::size_t size) {
  constexpr std::size_t count = 4000;
  std::vector<Record> records;
  for (std::size_t i = 0; i < count; ++i) records.push_back(invented(i, size));
  std::vector<double> ours, plain;
  for (int round = 0; round < 5; ++round) {
    fs::remove(folder / "a.db");
    fs::remove(folder / "p.db");
    auto archive = Archive::open((folder / "a.db").string(), Archive::Opening::create_if_missing).value();
    Plain peer((folder / "p.db").string());
    ours.push_back(seconds_of([&] { (void)archive.file_all(records).value(); }));
    plain.push_back(seconds_of([&] {
      peer.run("BEGIN IMMEDIATE");
      for (const auto& one : records) peer.insert(one);
      peer.run("COMMIT");
    }));
  }
  fmt::print("bulk, {} bytes each: {:.0f} records/s, plain SQLite {:.0f}/s, ratio of times {:.2f}\n", size,
             count / median(ours), count / median(plain), median(ours) / median(plain));
}

void single(const fs::path& folder, std::size_t size) {
  fs::remove(folder / "a.db");
  fs::remove(folder / "p.db");
  auto archive = Archive::open((folder / "a.db").string(), Archive::Opening::create_if_missing).value();
  Plain peer((folder / "p.db").string());
  std::vector<double> ours, plain;
  for (std::size_t i = 0; i < 200; ++i) {
    const auto record = invented(i, size);
    ours.push_back(seconds_of([&] { (void)archive.file(record).value(); }));
    plain.push_back(seconds_of([&] { peer.insert(record); }));
  }
  fmt::print("single, {} bytes: {:.2f} ms, plain SQLite {:.2f} ms, ratio {:.2f}\n", size, 1e3 * median(ours),
             1e3 * median(plain), median(ours) / median(plain));
}

void large(const fs::path& folder, std::size_t count) {
  fs::remove(folder / "a.db");
  auto archive = Archive::open((folder / "a.db").string(), Archive::Opening::create_if_missing).value();
  std::vector<Record> records;
  for (std::size_t i = 0; i < count; i += records.size()) {
    records.clear();
    for (std::size_t k = i; k < std::min(count, i + 5000); ++k) records.push_back(invented(k, 2000));
    (void)archive.file_all(records).value();
  }
  std::vector<double> finds, opens;
  for (int i = 0; i < 200; ++i) {
    RecordQuery query;
    query.serial = fmt::format("LKM-{}", (i * 97) % 20011);
    finds.push_back(seconds_of([&] { (void)archive.find(query).value(); }));
    opens.push_back(seconds_of([&] {
      (void)Archive::open((folder / "a.db").string(), Archive::Opening::existing).value().find(query).value();
    }));
  }
  fmt::print("find by serial among {}: {:.3f} ms, with opening the archive {:.3f} ms\n", count,
             1e3 * median(finds), 1e3 * median(opens));
  Proof proof;
  const double s = seconds_of([&] { proof = archive.prove().value(); });
  const double mb = static_cast<double>(fs::file_size(folder / "a.db")) / 1e6;
  fmt::print("prove {} records, {:.0f} MB: {:.2f} s, {:.0f} MB/s, {}\n", proof.records, mb, s, mb / s,
             proof.whole() ? "whole" : "FAULTS");
}

}  // namespace

int main(int argc, char** argv) {
  const fs::path folder =
      argc > 1 ? fs::path(argv[1]) : fs::temp_directory_path() / "trimwright-record-speed";
  const auto count = static_cast<std::size_t>(argc > 2 ? std::atol(argv[2]) : 200000);
  fs::create_directories(folder);
  for (const std::size_t size : {2000u, 40000u}) bulk(folder, size);
  for (const std::size_t size : {2000u, 40000u}) single(folder, size);
  large(folder, count);
  fs::remove_all(folder);
}
