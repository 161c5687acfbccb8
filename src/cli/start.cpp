#include <fmt/format.h>
#include <unistd.h>

#include <iostream>
#include <map>
#include <memory>
#include <set>

#include "base/text.hpp"
#include "commands.hpp"
#include "io/start_files.hpp"
#include "report/plan_parts.hpp"
#include "report/text_table.hpp"
#include "runs/next_steps.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* start_example = R"(Examples:
  trimwright start engine-417
      Asks some questions on a terminal, then writes rotor.yaml, job.yaml, readings.csv (to fill in) and
      run-sheet.html (to print) into the new folder engine-417. What no option says is asked.
  trimwright start engine-417 --readings sheet.csv
      Takes sensors, units, runs and speeds from a table of readings that a spreadsheet saved as CSV.
  trimwright start engine-417 --planes "front plane 32, rear plane 24" --rotation "clockwise from aft" \
      --slots "slot 1 at 0 deg, clockwise from front" --radius "front plane: 250 mm; rear plane: 10 in" \
      --weights "S1 2.5 g, S2 5 g" --sensors "front in/s peak, rear mil pp" \
      --limits "front: limit 1.0 in/s, target 0.3; rear: limit 4 mil" --speeds "3200 3600 4104 rpm"
      The same without questions about these. One answer holds for all planes (or sensors) that it fits.)";

struct StartOptions {
  std::string folder;
  std::string readings;
  StartAnswers answers;
  StartJob begun{};  ///< what the table of readings tells
  std::set<std::string> told_back{};
};

/// Says what was read into answers, each once.
void tell_understood(StartOptions& options, const StartJob& job) {
  for (const auto& one : job.understood)
    if (options.told_back.insert(one).second)
      fmt::print(stderr, "{}", wrapped("  ", "Understood: " + one + "."));
}

/// What is asked of each of some planes, sensors or runs, as its option has it.
std::string joined(const std::vector<std::pair<std::string, std::string>>& told) {
  std::string all;
  for (const auto& [of, answer] : told)
    all += (all.empty() ? "" : "; ") + (of.empty() ? "" : of + ": ") + answer;
  return all;
}

void print_question(const StartQuestion& question, const std::string& of, const StartJob& job,
                    const std::string& enter) {
  fmt::print(stderr, "\n{}\n", fmt::format(fmt::runtime(question.words), of));
  fmt::print(stderr, "{}{}> ", wrapped("  ", question.reason),
             wrapped("  ", "Example: " + example_of(question, of, job) + ". " + enter + "."));
}

/// Whether what is told so far, with this answer, fits; where not, it says so.
bool fits(StartOptions& options, const std::string& key, const std::string& answer) {
  StartAnswers answers = options.answers;
  answers[key] = answer;
  const auto job = start_job(answers, options.begun);
  if (job) tell_understood(options, *job);
  if (job) return true;
  std::string said = job.error().message();
  if (const std::string option = "--" + key + ": "; said.starts_with(option)) said.erase(0, option.size());
  fmt::print(stderr, "  {}\n", said);
  return false;
}

using Told = std::vector<std::pair<std::string, std::string>>;

/// The earlier answer that Enter repeats, where it may hold here too: of the plane before, or of the last
/// sensor in the same unit.
const std::pair<std::string, std::string>* repeated(const StartQuestion& question, const std::string& of,
                                                    const Told& told, const StartOptions& options,
                                                    const StartJob& job) {
  const auto holds = [&](const std::string& answer) {
    StartAnswers answers = options.answers;
    answers[question.key] = answer;
    return start_job(answers, options.begun).has_value();
  };
  const auto unit_of = [&](const std::string& name) {
    for (const auto& sensor : job.sensors)
      if (sensor.name == name) return sensor.unit.text();
    return std::string{};
  };
  if (question.asked_of == AskedOf::runs) return nullptr;
  const bool of_sensors = question.asked_of == AskedOf::sensors;
  for (auto one = told.rbegin(); one != told.rend(); ++one) {
    if (!of_sensors)
      return question.key == "slots" || question.key == "weights" || holds(one->second) ? &*one : nullptr;
    if (unit_of(one->first) == unit_of(of)) return &*one;
  }
  return nullptr;
}

