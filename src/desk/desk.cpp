#include "desk.hpp"

#include <exception>
#include <filesystem>
#include <fstream>
#include <utility>

#include "base/text.hpp"
#include "request.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

constexpr std::pair<const char*, DeskAnswer> desk_answers[] = {
    {"kinds", kinds_of_texts},
    {"tree of file", tree_of_file},
    {"file of tree", file_of_tree},
    {"readings of table", readings_of_table},
    {"table of rows", table_of_rows},
    {"numbers", numbers_of_cells},
    {"rotor", rotor_facts},
    {"job", job_facts},
    {"readings", checked_readings},
    {"scatter", scatter_of_paper},
    {"doubts", doubted_readings},
    {"ready", ready_answer},
    {"influence", influence_answer},
    {"trial", trial_answer},
    {"plan", plan_answer},
    {"check", check_answer},
    {"page", page_answer},
    {"sheet", sheet_answer},
    {"rehearse new", new_rehearsal},
    {"rehearse run", rehearsal_run},
    {"rehearse truth", rehearsal_told},
};

/// A name that stays in the folder.
bool is_plain_name(const std::string& name) {
  return !name.empty() && name.front() != '.' && name.find('/') == std::string::npos;
}

Result<void> lay_out(const DeskRequest& request) {
  fs::remove_all(request.folder);
  fs::create_directories(request.folder);
  if (!request.asked.contains("files")) return {};
  for (const auto& [name, text] : request.asked.at("files").items()) {
    if (!is_plain_name(name))
      return fail("\"" + shortened(name) + "\" cannot be the name of a file here", "a name without a folder");
    std::ofstream(request.path(name), std::ios::binary) << text.get_ref<const std::string&>();
  }
  return {};
}

Result<DeskJson> answer_to(const DeskRequest& request) {
  const std::string wanted = request.text("do");
  for (const auto& [name, answer] : desk_answers)
    if (wanted == name) {
      if (const auto ready = lay_out(request); !ready) return tl::unexpected(ready.error());
      return answer(request);
    }
  return fail("\"" + shortened(wanted) + "\" is nothing that can be asked here");
}

/// Paths in messages as the page knows its files: by name.
std::string without_folder(std::string text, const std::string& folder) {
  for (auto at = text.find(folder + "/"); at != std::string::npos; at = text.find(folder + "/", at))
    text.erase(at, folder.size() + 1);
  return text;
}

}  // namespace

std::string DeskRequest::text(const std::string& key) const {
  const auto found = asked.find(key);
  return found != asked.end() && found->is_string() ? found->get<std::string>() : std::string{};
}

std::optional<int> DeskRequest::number(const std::string& key) const {
  const auto found = asked.find(key);
  return found != asked.end() && found->is_number_integer() ? std::optional(found->get<int>()) : std::nullopt;
}

bool DeskRequest::flag(const std::string& key) const {
  const auto found = asked.find(key);
  return found != asked.end() && found->is_boolean() && found->get<bool>();
}

std::string DeskRequest::path(const std::string& name) const { return folder + "/" + name; }

std::string DeskRequest::job() const { return path(text("job").empty() ? "job.yaml" : text("job")); }

std::string DeskRequest::rotor() const { return path(text("rotor").empty() ? "rotor.yaml" : text("rotor")); }

PlanOptions DeskRequest::plan() const {
  PlanOptions options;
  options.changes = number("changes");
  options.objective = text("objective");
  options.despite_mirror = flag("despite_mirror");
  options.amplitudes_only = flag("amplitudes_only");
  options.check_run = flag("check_run");
  // Longer than a command's: whoever waits can press Stop, and an answer must not depend on how busy the
  // machine is.
  options.time.time_limit_s = number("time_limit_s").value_or(60.0);
  options.time.more_time = "Choose a longer time above the answer.";
  if (fs::exists(path("fitted.json"))) options.fitted = path("fitted.json");
  return options;
}

DeskJson error_json(const Error& error) {
  return {{"message", error.message()}, {"what", error.what},       {"expected", error.expected},
          {"file", error.where.file},   {"line", error.where.line}, {"key", error.where.key},
          {"missing", error.missing}};
}

std::string desk_answer(const std::string& folder, const std::string& request) {
  DeskJson answer;
  try {
    auto given = answer_to({folder, DeskJson::parse(request)});
    answer = given ? *std::move(given) : DeskJson{{"error", error_json(given.error())}};
  } catch (const std::exception& error) {
    answer = {
        {"error",
         error_json({std::string("stopped by a failure of the desk itself: ") + error.what(), {}, {}})}};
  }
  return without_folder(answer.dump(-1, ' ', false, DeskJson::error_handler_t::replace), folder);
}

}  // namespace trimwright
