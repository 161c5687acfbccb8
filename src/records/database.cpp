#include "database.hpp"

#include <algorithm>
#include <cstring>

namespace trimwright {
namespace {

/// How long to wait for another process that is filing.
constexpr int patience_ms = 20000;

struct Words {
  const char* what;
  const char* expected;
};

Words words_of(int code) {
  switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return {"another process keeps the archive busy", "the same command a little later"};
    case SQLITE_FULL:
      return {"the disk is full: nothing was filed", "room on the disk, then the same command again"};
    case SQLITE_READONLY:
      return {"the archive cannot be written: it or its folder is read-only",
              "a file and a folder this user may write to"};
    case SQLITE_CANTOPEN:
      return {"the archive or a file beside it cannot be opened", "a file in a folder this user may use"};
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return {"access to the archive is denied", "a file this user may use"};
    case SQLITE_CORRUPT:
      return {"the archive's file is damaged", "a backup of it"};
    case SQLITE_NOTADB:
      return {"this is not an archive, or its beginning is damaged", "an archive, or a backup of it"};
    case SQLITE_IOERR:
      return {"the disk failed or is full: nothing was filed", "a disk that can be read and written"};
    case SQLITE_TOOBIG:
      return {"a text is too large for the archive", "less than 1 GB in a record"};
    default:
      return {"the archive failed", ""};
  }
}

}  // namespace

Database::Database(const std::string& path, int flags) : path_(path) {
  const int code = sqlite3_open_v2(path.c_str(), &handle_, flags | SQLITE_OPEN_EXRESCODE, nullptr);
  if (code != SQLITE_OK) {
    sqlite3_close(handle_);
    handle_ = nullptr;
    fail_with(code);
  }
  sqlite3_busy_timeout(handle_, patience_ms);
}

Database::~Database() { sqlite3_close(handle_); }

void Database::fail_with(int code) const {
  const Words words = words_of(code);
  const char* detail = handle_ != nullptr ? sqlite3_errmsg(handle_) : sqlite3_errstr(code);
  throw DatabaseFailure{{std::string(words.what) + " (" + detail + ")", words.expected, {path_, 0, {}}}};
}

void Database::run(const char* sql) {
  const int code = sqlite3_exec(handle_, sql, nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) fail_with(code);
}

std::int64_t Database::number(const char* sql) {
  Statement statement(*this, sql);
  return statement.step() ? statement.integer(0) : 0;
}

Statement::Statement(Database& database, std::string_view sql) : database_(database) {
  const int code =
      sqlite3_prepare_v2(database.handle(), sql.data(), static_cast<int>(sql.size()), &handle_, nullptr);
  if (code != SQLITE_OK) database_.fail_with(code);
}

Statement::~Statement() { sqlite3_finalize(handle_); }

void Statement::bind(int at, std::string_view text) {
  const int code =
      sqlite3_bind_text64(handle_, at, text.empty() ? "" : text.data(), text.size(), nullptr, SQLITE_UTF8);
  if (code != SQLITE_OK) database_.fail_with(code);
}

void Statement::bind(int at, std::int64_t number) {
  if (const int code = sqlite3_bind_int64(handle_, at, number); code != SQLITE_OK) database_.fail_with(code);
}

void Statement::bind(int at, double number) {
  if (const int code = sqlite3_bind_double(handle_, at, number); code != SQLITE_OK) database_.fail_with(code);
}

void Statement::bind(int at, const Digest& digest) {
  const int code = sqlite3_bind_blob(handle_, at, digest.data(), static_cast<int>(digest.size()), nullptr);
  if (code != SQLITE_OK) database_.fail_with(code);
}

void Statement::bind_null(int at) {
  if (const int code = sqlite3_bind_null(handle_, at); code != SQLITE_OK) database_.fail_with(code);
}

bool Statement::step() {
  const int code = sqlite3_step(handle_);
  if (code == SQLITE_ROW) return true;
  if (code != SQLITE_DONE) database_.fail_with(code);
  return false;
}

void Statement::reset() { sqlite3_reset(handle_); }

std::string_view Statement::view(int column) const {
  const void* data = sqlite3_column_blob(handle_, column);
  const int size = sqlite3_column_bytes(handle_, column);
  return {static_cast<const char*>(data), data == nullptr ? 0 : static_cast<std::size_t>(size)};
}

Digest Statement::digest(int column) const {
  Digest digest{};
  const auto bytes = view(column);
  if (bytes.size() == digest.size()) std::memcpy(digest.data(), bytes.data(), bytes.size());
  return digest;
}

}  // namespace trimwright