enum class Asked { all, back, nothing_more };

/// One question, asked of everything that it is about, again until the answer fits.
Asked ask(const StartQuestion& question, StartOptions& options, const StartJob& job) {
  Told told;
  const auto all = named_by(question, job);
  bool refused = false;  // then the question stands just above
  for (std::size_t i = 0; i < all.size();) {
    const std::string& of = all[i];
    const std::string needed = why_needed(question, of, job);
    const auto* const before = repeated(question, of, told, options, job);
    if (refused)
      fmt::print(stderr, "> ");
    else
      print_question(question, of, job,
                     before ? "Enter: the same as of " + before->first + ", " + before->second +
                                  (question.key == "slots" ? ", to be confirmed in the rotor file" : "") +
                                  (needed.empty() ? "; none leaves it open" : "")
                     : !needed.empty() ? "An answer is needed: " + needed
                                       : "Enter: " + enter_means(question, of, job));
    refused = false;
    std::string answer;
    if (!std::getline(std::cin, answer)) return Asked::nothing_more;
    const auto begin = answer.find_first_not_of(" \t\r");
    const auto words = begin == answer.npos
                           ? std::string{}
                           : answer.substr(begin, answer.find_last_not_of(" \t\r") + 1 - begin);
    if (words == "back") {
      if (i == 0) return Asked::back;
      --i;
      if (!told.empty() && told.back().first == all[i]) told.pop_back();
      continue;
    }
    if (words.empty() && !before && !needed.empty()) {
      fmt::print(stderr, "  This is needed: {}.\n", needed);
      refused = true;
      continue;
    }
    if (words.empty())
      answer = !before ? enter_answer(question, of, job)
               : question.key == "slots" && lower_case(before->second) != "none" ? "same as " + before->first
                                                                                 : before->second;
    if (!answer.empty()) {
      Told with = told;
      with.emplace_back(of, answer);
      refused = !fits(options, question.key, joined(with));
      if (refused) continue;
      told = std::move(with);
    }
    ++i;
  }
  if (!told.empty()) options.answers[question.key] = joined(told);
  return Asked::all;
}

void tell_table(const StartJob& begun) {
  std::string sensors, runs;
  for (const auto& sensor : begun.sensors)
    sensors += (sensors.empty() ? "" : ", ") + sensor.name + " " + sensor.unit.text();
  for (const auto& run : begun.runs) runs += (runs.empty() ? "" : ", ") + run.name;
  fmt::print(stderr, "{}", wrapped("", "The table has the sensors " + sensors + "; the runs " + runs + "."));
}

/// Asks what no option answered. "back" takes the last answer away and asks again.
Result<void> ask_all(StartOptions& options) {
  std::vector<std::size_t> asked;
  fmt::print(stderr, "An answer \"back\" returns to the question before.\n");
  if (!options.readings.empty()) tell_table(options.begun);
  for (std::size_t i = 0; i < start_questions().size(); ++i) {
    const auto& question = start_questions()[i];
    const auto job = start_job(options.answers, options.begun);
    if (!job) return tl::unexpected(job.error());
    const bool is_asked = !named_by(question, *job).empty();
    const Asked done = ask(question, options, *job);
    if (done == Asked::nothing_more) return {};
    if (done == Asked::all && is_asked) asked.push_back(i);
    if (done != Asked::back) continue;
    if (!asked.empty()) {
      i = asked.back();
      asked.pop_back();
      options.answers.erase(start_questions()[i].key);
    }
    --i;  // the same again
  }
  return {};
}

