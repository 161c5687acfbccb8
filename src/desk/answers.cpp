#include <filesystem>

#include "answers/page.hpp"
#include "io/ready_document.hpp"
#include "plan/steps.hpp"
#include "rehearsal/rehearsal.hpp"
#include "request.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

DeskJson words_and_document(std::string text, std::string document) {
  return {{"text", std::move(text)}, {"document", std::move(document)}};
}

Result<DeskJson> page_json_of(const Result<PageAnswer>& page) {
  if (!page) return tl::unexpected(page.error());
  return DeskJson{{"page", page->html}, {"run", {{"name", page->next_run}}}};
}

tl::unexpected<Error> refused(Error error, const JobFile& file, const DeskRequest& request,
                              const std::string& command) {
  return tl::unexpected(with_next_command(std::move(error), file, request.job(), command));
}

/// Every file of the folder but the recordings, of which there are none.
DeskJson files_now(const DeskRequest& request) {
  DeskJson files = DeskJson::object();
  for (const auto& entry : std::filesystem::directory_iterator(request.folder))
    if (const auto text = read_text_file(entry.path().string()))
      files[entry.path().filename().string()] = *text;
  return DeskJson{{"files", std::move(files)}};
}

}  // namespace

Result<DeskJson> ready_answer(const DeskRequest& request) {
  const auto file = read_job(request.job());
  if (!file) return tl::unexpected(file.error());
  const Readiness found = readiness_of(*file, request.plan().time);
  const bool knows_type = file->prior.has_value();
  return words_and_document(ready_text(file->job, found, request.job(), knows_type),
                            ready_json(file->job, found, knows_type));
}

Result<DeskJson> influence_answer(const DeskRequest& request) {
  const auto file = read_job(request.job());
  if (!file) return tl::unexpected(file.error());
  const auto settled = influenced(*file, request.flag("amplitudes_only"));
  if (!settled) return refused(settled.error(), *file, request, "influence");
  return words_and_document(influence_text(settled->job, settled->model),
                            influence_json(settled->job, settled->model));
}

Result<DeskJson> trial_answer(const DeskRequest& request) {
  const auto file = read_job(request.job());
  if (!file) return tl::unexpected(file.error());
  const std::string weight = request.text("weight");
  const auto choice = trial_choice(file->job, request.text("plane"), request.number("slot"),
                                   weight.empty() ? std::nullopt : std::optional(weight));
  if (!choice) return tl::unexpected(choice.error());
  const auto trial = trialled(*file, *choice, request.plan().time);
  if (!trial) return refused(trial.error(), *file, request, "trial");
  const auto& [job, advice, steps] = *trial;
  DeskJson answer = words_and_document(trial_text(job, advice, steps), trial_json(job, advice, steps));
  answer["page"] = trial_page(job, advice, steps);
  if (!steps.changes.empty())
    answer["run"] = {{"name", next_run_name(job, steps)},
                     {"fitted", fitted_tree(job.rotor, fitted_after(job, steps.changes))}};
  return answer;
}

Result<DeskJson> plan_answer(const DeskRequest& request) {
  auto file = read_job(request.job());
  if (!file) return tl::unexpected(file.error());
  const auto answer = planned(*file, request.plan());
  if (!answer) return refused(answer.error(), *file, request, "plan");
  const auto& [job, model, trim, steps, held_back] = answer->plan;
  return words_and_document(plan_text(job, model, trim, steps), plan_json(job, model, trim, steps));
}

Result<DeskJson> check_answer(const DeskRequest& request) {
  const auto file = read_job(request.job());
  if (!file) return tl::unexpected(file.error());
  const auto judged = checked(*file, request.text("run"), request.plan().time);
  if (!judged) return refused(judged.error(), *file, request, "check");
  return words_and_document(check_text(judged->job, judged->verdict),
                            check_json(judged->job, judged->verdict));
}

Result<DeskJson> page_answer(const DeskRequest& request) {
  return page_json_of(page_of_job(request.job(), request.plan()));
}

Result<DeskJson> sheet_answer(const DeskRequest& request) {
  return page_json_of(run_sheet_of_job(request.job()));
}

Result<DeskJson> new_rehearsal(const DeskRequest& request) {
  const auto created =
      create_rehearsal(request.folder, static_cast<std::uint64_t>(request.number("seed").value_or(1)));
  if (!created) return tl::unexpected(created.error());
  return files_now(request);
}

Result<DeskJson> rehearsal_run(const DeskRequest& request) {
  const auto rehearsal = read_rehearsal(request.folder);
  if (!rehearsal) return tl::unexpected(rehearsal.error());
  const auto job = rehearsal_job(*rehearsal);
  if (!job) return tl::unexpected(job.error());
  const auto made = make_run(*rehearsal, *job, {request.text("name"), job->fitted_now, true});
  if (!made) return tl::unexpected(made.error());
  DeskJson answer = files_now(request);
  answer["stopped"] = made->stopped;
  return answer;
}

Result<DeskJson> rehearsal_told(const DeskRequest& request) {
  const auto rehearsal = read_rehearsal(request.folder);
  if (!rehearsal) return tl::unexpected(rehearsal.error());
  const auto job = rehearsal_job(*rehearsal);
  if (!job) return tl::unexpected(job.error());
  const auto told = rehearsal_truth(*rehearsal, *job);
  if (!told) return tl::unexpected(told.error());
  return words_and_document(truth_text(*told), truth_json(*told));
}

}  // namespace trimwright
