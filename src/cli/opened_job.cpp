#include <cstdio>

#include "answers/planned.hpp"
#include "base/text.hpp"
#include "commands.hpp"

namespace trimwright::cli {

Result<JobFile> open_job(const std::string& path) {
  auto file = read_job(path);
  if (file) tell_notes(file->notes);
  return file;
}

void tell_notes(const std::vector<std::string>& notes) {
  for (const auto& note : notes) std::fprintf(stderr, "trimwright: note: %s\n", one_line(note).c_str());
}

Status complain_of_job(Error error, const JobFile& file, const std::string& path,
                       const std::string& command) {
  return complain(with_next_command(std::move(error), file, path, command));
}

}  // namespace trimwright::cli
