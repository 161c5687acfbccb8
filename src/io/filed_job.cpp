#include "filed_job.hpp"

#include <filesystem>

#include "base/new_file.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// A job may name files by whole paths, which lead out of the folder.
Result<void> check_outside(const JobFile& job, const std::vector<FiledFile>& files,
                           const std::string& folder) {
  for (std::size_t i = 0; i < job.sources.size(); ++i) {
    if (job.sources[i].starts_with(folder)) continue;
    const auto text = read_text_file(job.sources[i]);
    if (!text) return tl::unexpected(text.error());
    if (i >= files.size() || *text != files[i].text)
      return fail("this file is not as it is in the record", "one that nobody changes meanwhile",
                  {job.sources[i], 0, {}});
  }
  return {};
}

}  // namespace

Result<JobFile> read_filed_job(const std::vector<FiledFile>& files) {
  const Passing folder = Passing::folder();
  if (folder.path().empty())
    return fail("no folder can be made for the files of a record", "room in the folder for passing files");
  if (files.empty()) return fail("the record holds no files", "a record that trimwright filed");
  if (const auto written = write_files(files, folder.path()); !written)
    return tl::unexpected(written.error());
  auto job = read_job((fs::path(folder.path()) / files.front().name).string());
  if (job)
    if (auto same = check_outside(*job, files, folder.path()); !same) return tl::unexpected(same.error());
  if (!job && job.error().where.file.starts_with(folder.path()))
    job.error().where.file.erase(0, folder.path().size() + 1);
  return job;
}

}  // namespace trimwright
