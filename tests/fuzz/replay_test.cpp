#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "project_folder.hpp"
#include "readers.hpp"
#include "scratch_folder.hpp"
#include "some.hpp"

using namespace trimwright::testing;

TEST_CASE("Every reader accepts the files that are shipped, or that the program itself makes") {
  for (const auto& reader : readers()) {
    const ScratchFolder scratch;
    for (const auto& seed : some(reader.seeds()))
      CHECK_MESSAGE(reader.accepts(scratch.path("input"), seed), reader.name);
  }
}

TEST_CASE("What once crashed a reader, hung it or was thrown by it is answered with an error, or read") {
  for (const auto& reader : readers()) {
    const ScratchFolder scratch;
    const std::filesystem::path corpus = in_project("tests/fuzz/corpus/" + reader.name);
    if (!std::filesystem::exists(corpus)) continue;
    for (const auto& entry : std::filesystem::directory_iterator(corpus)) {
      std::ostringstream bytes;
      bytes << std::ifstream(entry.path(), std::ios::binary).rdbuf();
      CAPTURE(entry.path().string());
      CHECK_NOTHROW((void)reader.accepts(scratch.path("input"), bytes.str()));
    }
  }
}
