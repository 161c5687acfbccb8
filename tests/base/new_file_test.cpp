#include "base/new_file.hpp"

#include <doctest/doctest.h>
#include <sys/stat.h>

#include <fstream>
#include <set>
#include <sstream>

#include "scratch_folder.hpp"

using namespace trimwright;
using trimwright::testing::ScratchFolder;
namespace fs = std::filesystem;

namespace {

std::string text_of(const std::string& path) {
  std::ostringstream text;
  text << std::ifstream(path, std::ios::binary).rdbuf();
  return text.str();
}

unsigned mode_of(const std::string& path) {
  struct stat found {};
  REQUIRE(::stat(path.c_str(), &found) == 0);
  return found.st_mode & 0777U;
}

std::set<std::string> names_in(const ScratchFolder& folder) {
  std::set<std::string> names;
  for (const auto& entry : fs::directory_iterator(folder.path()))
    names.insert(entry.path().filename().string());
  return names;
}

}  // namespace

TEST_CASE("A file is written whole, or what was there stays and nothing else is left") {
  const ScratchFolder folder;
  const auto path = folder.path("out.txt");
  REQUIRE(write_text_file(path, "first\n"));
  REQUIRE(write_text_file(path, "second\n"));
  CHECK(text_of(path) == "second\n");
  {
    auto abandoned = NewFile::create(path);
    REQUIRE(abandoned);
    REQUIRE(write_all(abandoned->descriptor(), "half"));
    CHECK(names_in(folder).size() == 2);
  }
  CHECK(text_of(path) == "second\n");
  for (const char* nowhere : {"no/such/folder/out.txt", "out.txt/below.txt"}) {
    const auto refused = write_text_file(folder.path(nowhere), "x");
    REQUIRE_FALSE(refused);
    CHECK(refused.error().where.line == unwritten);
    CHECK(refused.error().what.find("Success") == std::string::npos);
  }
  CHECK_FALSE(write_text_file(folder.path(), "x"));
  CHECK(names_in(folder) == std::set<std::string>{"out.txt"});
}

TEST_CASE("A file that only its owner may read stays one that only its owner may read") {
  const ScratchFolder folder;
  for (const unsigned mode : {0600U, 0640U, 0644U}) {
    const auto path = folder.write("secret.txt", "old\n");
    REQUIRE(::chmod(path.c_str(), mode) == 0);
    REQUIRE(write_text_file(path, "new\n"));
    CHECK(mode_of(path) == mode);
    CHECK(text_of(path) == "new\n");
  }
  const auto before = ::umask(027);
  const auto path = folder.path("another.txt");
  CHECK(write_text_file(path, "new\n"));
  ::umask(before);
  CHECK(mode_of(path) == 0640U);
}

TEST_CASE("Through a link the file it points at is written, there or not there yet") {
  const ScratchFolder folder;
  fs::create_directory(folder.path("below"));
  fs::create_symlink("below/target.txt", folder.path("link"));
  fs::create_symlink("link", folder.path("link to a link"));
  REQUIRE(write_text_file(folder.path("link"), "first\n"));
  CHECK(text_of(folder.path("below/target.txt")) == "first\n");
  REQUIRE(write_text_file(folder.path("link to a link"), "second\n"));
  CHECK(fs::is_symlink(folder.path("link")));
  CHECK(fs::is_symlink(folder.path("link to a link")));
  CHECK(text_of(folder.path("below/target.txt")) == "second\n");
  fs::create_symlink("round", folder.path("round"));
  CHECK_FALSE(write_text_file(folder.path("round"), "x"));
}

TEST_CASE("A stranger's file beside the answer is left alone, and long names are written too") {
  const ScratchFolder folder;
  folder.write("out.txt.part", "a stranger's\n");
  REQUIRE(write_text_file(folder.path("out.txt"), "x\n"));
  CHECK(text_of(folder.path("out.txt.part")) == "a stranger's\n");
  for (const std::size_t length : {240U, 255U}) {
    const auto path = folder.path(std::string(length, 'n'));
    REQUIRE(write_text_file(path, "x\n"));
    CHECK(text_of(path) == "x\n");
  }
  CHECK_FALSE(write_text_file(folder.path(std::string(256, 'n')), "x\n"));
  CHECK(names_in(folder).size() == 4);
}

TEST_CASE("A file that must be new replaces none, not even one that came in between") {
  const ScratchFolder folder;
  const auto path = folder.path("copy.db");
  auto file = NewFile::create(path, NewFile::Existing::refused);
  REQUIRE(file);
  folder.write("copy.db", "somebody else's\n");
  CHECK_FALSE(file->finish());
  CHECK(text_of(path) == "somebody else's\n");
  CHECK_FALSE(NewFile::create(path, NewFile::Existing::refused));
}
