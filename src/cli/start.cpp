#include <fmt/format.h>
#include <unistd.h>

#include <iostream>
#include <memory>

#include "base/text.hpp"
#include "commands.hpp"
#include "io/start_files.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* start_example = R"(Examples:
  trimwright start engine-417
      Asks a few questions on a terminal, then writes rotor.yaml, job.yaml, readings.csv (to fill in) and
      run-sheet.html (to print) into the new folder engine-417.
  trimwright start engine-417 --rotation "clockwise from aft" --planes "front plane 32, rear plane 24" \
      --sensors "front in/s peak, rear mil pp" --speeds "60 %, 80 %, 96 %"
      The same without questions about these.)";

struct StartOptions {
  std::string folder;
  StartAnswers answers;
};

/// Asks what no option answered, again until the answer fits. An empty line is no answer.
void ask(StartAnswers& answers) {
  for (const auto& question : start_questions()) {
    if (answers.contains(question.key)) continue;
    const std::string usual =
        question.usual.empty()
            ? (question.confirmed.empty() ? "may be left out" : "Enter: assumed, to be confirmed")
            : "as \"" + question.usual + "\"; Enter: assumed, to be confirmed";
    for (;;) {
      fmt::print(stderr, "{} ({})\n> ", question.words, usual);
      std::string answer;
      if (!std::getline(std::cin, answer) || answer.find_first_not_of(' ') == answer.npos) break;
      const auto fits = check_start_answer(question.key, answer, answers);
      if (fits) {
        answers[question.key] = answer;
        break;
      }
      fmt::print(stderr, "  {}\n", fits.error().message());
    }
  }
}

Status start(StartOptions& options) {
  if (::isatty(STDIN_FILENO) == 1 && ::isatty(STDERR_FILENO) == 1) ask(options.answers);
  const auto names = start_folder(options.folder, options.answers);
  if (!names) return complain(names.error());
  const std::string folder = one_line(options.folder);
  std::string text = "Written into " + folder + ":";
  for (const auto& name : *names) text += " " + name;
  text +=
      "\n\n  1. Put the rotor file right; what is only assumed stands in its list to_confirm.\n"
      "  2. Then make the run sheet afresh, with the limits that you gave, and print it:\n"
      "     trimwright page " +
      folder + "/job.yaml -o " + folder +
      "/run-sheet.html\n"
      "     (until then its stop levels are blank, to be written in by hand).\n"
      "  3. Make the run as found, fill in readings.csv.\n"
      "  4. trimwright ready " +
      folder + "/job.yaml\n     says what is still missing, and which command comes next.\n";
  return Output{}.write(text);
}

}  // namespace

void add_start(CLI::App& app, int& status) {
  auto options = std::make_shared<StartOptions>();
  auto* command =
      app.add_subcommand("start", "Files for a new job, to fill in: rotor, job, readings, run sheet");
  command->add_option("FOLDER", options->folder, "folder for the files; made where there is none")
      ->required()
      ->check(not_empty());
  for (const auto& question : start_questions())
    command
        ->add_option_function<std::string>(
            "--" + question.key,
            [options, key = question.key](const std::string& answer) { options->answers[key] = answer; },
            question.words + (question.usual.empty() ? "" : " As \"" + question.usual + "\""))
        ->check(not_empty());
  command->footer(start_example);
  command->callback([options, &status] { status = start(*options); });
}

}  // namespace trimwright::cli
