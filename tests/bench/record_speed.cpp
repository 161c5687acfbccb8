// The archive beside plain inserts of the same bytes, in one run, and what a large archive takes:
// record_speed [FOLDER [RECORDS [URL]]]. URL: an archive on a PostgreSQL server that is set up and empty, of
// a user who may make tables in schema public; then that one is measured. The figures of docs/records.md.
#include <fmt/format.h>
#include <libpq-fe.h>
#include <malloc.h>
#include <sqlite3.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "io/record_documents.hpp"

using namespace trimwright;
namespace fs = std::filesystem;

namespace {

/// Time by the clock, and of the processor, which other work on the machine hardly swells [s].
struct Spent {
  double clock = 0.0, processor = 0.0;
  Spent& operator+=(const Spent& other) {
    clock += other.clock;
    processor += other.processor;
    return *this;
  }
};

Spent spent_by(const auto& act) {
  const auto begin = std::chrono::steady_clock::now();
  const auto processor = std::clock();
  act();
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count(),
          static_cast<double>(std::clock() - processor) / CLOCKS_PER_SEC};
}

double seconds_of(const auto& act) { return spent_by(act).clock; }

/// Ten years, each day as often, at random.
std::string date_of(std::size_t i) {
  const std::size_t day = (i + 1) * 0x9E3779B97F4A7C15u % 3360;
  return fmt::format("20{:02}-{:02}-{:02}", 31 + day / 336, 1 + day / 28 % 12, 1 + day % 28);
}

