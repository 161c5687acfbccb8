#include "trimwright/files.hpp"

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>

#include "base/text.hpp"
#include "spreadsheet_file.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// Line of the first byte that cannot stand in a text file (a control character, broken UTF-8); 0: none.
int first_bad_line(const std::string& text) {
  int line = 1;
  for (std::size_t i = 0; i < text.size();) {
    const auto [code, bytes] = character_at(text, i);
    const bool control = code < 0x20 || (code >= 0x7f && code < 0xa0);
    if (control && code != '\n' && code != '\r' && code != '\t') return line;
    if (code == '\n') ++line;
    i += bytes;
  }
  return 0;
}

tl::unexpected<Error> file_error(const std::string& path, std::string what, std::string expected) {
  return fail(std::move(what), std::move(expected), {path, 0, {}});
}

/// The YAML files in a folder, one of which was meant.
std::string files_in_words(const std::string& folder) {
  std::set<std::string> names;
  std::error_code none;
  for (fs::directory_iterator it(folder, none), end; !none && it != end; it.increment(none))
    if (const auto kind = it->path().extension(); kind == ".yaml" || kind == ".yml")
      names.insert(shortened(it->path().string()));
  constexpr std::size_t most = 5;
  if (names.empty() || names.size() > most) return "a file in it";
  std::string words;
  for (const auto& name : names) words += (words.empty() ? "a file in it: " : " or ") + name;
  return words;
}

/// The bytes of a file that is small enough, without a byte order mark.
Result<std::string> read_bytes(const std::string& path) {
  std::error_code status;
  const auto kind = fs::status(path, status).type();
  if (kind == fs::file_type::not_found)
    return file_error(path, "there is no such file", "the path of a readable file");
  const auto size = kind == fs::file_type::regular ? fs::file_size(path, status) : 0;
  if (status)
    return file_error(path, "the file cannot be reached (" + status.message() + ")",
                      "a file this user may read");
  if (kind == fs::file_type::directory) return file_error(path, "this is a folder", files_in_words(path));
  if (kind != fs::file_type::regular) return file_error(path, "this is not a regular file", "a text file");
  if (size > largest_text_file)
    return file_error(path, "the file has " + std::to_string(size >> 20) + " MB", "a text file below 16 MB");
  errno = 0;
  std::ifstream in(path, std::ios::binary);
  std::ostringstream content;
  if (in && size > 0) content << in.rdbuf();
  if (!in || !content)
    return file_error(path, std::string("the file cannot be read (") + std::strerror(errno) + ")",
                      "a file this user may read");
  std::string text = content.str();
  if (text.starts_with("\xef\xbb\xbf")) text.erase(0, 3);  // spreadsheets put a byte order mark first
  if (text.find_first_not_of(" \t\r\n") == std::string::npos)
    return file_error(path, "the file is empty", "text");
  return text;
}

/// UTF-8 of a text in Latin-1 (ISO 8859-1), whose bytes are the first 256 characters of Unicode.
std::string from_latin_1(const std::string& bytes) {
  std::string text;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) {
      text += c;
    } else {
      text += static_cast<char>(0xc0U | (byte >> 6U));
      text += static_cast<char>(0x80U | (byte & 0x3fU));
    }
  }
  return text;
}

bool is_utf_8(const std::string& text) {
  for (std::size_t i = 0; i < text.size();) {
    const auto [code, bytes] = character_at(text, i);
    if (code < 0) return false;
    i += bytes;
  }
  return true;
}

}  // namespace

Result<std::string> read_spreadsheet_file(const std::string& path) {
  auto text = read_bytes(path);
  if (!text) return text;
  if (!is_utf_8(*text)) *text = from_latin_1(*text);
  if (const int line = first_bad_line(*text); line != 0)
    return fail("this is not the text of a table", "a table saved as CSV, in UTF-8 or Latin-1",
                {path, line, {}});
  return text;
}

Result<std::string> read_text_file(const std::string& path) {
  auto text = read_bytes(path);
  if (!text) return text;
  if (const int line = first_bad_line(*text); line != 0)
    return fail("this is not UTF-8 text", "a text file saved as UTF-8", {path, line, {}});
  return text;
}

std::string path_beside(const std::string& from, const std::string& path) {
  const fs::path given(path);
  return given.is_absolute() ? path : (fs::path(from).parent_path() / given).lexically_normal().string();
}

}  // namespace trimwright
