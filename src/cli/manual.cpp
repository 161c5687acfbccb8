#include <fmt/format.h>

#include <filesystem>

#include "base/new_file.hpp"
#include "commands.hpp"

namespace trimwright::cli {
namespace {

/// A line of a manual page (roff, the macros "man") that shows the text as it is.
std::string roff_line(const std::string& text) {
  std::string line;
  for (const char c : text) {
    if (c == '\\')
      line += "\\e";
    else if (c == '-')
      line += "\\-";
    else
      line += c;
  }
  const bool is_request = !line.empty() && (line.front() == '.' || line.front() == '\'');
  return (is_request ? "\\&" : "") + line + "\n";
}

/// Lines kept as they are: examples.
std::string roff_lines(const std::string& text) {
  std::string lines = ".nf\n";
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = std::min(text.find('\n', begin), text.size());
    lines += roff_line(text.substr(begin, end - begin));
    begin = end + 1;
  }
  return lines + ".fi\n";
}

bool is_positional(const CLI::Option& option) { return !option.nonpositional(); }

/// "--slot NUMBER", "-o,--output FILE".
std::string option_words(const CLI::Option& option) {
  std::string words = option.get_name(is_positional(option), true);
  const std::string type = option.get_type_name();
  if (!is_positional(option) && option.get_type_size() > 0 && !type.empty()) words += " " + type;
  return words;
}

std::vector<CLI::App*> subcommands_of(const CLI::App& app) {
  auto all =
      const_cast<CLI::App&>(app).get_subcommands([](CLI::App* one) { return !one->get_name().empty(); });
  return all;
}

/// Synopsis, options and examples of a command, then of the commands below it.
std::string command_section(const CLI::App& command, const std::string& full_name) {
  std::string text =
      ".SH " + std::string(full_name.find(' ') == full_name.rfind(' ') ? "SYNOPSIS\n" : "SUBCOMMAND\n");
  text += ".B " + roff_line(full_name);
  std::string operands, options;
  for (const CLI::Option* option : command.get_options()) {
    const std::string entry =
        ".TP\n.B " + roff_line(option_words(*option)) + roff_line(option->get_description());
    if (is_positional(*option)) operands += " " + option->get_name(true);
    options += entry;
  }
  text += roff_line("[OPTIONS]" + operands + (subcommands_of(command).empty() ? "" : " SUBCOMMAND"));
  if (full_name.find(' ') != full_name.rfind(' ')) text += ".PP\n" + roff_line(command.get_description());
  text += ".SS Options\n" + options;
  if (!command.get_footer().empty()) text += ".SS More\n" + roff_lines(command.get_footer());
  for (const CLI::App* one : subcommands_of(command))
    text += command_section(*one, full_name + " " + one->get_name());
  return text;
}

std::string manual_page(const CLI::App& app, const CLI::App& command) {
  const bool whole = &app == &command;
  const std::string name = whole ? app.get_name() : app.get_name() + "-" + command.get_name();
  std::string text =
      fmt::format(".TH {} 1 \"\" \"trimwright {}\" \"User commands\"\n.SH NAME\n", name, TRIMWRIGHT_VERSION);
  text += roff_line(name + " - " + command.get_description());
  if (!whole) {
    text += command_section(command, app.get_name() + " " + command.get_name());
    return text + ".SH SEE ALSO\n.BR trimwright (1)\n";
  }
  text += ".SH SYNOPSIS\n.B trimwright\nCOMMAND ...\n.SH COMMANDS\n";
  for (const CLI::App* one : subcommands_of(app))
    text += ".TP\n.BR " + roff_line(app.get_name() + "-" + one->get_name() + " (1)") +
            roff_line(one->get_description());
  return text + ".SH EXIT STATUS\n" + roff_lines(app.get_footer());
}

/// Words that may follow a command: its subcommands and options.
std::string words_after(const CLI::App& command) {
  std::string words;
  for (const CLI::App* one : subcommands_of(command)) words += one->get_name() + " ";
  for (const CLI::Option* option : command.get_options())
    for (const auto& name : option->get_lnames()) words += "--" + name + " ";
  if (!words.empty()) words.pop_back();
  return words;
}

void add_cases(const CLI::App& command, const std::string& path, std::string& cases) {
  for (const CLI::App* one : subcommands_of(command)) {
    const std::string full = path + " " + one->get_name();
    add_cases(*one, full, cases);
    cases += fmt::format("    \"{}\"*) words=\"{}\" ;;\n", full.substr(1), words_after(*one));
  }
}

/// For bash: commands and options by name, files everywhere else.
std::string bash_completion(const CLI::App& app) {
  std::string cases;
  add_cases(app, "", cases);
  return fmt::format(
      R"(# Completion of trimwright in bash; written by "trimwright manual".
_trimwright() {{
  local words="{}" typed="${{COMP_WORDS[COMP_CWORD]}}"
  case "${{COMP_WORDS[*]:1:COMP_CWORD-1}}" in
{}  esac
  mapfile -t COMPREPLY < <(compgen -W "$words" -- "$typed")
  [ ${{#COMPREPLY[@]}} -gt 0 ] || mapfile -t COMPREPLY < <(compgen -f -- "$typed")
}}
complete -o filenames -F _trimwright trimwright
)",
      words_after(app), cases);
}

Status write_manual(const CLI::App& app, const std::string& folder) {
  for (const CLI::App* one : subcommands_of(app))
    if (one->get_name() == folder)
      return complain({"\"" + folder + "\" is a command, and here the folder for all manual pages is named",
                       "a folder, such as ./man (trimwright " + folder + " --help tells of the command)",
                       {}});
  std::error_code status;
  std::filesystem::create_directories(folder, status);
  const auto write = [&](const std::string& name, const std::string& text) {
    return write_text_file((std::filesystem::path(folder) / name).string(), text);
  };
  auto written = write("trimwright.1", manual_page(app, app));
  for (const CLI::App* one : subcommands_of(app))
    if (written) written = write("trimwright-" + one->get_name() + ".1", manual_page(app, *one));
  if (written) written = write("trimwright.bash", bash_completion(app));
  return written ? done : complain(written.error());
}

}  // namespace

void add_manual(CLI::App& app, int& status) {
  auto folder = std::make_shared<std::string>();
  auto* command =
      app.add_subcommand("manual", "Manual pages and the completion for bash, as they are installed");
  command->add_option("FOLDER", *folder, "folder for the files; made where there is none")
      ->required()
      ->check(not_empty());
  command->footer(
      "Example:\n  trimwright manual man\n  man -l man/trimwright-plan.1\n  . man/trimwright.bash");
  command->callback([folder, &app, &status] { status = write_manual(app, *folder); });
}

}  // namespace trimwright::cli