/// A record of the size that the shipped example makes, each with a serial and content of its own.
Record invented(std::size_t i, std::size_t size) {
  Record record;
  record.rotor = "Larkmere demonstrator fan";
  record.serial = fmt::format("LKM-{}", i % 20011);
  record.station = fmt::format("Stand {}", i / 5000);
  record.date = date_of(i);
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

/// Everything of a record that is no key of the peers, and room for digests and numbers.
std::string rest_of(const Record& r) {
  return r.rotor + r.station + r.person + r.verdict + r.filed_at + r.filed_by + r.software +
         std::string(72, 'x');
}

/// The peer: a table with the same columns' bytes in one value, no triggers, no digests, the same durability.
class Plain {
 public:
  explicit Plain(const std::string& path) {
    must(sqlite3_open(path.c_str(), &db_));
    run("PRAGMA synchronous = EXTRA");
    run("CREATE TABLE plain (number INTEGER PRIMARY KEY, serial TEXT, date TEXT, inputs BLOB, rest TEXT, "
        "content TEXT)");
    run("CREATE INDEX plain_serial ON plain (serial)");
    run("CREATE INDEX plain_date ON plain (date)");
    run("CREATE INDEX plain_inputs ON plain (inputs)");
    must(sqlite3_prepare_v2(db_, "INSERT INTO plain (serial, inputs, rest, content, date) VALUES (?,?,?,?,?)",
                            -1, &insert_, nullptr));
  }
  ~Plain() {
    sqlite3_finalize(insert_);
    sqlite3_close(db_);
  }
  Plain(const Plain&) = delete;
  Plain& operator=(const Plain&) = delete;
  void run(const char* sql) { must(sqlite3_exec(db_, sql, nullptr, nullptr, nullptr)); }
  void insert(const Record& r) {
    const std::string rest = rest_of(r);
    must(sqlite3_bind_text(insert_, 1, r.serial.data(), static_cast<int>(r.serial.size()), nullptr));
    must(sqlite3_bind_blob(insert_, 2, r.inputs.data(), 32, nullptr));
    must(sqlite3_bind_text(insert_, 3, rest.data(), static_cast<int>(rest.size()), nullptr));
    must(sqlite3_bind_text(insert_, 4, r.content.data(), static_cast<int>(r.content.size()), nullptr));
    must(sqlite3_bind_text(insert_, 5, r.date.data(), static_cast<int>(r.date.size()), nullptr));
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

/// Filed 4000 or 5000 at a time, and in the same portions inserted by a peer, in turn.
void print_rates(const std::string& what, std::size_t count, const Spent& ours, const Spent& plain) {
  const double n = static_cast<double>(count);
  fmt::print(
      "{}: {:.0f} records/s, plain inserts {:.0f}/s, ratio of times {:.2f}, of processor times {:.2f}\n",
      what, n / ours.clock, n / plain.clock, ours.clock / plain.clock, ours.processor / plain.processor);
}

void bulk(const fs::path& folder, std::size_t size) {
  constexpr std::size_t count = 4000;
  constexpr std::size_t rounds = 5;
  std::vector<Record> records;
  for (std::size_t i = 0; i < count; ++i) records.push_back(invented(i, size));
  Spent ours, plain;
  for (std::size_t round = 0; round < rounds; ++round) {
    fs::remove(folder / "a.db");
    fs::remove(folder / "p.db");
    auto archive = Archive::open((folder / "a.db").string(), Archive::Opening::create_if_missing).value();
    Plain peer((folder / "p.db").string());
    ours += spent_by([&] { (void)archive.file_all(records).value(); });
    plain += spent_by([&] {
      peer.run("BEGIN IMMEDIATE");
      for (const auto& one : records) peer.insert(one);
      peer.run("COMMIT");
    });
  }
  print_rates(fmt::format("bulk, {} bytes each", size), rounds * count, ours, plain);
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

/// The same on a server: one prepared insert a record.
class PlainPostgres {
 public:
  explicit PlainPostgres(const std::string& url) : connection_(PQconnectdb(url.c_str())) {
    run("DROP TABLE IF EXISTS public.plain; CREATE TABLE public.plain "
        "(number bigserial PRIMARY KEY, serial text, date text, inputs bytea, rest text, content text)");
    run("CREATE INDEX ON public.plain (serial); CREATE INDEX ON public.plain (date); "
        "CREATE INDEX ON public.plain (inputs)");
    PQclear(
        PQprepare(connection_, "insert",
                  "INSERT INTO public.plain (serial, inputs, rest, content, date) VALUES ($1,$2,$3,$4,$5)", 5,
                  nullptr));
  }
  ~PlainPostgres() { PQfinish(connection_); }
  PlainPostgres(const PlainPostgres&) = delete;
  PlainPostgres& operator=(const PlainPostgres&) = delete;
  void run(const char* sql) { must_be(PQexec(connection_, sql)); }
  void insert(const Record& r) {
    const std::string rest = rest_of(r), inputs = "\\x" + hex(r.inputs);
    const char* values[] = {r.serial.c_str(), inputs.c_str(), rest.c_str(), r.content.c_str(),
                            r.date.c_str()};
    must_be(PQexecPrepared(connection_, "insert", 5, values, nullptr, nullptr, 0));
  }

 private:
  void must_be(PGresult* answer) {
    const bool done = PQresultStatus(answer) == PGRES_COMMAND_OK;
    PQclear(answer);
    if (!done) throw std::runtime_error(PQerrorMessage(connection_));
  }
  PGconn* connection_;
};

template <class Peer>
void fill(Archive& archive, Peer& peer, std::size_t count) {
  Spent ours, plain, last_ours, last_plain;
  std::vector<Record> records;
  for (std::size_t i = 0; i < count; i += records.size()) {
    records.clear();
    for (std::size_t k = i; k < std::min(count, i + 5000); ++k) records.push_back(invented(k, 2000));
    last_ours = spent_by([&] { (void)archive.file_all(records).value(); });
    last_plain = spent_by([&] {
      peer.run("BEGIN");
      for (const auto& one : records) peer.insert(one);
      peer.run("COMMIT");
    });
    ours += last_ours;
    plain += last_plain;
  }
  print_rates(fmt::format("{} of 2000 bytes", count), count, ours, plain);
  print_rates("the last of them", records.size(), last_ours, last_plain);
}

/// Largest memory of this program since `act` began [MB].
double peak_mb_of(const auto& act) {
  malloc_trim(0);
  std::ofstream("/proc/self/clear_refs") << "5";
  act();
  std::ifstream status("/proc/self/status");
  for (std::string line; std::getline(status, line);)
    if (line.starts_with("VmHWM:")) return std::atof(line.c_str() + 6) / 1024.0;
  return 0.0;
}

void print_pass(const std::string& what, double mb, const Spent& spent, double peak) {
  fmt::print(
      "{}: {:.0f} MB in {:.1f} s, {:.1f} s of the processor: {:.0f} and {:.0f} MB/s, at most {:.1f} MB of "
      "memory\n",
      what, mb, spent.clock, spent.processor, mb / spent.clock, mb / spent.processor, peak);
}

void find_in(const std::string& name, const Archive& archive, std::size_t count, const char* by,
             const auto& query_of) {
  std::vector<double> finds, opens;
  std::size_t found = 0;
  for (std::size_t i = 0; i < 100; ++i) {
    const RecordQuery query = query_of((i * 7919 + 13) % count);
    finds.push_back(seconds_of([&] { found += archive.find(query).value().size(); }));
    opens.push_back(seconds_of(
        [&] { (void)Archive::open(name, Archive::Opening::existing).value().find(query).value(); }));
  }
  fmt::print(
      "find by {} among {}: {:.2f} ms (slowest of 100 {:.2f}), with opening the archive {:.2f} ms, {} "
      "found\n",
      by, count, 1e3 * median(finds), 1e3 * *std::max_element(finds.begin(), finds.end()),
      1e3 * median(opens), found / 100);
}

void large(const std::string& name, std::size_t count) {
  const auto archive = Archive::open(name, Archive::Opening::existing).value();
  find_in(name, archive, count, "serial", [](std::size_t i) {
    RecordQuery query;
    query.serial = invented(i, 0).serial;
    return query;
  });
  find_in(name, archive, count, "date", [](std::size_t i) {
    RecordQuery query;
    query.from = query.to = date_of(i);
    query.most = 1000;
    return query;
  });
  for (const std::size_t most : {count / 10, count}) {
    double mb = 0.0;
    Spent spent;
    RecordQuery query;
    if (most < count) query.most = static_cast<std::int64_t>(most);
    const double peak = peak_mb_of([&] {
      spent = spent_by([&] {
        const auto done =
            export_records(archive, query, ExportForm::lines, [&](std::string_view part) -> Result<void> {
              mb += 1e-6 * static_cast<double>(part.size());
              return {};
            });
        if (!done) throw std::runtime_error(done.error().what);
      });
    });
    print_pass(fmt::format("export {} as lines", most), mb, spent, peak);
  }
  Proof proof;
  Spent spent;
  const double peak = peak_mb_of([&] { spent = spent_by([&] { proof = archive.prove().value(); }); });
  print_pass(fmt::format("prove {}, {}", proof.records, proof.whole() ? "whole" : "FAULTS"),
             1e-6 * static_cast<double>(proof.bytes), spent, peak);
}

}  // namespace

int main(int argc, char** argv) {
  const fs::path folder =
      argc > 1 ? fs::path(argv[1]) : fs::temp_directory_path() / "trimwright-record-speed";
  const auto count = static_cast<std::size_t>(argc > 2 ? std::atol(argv[2]) : 200000);
  if (argc > 3) {
    auto archive = Archive::open(argv[3], Archive::Opening::existing).value();
    PlainPostgres peer(argv[3]);
    fill(archive, peer, count);
    large(argv[3], count);
    return 0;
  }
  fs::create_directories(folder);
  for (const std::size_t size : {2000u, 40000u}) bulk(folder, size);
  for (const std::size_t size : {2000u, 40000u}) single(folder, size);
  for (const char* name : {"a.db", "p.db"}) fs::remove(folder / name);
  const std::string name = (folder / "a.db").string();
  {
    auto archive = Archive::open(name, Archive::Opening::create_if_missing).value();
    Plain peer((folder / "p.db").string());
    fill(archive, peer, count);
  }
  fs::remove(folder / "p.db");
  large(name, count);
  fs::remove_all(folder);
}
