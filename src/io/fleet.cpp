#include "trimwright/files.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "base/name.hpp"
#include "filed_job.hpp"
#include "records/refusals.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

std::string kind_of_file(const std::string& path) {
  const auto text = read_text_file(path);
  return text ? document_kind(*text) : std::string{};
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
    if (kind_of_file(path) != "job") continue;
    auto file = read_job(path);
    if (!file) return tl::unexpected(file.error());
    fleet.sources.insert(fleet.sources.end(), file->sources.begin(), file->sources.end());
    fleet.jobs.push_back({std::move(file->job), path});
  }
  return fleet;
}

/// The job of one record, read from the files filed with it.
Result<FleetJob> filed_job(const StoredRecord& record, const std::string& path) {
  const std::string name = fmt::format("{}, record {}", path, record.number);
  const auto files = files_of(record);
  auto read = files ? read_filed_job(*files) : tl::unexpected(files.error());
  if (read) return FleetJob{std::move(read->job), name};
  read.error().where.file = name;
  return tl::unexpected(read.error());
}

/// "A" or "B": the rotors that an archive has records of.
Result<std::string> rotors_in(const Archive& archive) {
  std::set<std::string> names;
  const auto all = archive.each({}, [&](StoredRecord& one) -> Result<void> {
    names.insert("\"" + one.record.rotor + "\"");
    return {};
  });
  if (!all) return tl::unexpected(all.error());
  return fmt::format("{}", fmt::join(names, " or "));
}

/// One record after the other: only the jobs on `rotor` are kept, and of many the latest, so that neither
/// memory nor time grows with the archive.
Result<Fleet> read_archive(const std::string& path, const std::string& rotor) {
  const auto archive = Archive::open(path, Archive::Opening::existing);
  if (!archive) return tl::unexpected(archive.error());
  RecordQuery query;
  query.rotor = rotor;
  query.most = most_fleet_records;
  Fleet fleet{{}, {path}};
  const auto all = archive->each(query, [&](StoredRecord& one) -> Result<void> {
    if (one.corrected_by || holds_readings(one.record) || (!rotor.empty() && !alike(one.record.rotor, rotor)))
      return {};
    if (!one.holds) return tl::unexpected(not_as_filed(one.number, path));
    auto job = filed_job(one, path);
    if (!job) return tl::unexpected(job.error());
    fleet.jobs.push_back(*std::move(job));
    return {};
  });
  if (!all) return tl::unexpected(all.error());
  if (!fleet.jobs.empty() || rotor.empty()) return fleet;
  const auto others = rotors_in(*archive);
  if (!others) return tl::unexpected(others.error());
  return fail("no job is on rotor \"" + rotor + "\"", *others, {path, 0, {}});
}

}  // namespace

Result<Fleet> read_fleet(const std::string& path, const std::string& rotor) {
  std::error_code none;
  const bool archive = path.starts_with("postgres") || fs::is_regular_file(path, none);
  auto fleet = archive ? read_archive(path, rotor) : read_folder(path);
  if (!fleet || rotor.empty()) return fleet;
  std::string others;
  for (const auto& one : fleet->jobs)
    if (const auto quoted = "\"" + one.job.rotor.name + "\""; others.find(quoted) == std::string::npos)
      others += (others.empty() ? "" : " or ") + quoted;
  std::erase_if(fleet->jobs, [&](const FleetJob& one) { return !alike(one.job.rotor.name, rotor); });
  if (fleet->jobs.empty() && !others.empty())
    return fail("no job is on rotor \"" + rotor + "\"", others, {path, 0, {}});
  return fleet;
}

Result<void> take_earlier_jobs(JobFile& file, const std::string& path) {
  if (file.prior)
    return fail("the job names a prior of its own, and earlier jobs are named beside it",
                "one of the two: the job's key \"prior\", or --archive", {file.sources.front(), 0, "prior"});
  const auto fleet = read_fleet(path, file.job.rotor.name);
  if (!fleet) return tl::unexpected(fleet.error());
  auto prior = prior_for(file.job, fleet->jobs);
  if (!prior) {
    prior.error().where.file = path;
    return tl::unexpected(prior.error());
  }
  file.prior = std::move(*prior);
  for (const auto& source : fleet->sources)
    if (std::find(file.sources.begin(), file.sources.end(), source) == file.sources.end())
      file.sources.push_back(source);
  return {};
}

Result<EarlierEffects> read_earlier_effects(const std::string& path, const Job& job) {
  std::error_code none;
  const bool file = fs::is_regular_file(path, none);
  const std::string kind = file ? kind_of_file(path) : std::string{};
  if (kind == "prior") {
    auto prior = read_prior(path, &job.rotor);
    if (!prior) return tl::unexpected(prior.error());
    return EarlierEffects{"the fleet of prior " + path, std::move(prior->coefficients)};
  }
  Fleet fleet;
  if (kind == "job") {
    auto one = read_job(path);
    if (!one) return tl::unexpected(one.error());
    fleet.jobs.push_back({std::move(one->job), path});
  } else {
    auto read = read_fleet(path, job.rotor.name);
    if (!read) return tl::unexpected(read.error());
    fleet = std::move(*read);
  }
  auto effects = earlier_effects(job, fleet.jobs);
  if (effects) return std::move(*effects);
  return fail("no job here is on rotor \"" + job.rotor.name + "\" and settles how a plane acts",
              "an earlier job on this rotor type, with a trial run in each plane", {path, 0, {}});
}

}  // namespace trimwright