/// "Which speed is 100 %? As \"4740 rpm\""
std::string option_words(const StartQuestion& question) {
  static const std::map<AskedOf, std::string> each{
      {AskedOf::planes, "Each plane"}, {AskedOf::sensors, "Each sensor"}, {AskedOf::runs, "Each run"}};
  const auto of = each.find(question.asked_of);
  return (of == each.end() ? question.words : fmt::format(fmt::runtime(question.words), of->second)) +
         " As \"" + question.example + "\"";
}

std::string what_comes_next(const StartedFolder& started, const std::string& folder) {
  const NextSteps next = next_steps(started.job.job, false);
  const bool to_run = next.command == "ready" || next.command == "trial";
  std::string text = missing_lines(next) + "\nNEXT\n";
  if (to_run && !started.job.job.rotor.to_confirm.empty())
    text += wrapped("  ", "What is put right in " + folder +
                              "/rotor.yaml comes onto the run sheet when it is made afresh:") +
            "  trimwright page " + folder + "/job.yaml -o " + folder + "/run-sheet.html\n";
  if (to_run)
    text += wrapped(
        "  ", "Print " + folder + "/run-sheet.html from a browser for the next run, and fill in " + folder +
                  "/" + started.job.sources.back().substr(started.job.sources.back().find_last_of('/') + 1) +
                  " after it.");
  text += "  trimwright ready " + folder +
          "/job.yaml\n    says what is still missing, and which command comes next\n";
  if (started.to_confirm.empty()) return text;
  text += "\nTO CONFIRM\n" +
          wrapped("  ", "No weight is advised before. Open " + folder +
                            "/rotor.yaml in a text editor. Compare each of these lines with the maker's "
                            "manual and put it right. Where it stands behind a #, fill in its lines and take "
                            "each # away:");
  for (const auto& one : started.to_confirm)
    text +=
        &one == &started.to_confirm.back()
            ? wrapped("  ", fmt::format("After each of them delete its words from the list to_confirm, line "
                                        "{}. When nothing is left there, delete that line.",
                                        one.line))
            : fmt::format("    line {}: {}\n", one.line, one.words);
  return text;
}

Status start(StartOptions& options) {
  if (const auto free = check_new_folder(options.folder, options.readings); !free)
    return complain(free.error());
  auto begun = begun_job(options.readings);
  if (!begun) return complain(begun.error());
  options.begun = *std::move(begun);
  if (const auto job = start_job(options.answers, options.begun)) tell_understood(options, *job);
  if (::isatty(STDIN_FILENO) == 1 && ::isatty(STDERR_FILENO) == 1)
    if (const auto asked = ask_all(options); !asked) return complain(asked.error());
  const auto started = start_folder(options.folder, options.answers, options.readings);
  if (!started) return complain(started.error());
  tell_notes(started->job.notes);
  const std::string folder = one_line(options.folder);
  std::string text = "Written into " + folder + ":";
  for (const auto& name : started->files) text += " " + one_line(name);
  return Output{}.write(text + "\n" + what_comes_next(*started, folder));
}

}  // namespace

void add_start(CLI::App& app, int& status) {
  auto options = std::make_shared<StartOptions>();
  auto* command =
      app.add_subcommand("start", "Files for a new job, to fill in: rotor, job, readings, run sheet");
  command->add_option("FOLDER", options->folder, "folder for the files; made where there is none")
      ->required()
      ->check(not_empty());
  command
      ->add_option(
          "--readings", options->readings,
          "a table of readings (CSV) that is there already: sensors, units, runs and speeds are taken "
          "from it; it is copied into the folder")
      ->check(not_empty());
  for (const auto& question : start_questions())
    command
        ->add_option_function<std::string>(
            "--" + question.key,
            [options, key = question.key](const std::string& answer) { options->answers[key] = answer; },
            option_words(question))
        ->check(not_empty());
  command->footer(start_example);
  command->callback([options, &status] { status = start(*options); });
}

}  // namespace trimwright::cli
