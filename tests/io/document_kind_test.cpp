#include <doctest/doctest.h>

#include <fstream>

#include "io/small_rotor.hpp"
#include "io/yaml_fields.hpp"
#include "scratch_folder.hpp"
#include "trimwright/files.hpp"

using namespace trimwright;
using namespace trimwright::testing;

TEST_CASE("What a file is stands in its first key, in quotation marks or not") {
  for (const char* text :
       {"trimwright: job 1\nrotor: rotor.yaml\n", "# Larkmere\n\n---\ntrimwright: \"job 1\"  # ours\n",
        "\"trimwright\": 'job 1'\r\n", "{\"trimwright\": \"job 1\", \"rotor\": \"rotor.yaml\"}",
        "{\n  trimwright : job 1,\n  rotor: rotor.yaml\n}\n"})
    CHECK_MESSAGE(document_kind(text) == "job", text);
  CHECK(document_kind("trimwright: owed runs 1\nruns: []\n") == "owed runs");
}

TEST_CASE("A file that speaks of ours further down is none of ours") {
  for (const char* text :
       {"", "# trimwright: job 1\n", "title: x\ntrimwright: job 1\n", "notes: 'see trimwright: job 1'\n",
        "trimwright: job 2\n", "trimwright\n", "run,speed,sensor\nas found,80 %,front\n"})
    CHECK_MESSAGE(document_kind(text).empty(), text);
}

TEST_CASE("A fleet's folder gives every job in it, however its first key is written, and no other file") {
  const ScratchFolder scratch;
  const auto write = [&](const std::string& name, const std::string& text) {
    std::ofstream(scratch.path(name)) << text;
  };
  const std::string rest = "rotor: rotor.yaml\nruns:\n  - {name: a, fitted: none}\n";
  write("rotor.yaml", small_rotor);
  write("plain.yaml", "trimwright: job 1\n" + rest);
  write("quoted.yaml", "trimwright: \"job 1\"\n" + rest);
  write("notes.yaml", "notes: written as \"trimwright: job 1\" says\n");
  const auto fleet = read_fleet(scratch.path(""));
  REQUIRE(fleet);
  CHECK(fleet->jobs.size() == 2);
}
