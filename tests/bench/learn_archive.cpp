// An archive as large as wanted, for the time that learning from it takes: learn_archive FROM TO RECORDS
// files the records of FROM (made by learn_memory.py, or any) over and over, each with another digest of its
// inputs, at random.
#include <cstdio>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "trimwright/records.hpp"

int main(int count, char** words) {
  using namespace trimwright;
  if (count != 4) return std::puts("learn_archive FROM TO RECORDS"), 2;
  const auto from = Archive::open(words[1], Archive::Opening::existing);
  auto to = Archive::open(words[2], Archive::Opening::create_if_missing);
  if (!from || !to) return std::puts((from ? to : from).error().message().c_str()), 1;
  std::vector<Record> records;
  const auto read = from->each({}, [&](StoredRecord& one) -> Result<void> {
    records.push_back(one.record);
    return {};
  });
  if (!read || records.empty()) return std::puts("no records"), 1;
  std::random_device draw;
  for (int i = 0; i < std::atoi(words[3]); ++i) {
    Record one = records[static_cast<std::size_t>(i) % records.size()];
    one.corrects.reset();
    one.inputs = sha256(std::to_string(draw()) + " " + std::to_string(draw()));
    if (const auto filed = to->file(one); !filed) return std::puts(filed.error().message().c_str()), 1;
  }
  return 0;
}
