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

/// A folder with the files of a record, which goes when this does. Error: there are fewer than `fewest`.
Result<Passing> files_in_passing(const std::vector<FiledFile>& files, std::size_t fewest) {
  Passing folder = Passing::folder();
  if (folder.path().empty())
    return fail("no folder can be made for the files of a record", "room in the folder for passing files");
  if (files.size() < fewest) return fail("the record holds no files", "a record that trimwright filed");
  if (const auto written = write_files(files, folder.path()); !written)
    return tl::unexpected(written.error());
  return folder;
}

/// Names the files of a record as they are called there.
void name_as_filed(Error& error, const Passing& folder) {
  if (error.where.file.starts_with(folder.path())) error.where.file.erase(0, folder.path().size() + 1);
}

}  // namespace

Result<JobFile> read_filed_job(const std::vector<FiledFile>& files) {
  const auto made = files_in_passing(files, 1);
  if (!made) return tl::unexpected(made.error());
  const Passing& folder = *made;
  auto job = read_job((fs::path(folder.path()) / files.front().name).string());
  if (job)
    if (auto same = check_outside(*job, files, folder.path()); !same) return tl::unexpected(same.error());
  if (!job) name_as_filed(job.error(), folder);
  return job;
}

Result<JudgedJob> judge_filed_job(const std::vector<FiledFile>& files, const std::string& run) {
  const auto file = read_filed_job(files);
  if (!file) return tl::unexpected(file.error());
  return judge_job(file->job, file->request, run, file->prior ? &*file->prior : nullptr);
}

Result<FiledReadings> read_filed_readings(const std::vector<FiledFile>& files) {
  const auto folder = files_in_passing(files, 2);
  if (!folder) return tl::unexpected(folder.error());
  const auto path = [&](std::size_t i) { return (fs::path(folder->path()) / files[i].name).string(); };
  auto rotor = read_rotor(path(0));
  auto readings = rotor ? read_dated_table(path(1), *rotor) : tl::unexpected(rotor.error());
  if (readings) return FiledReadings{*std::move(rotor), *std::move(readings)};
  name_as_filed(readings.error(), *folder);
  return tl::unexpected(readings.error());
}

}  // namespace trimwright
