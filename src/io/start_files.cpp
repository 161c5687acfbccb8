#include "start_files.hpp"

#include <filesystem>

#include "base/new_file.hpp"
#include "spreadsheet_file.hpp"
#include "start_table.hpp"
#include "start_texts.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

constexpr const char* sheet_name = "run-sheet.html";

bool lies_in(const std::string& file, const std::string& folder) {
  std::error_code status;
  const auto parent = fs::weakly_canonical(fs::path(file), status).parent_path();
  return !status && parent == fs::weakly_canonical(fs::path(folder), status) && !status;
}

struct NamedText {
  std::string name, text;
};

/// The files but for the run sheet. `table`: of readings, read already; it is copied where it lies
/// elsewhere.
Result<std::vector<NamedText>> texts_of(StartJob& job, const std::string& folder, const std::string& table) {
  const bool here = !table.empty() && lies_in(table, folder);
  if (here) job.table = fs::path(table).filename().string();
  std::vector<NamedText> texts{{"rotor.yaml", start_rotor_text(job)}, {"job.yaml", start_job_text(job)}};
  if (table.empty()) {
    texts.push_back({job.table, start_table_text(job)});
    return texts;
  }
  if (const auto fits = check_table(table, texts[0].text); !fits) return tl::unexpected(fits.error());
  if (here) return texts;
  auto read = read_spreadsheet_file(table);
  if (!read) return tl::unexpected(read.error());
  texts.push_back({job.table, *std::move(read)});
  return texts;
}

}  // namespace

Result<void> check_new_folder(const std::string& folder, const std::string& table) {
  std::vector<std::string> names{"rotor.yaml", "job.yaml", sheet_name};
  if (table.empty() || !lies_in(table, folder)) names.emplace_back("readings.csv");
  std::error_code status;
  for (const auto& name : names)
    if (fs::exists(fs::path(folder) / name, status))
      return fail("there is a " + name + " already", "a new folder, or one without a job", {folder, 0, {}});
  return {};
}

Result<StartedFolder> start_folder(const std::string& folder, const StartAnswers& answers,
                                   const std::string& table) {
  auto job = begun_job(table).and_then([&](StartJob begun) { return start_job(answers, std::move(begun)); });
  if (!job) return tl::unexpected(job.error());
  if (const auto complete = check_complete(*job); !complete) return tl::unexpected(complete.error());
  const auto texts = texts_of(*job, folder, table);
  if (!texts) return tl::unexpected(texts.error());
  const auto path = [&](const std::string& name) { return (fs::path(folder) / name).string(); };
  StartedFolder started;
  for (const auto& [name, text] : *texts) started.files.push_back(name);
  started.files.emplace_back(sheet_name);
  started.to_confirm = lines_to_confirm(*job, texts->front().text);
  if (const auto free = check_new_folder(folder, table); !free) return tl::unexpected(free.error());
  std::error_code status;
  fs::create_directories(folder, status);
  if (status)
    return fail("the folder cannot be made (" + status.message() + ")", "a folder this user may write to",
                {folder, unwritten, {}});
  for (const auto& [name, text] : *texts)
    if (const auto written = write_text_file(path(name), text, NewFile::Existing::refused); !written)
      return tl::unexpected(written.error());
  auto read = read_job(path("job.yaml"));
  if (!read) return tl::unexpected(read.error());
  started.job = *std::move(read);
  if (const auto written =
          write_text_file(path(sheet_name), run_sheet_page(started.job.job), NewFile::Existing::refused);
      !written)
    return tl::unexpected(written.error());
  return started;
}

}  // namespace trimwright
