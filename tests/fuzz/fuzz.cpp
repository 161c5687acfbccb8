// libFuzzer over one reader, named by TRIMWRIGHT_READER. TRIMWRIGHT_SEEDS=FOLDER: writes the seeds of all
// readers there, a folder each, and ends.
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "project_folder.hpp"
#include "readers.hpp"
#include "scratch_folder.hpp"

namespace trimwright::testing {
std::string in_project(const std::string& path) { return std::string(SOURCE_DIR) + "/" + path; }
}  // namespace trimwright::testing

namespace {

using namespace trimwright::testing;

const Reader* chosen = nullptr;

void write_seeds(const std::filesystem::path& folder) {
  for (const auto& reader : readers()) {
    std::filesystem::create_directories(folder / reader.name);
    int number = 0;
    for (const auto& seed : reader.seeds())
      std::ofstream(folder / reader.name / ("seed-" + std::to_string(++number)), std::ios::binary) << seed;
  }
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {
  if (const char* folder = std::getenv("TRIMWRIGHT_SEEDS")) {
    write_seeds(folder);
    std::_Exit(0);
  }
  const char* name = std::getenv("TRIMWRIGHT_READER");
  for (const auto& reader : readers())
    if (name != nullptr && reader.name == name) chosen = &reader;
  if (chosen == nullptr) {
    std::fprintf(stderr, "TRIMWRIGHT_READER: none of the readers (tests/fuzz/readers.cpp)\n");
    std::_Exit(2);
  }
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const ScratchFolder scratch;
  (void)chosen->accepts(scratch.path("input"), std::string(reinterpret_cast<const char*>(data), size));
  return 0;
}
