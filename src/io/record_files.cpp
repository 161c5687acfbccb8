#include <filesystem>

#include "base/new_file.hpp"
#include "record_content.hpp"
#include "record_documents.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// The innermost folder that holds all of the files.
fs::path common_folder(const std::vector<fs::path>& paths) {
  fs::path common = paths.front().parent_path();
  for (const auto& path : paths)
    while (path.lexically_relative(common).begin()->string() == "..") common = common.parent_path();
  return common;
}

}  // namespace

Result<std::vector<FiledFile>> job_files(const std::vector<std::string>& sources) {
  std::vector<fs::path> paths;
  for (const auto& source : sources) {
    std::error_code failed;
    paths.push_back(fs::absolute(source, failed).lexically_normal());
    if (failed) return fail("its folder cannot be told (" + failed.message() + ")", "", {source, 0, {}});
  }
  const fs::path common = common_folder(paths);
  std::vector<FiledFile> files;
  for (std::size_t i = 0; i < paths.size(); ++i) {
    auto text = read_text_file(sources[i]);
    if (!text) return tl::unexpected(text.error());
    std::string name = paths[i].lexically_relative(common).generic_string();
    if (const auto checked = check_name("the file's name", name); !checked)
      return fail(checked.error().what, checked.error().expected, {sources[i], 0, {}});
    files.push_back({std::move(name), *std::move(text)});
  }
  return files;
}

Result<std::vector<FiledFile>> files_of(const StoredRecord& record) {
  auto files = from_any_content(record, [](const Json& content) {
    std::vector<FiledFile> all;
    for (const auto& one : content.at("files")) all.push_back({one.at("name"), one.at("text")});
    return all;
  });
  if (!files) return files;
  for (const auto& file : *files)
    if (const fs::path name = fs::path(file.name).lexically_normal();
        name.empty() || name.is_absolute() || name.begin()->string() == "..")
      return fail("the record holds a file whose name leads elsewhere", "a name within a folder");
  return files;
}

Result<void> write_files(const std::vector<FiledFile>& files, const std::string& folder) {
  for (const auto& file : files) {
    const fs::path path = fs::path(folder) / file.name;
    std::error_code failed;  // told by the writing
    fs::create_directories(path.parent_path(), failed);
    if (auto written = write_text_file(path.string(), file.text); !written) return written;
  }
  return {};
}

Result<void> write_files_anew(const std::vector<FiledFile>& files, const std::string& folder) {
  std::error_code none;
  if (fs::exists(folder, none)) return fail("this is there already", "a new folder", {folder, unwritten, {}});
  auto written = write_files(files, folder);
  if (!written) fs::remove_all(folder, none);
  return written;
}

}  // namespace trimwright
