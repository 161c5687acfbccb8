#include "trimwright/io/fleet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "trimwright/base/new_file.hpp"
#include "trimwright/io/files.hpp"
#include "trimwright/io/read_job.hpp"
#include "trimwright/io/record_documents.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

bool is_job(const std::string& path) {
  const auto text = read_text_file(path);
  return text && text->find("trimwright: job 1") != std::string::npos;
}

Result<Fleet> read_folder(const std::string& folder) {
  std::error_code status;
  std::vector<std::string> paths;
  for (fs::recursive_directory_iterator at(folder, status), end; !status && at != end; at.increment(status))
    if (const auto extension = at->path().extension(); extension == ".yaml" || extension == ".yml")
      paths.push_back(at->path().string());
  if (status)
    return fail("the folder cannot be read (" + status.message() + ")",
                "a folder of job files, or an archive", {folder, 0, {}});
  std::sort(paths.begin(), paths.end());
  Fleet fleet;
  for (const auto& path : paths) {
    if (!is_job(path)) continue;
    auto file = read_job(path);
    if (!file) return tl::unexpected(file.error());
    fleet.sources.insert(fleet.sources.end(), file->sources.begin(), file->sources.end());
    fleet.jobs.push_back({std::move(file->job), path});
  }
  return fleet;
}

/// The job of one record, read from the files filed with it.
Result<FleetJob> filed_job(const Archive& archive, const std::string& path, std::int64_t number) {
  const std::string name = fmt::format("{}, record {}", path, number);
  const auto record = archive.read(number);
  if (!record) return tl::unexpected(record.error());
  const Passing folder = Passing::folder();
  if (folder.path().empty())
    return fail("no folder can be made for the files of a record", "room in the folder for passing files");
  if (const auto written = write_files(*record, folder.path()); !written)
    return tl::unexpected(written.error());
  auto read = read_folder(folder.path());
  if (read && read->jobs.size() == 1) return FleetJob{std::move(read->jobs.front().job), name};
  if (!read) {
    read.error().where.file = name;
    return tl::unexpected(read.error());
  }
  return fail(fmt::format("the record holds {} job files", read->jobs.size()), "one", {name, 0, {}});
}

Result<Fleet> read_archive(const std::string& path) {
  const auto archive = Archive::open(path, Archive::Opening::existing);
  if (!archive) return tl::unexpected(archive.error());
  RecordQuery all;
  all.most = std::numeric_limits<std::int64_t>::max();
  const auto found = archive->find(all);
  if (!found) return tl::unexpected(found.error());
  Fleet fleet{{}, {path}};
  for (const auto& one : *found) {
    if (one.corrected_by) continue;
    auto job = filed_job(*archive, path, one.number);
    if (!job) return tl::unexpected(job.error());
    fleet.jobs.push_back(*std::move(job));
  }
  return fleet;
}

}  // namespace

Result<Fleet> read_fleet(const std::string& path, const std::string& rotor) {
  std::error_code none;
  auto fleet = fs::is_regular_file(path, none) ? read_archive(path) : read_folder(path);
  if (!fleet || rotor.empty()) return fleet;
  std::string others;
  for (const auto& one : fleet->jobs)
    if (const auto quoted = "\"" + one.job.rotor.name + "\""; others.find(quoted) == std::string::npos)
      others += (others.empty() ? "" : " or ") + quoted;
  std::erase_if(fleet->jobs, [&](const FleetJob& one) { return one.job.rotor.name != rotor; });
  if (fleet->jobs.empty() && !others.empty())
    return fail("no job is on rotor \"" + rotor + "\"", others, {path, 0, {}});
  return fleet;
}

}  // namespace trimwright
