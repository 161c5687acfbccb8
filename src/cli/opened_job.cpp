#include <cstdio>

#include "base/new_file.hpp"
#include "base/text.hpp"
#include "commands.hpp"
#include "runs/next_steps.hpp"

namespace trimwright::cli {

Result<JobFile> open_job(const std::string& path) {
  auto file = read_job(path);
  if (file)
    for (const auto& note : file->notes)
      std::fprintf(stderr, "trimwright: note: %s\n", one_line(note).c_str());
  return file;
}

Status complain_of_job(Error error, const JobFile& file, const std::string& path,
                       const std::string& command) {
  if (!error.where.file.empty() || error.where.line == unwritten) return complain(error);
  const NextSteps next = next_steps(file.job, file.prior.has_value());
  const std::string then = file.job.rotor.to_confirm.empty() ? next.command : "ready";
  if (then != command) error.expected += "; next: trimwright " + then + " " + one_line(path);
  return complain(error);
}

}  // namespace trimwright::cli
