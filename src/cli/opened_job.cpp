#include <cstdio>

#include "answers/planned.hpp"
#include "base/text.hpp"
#include "commands.hpp"

namespace trimwright::cli {

Result<JobFile> open_job(const std::string& path, const std::string& archive) {
  auto file = read_job(path);
  if (!file) return file;
  tell_notes(file->notes);
  if (archive.empty()) return file;
  if (auto taken = take_earlier_jobs(*file, archive); !taken) return tl::unexpected(taken.error());
  return file;
}

void add_archive(CLI::App& command, std::string& archive) {
  command
      .add_option("--archive", archive,
                  "an archive, or a folder of job files: how weights acted in earlier trims of this serial "
                  "and of its "
                  "rotor type")
      ->check(not_empty());
}

void tell_notes(const std::vector<std::string>& notes) {
  for (const auto& note : notes) std::fprintf(stderr, "trimwright: note: %s\n", one_line(note).c_str());
}

Status complain_of_job(Error error, const JobFile& file, const std::string& path,
                       const std::string& command) {
  return complain(with_next_command(std::move(error), file, path, command));
}

}  // namespace trimwright::cli
