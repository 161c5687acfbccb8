#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>

#include "base/new_file.hpp"
#include "base/text.hpp"
#include "commands.hpp"
#include "trimwright/phasor.hpp"
#include "work.hpp"

namespace trimwright::cli {
namespace {

/// Text that a terminal can show line by line, whatever a file name or an argument in it holds.
std::string printable(const std::string& text) {
  std::string shown;
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = std::min(text.find('\n', begin), text.size());
    shown += one_line(std::string_view(text).substr(begin, end - begin));
    if (end < text.size()) shown += '\n';
    begin = end + 1;
  }
  return shown;
}

/// The same with headings in bold and marks in colour, which only repeat what the words beside them say.
std::string coloured(const std::string& text) {
  static const std::array<std::pair<std::string_view, std::string_view>, 4> marks{
      {{"✓", "\033[32m"}, {"▲", "\033[33m"}, {"✗", "\033[31m"}, {"  ! ", "\033[33m"}}};
  std::string shown;
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = std::min(text.find('\n', begin), text.size());
    std::string line = text.substr(begin, end - begin);
    const auto is_capital = [](char c) { return c >= 'A' && c <= 'Z'; };
    const bool heading = line.size() > 2 && std::all_of(line.begin(), line.begin() + 3, is_capital);
    if (heading) line = "\033[1m" + line + "\033[0m";
    for (const auto& [mark, colour] : marks)
      if (const auto at = line.find(mark); !heading && at != std::string::npos)
        line.replace(at, mark.size(), std::string(colour) + std::string(mark) + "\033[0m");
    shown += line;
    if (end < text.size()) shown += '\n';
    begin = end + 1;
  }
  return shown;
}

/// A terminal, whose user did not refuse colour (no-color.org).
bool takes_colour() {
  const char* refused = std::getenv("NO_COLOR");
  const char* terminal = std::getenv("TERM");
  return ::isatty(STDOUT_FILENO) == 1 && (refused == nullptr || *refused == '\0') && terminal != nullptr &&
         std::string_view(terminal) != "dumb";
}

Result<void> print(std::string_view answer) {
  if (write_all(STDOUT_FILENO, answer)) return {};
  return tl::unexpected(Error{std::string("standard output cannot be written (") + std::strerror(errno) + ")",
                              {},
                              {{}, unwritten, {}}});
}

}  // namespace

void Output::add_options(CLI::App& command) {
  command.add_option("--format", format, "text (default) or json")->check(CLI::IsMember({"text", "json"}));
  add_path(command);
}

void Output::add_path(CLI::App& command) {
  command.add_option("-o,--output", path, "write to this file instead of standard output")
      ->check(not_empty());
}

std::size_t Output::width() const {
  constexpr long least = 80, most = 1000;
  const char* columns = std::getenv("COLUMNS");
  long width = columns == nullptr ? 0 : std::strtol(columns, nullptr, 10);
  if (winsize size{}; width <= 0 && path.empty() && ::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0)
    width = size.ws_col;
  return static_cast<std::size_t>(std::clamp(width, least, most));
}

Result<void> Output::check_apart_from(const std::vector<std::string>& sources) const {
  std::error_code none;
  for (const auto& source : sources)
    if (!path.empty() && std::filesystem::equivalent(path, source, none))
      return tl::unexpected(Error{"this is one of the files the answer is made from",
                                  "another name for the output",
                                  {path, unwritten, {}}});
  return {};
}

Status Output::write(const std::string& answer, const std::vector<std::string>& sources) const {
  work_is_done();
  if (const auto apart = check_apart_from(sources); !apart) return complain(apart.error());
  const std::string shown = format == "text" ? printable(answer) : answer;
  const bool colour = path.empty() && format == "text" && takes_colour();
  const auto written = path.empty() ? print(colour ? coloured(shown) : shown) : write_text_file(path, shown);
  return written ? done : complain(written.error());
}

Status Output::write_parts(const std::function<Result<void>(const Part&)>& make,
                           const std::vector<std::string>& sources) const {
  work_is_done();
  if (const auto apart = check_apart_from(sources); !apart) return complain(apart.error());
  if (path.empty()) {
    const auto made = make([](std::string_view part) { return print(part); });
    return made ? done : complain(made.error());
  }
  auto file = NewFile::create(path);
  if (!file) return complain(file.error());
  const auto made = make([&](std::string_view part) -> Result<void> {
    if (write_all(file->descriptor(), part)) return {};
    return file->failed_to("write it");
  });
  const auto finished = made ? file->finish() : made;
  return finished ? done : complain(finished.error());
}

Status complain(const Error& error) {
  work_is_done();
  std::fprintf(stderr, "trimwright: %s\n", error.message().c_str());
  return error.where.line == unwritten ? not_written : refused;
}

void ask_for_subcommand(CLI::App& command, int& status) {
  command.require_subcommand(0, 1);
  command.callback([&command, &status] {
    if (!command.get_subcommands().empty()) return;
    const std::string full = "trimwright " + command.get_name();
    complain({command.get_name() + ": no subcommand is given", "one of these (see " + full + " --help)", {}});
    for (const auto* one : command.get_subcommands({}))
      fmt::print(stderr, "  {:8} {}\n", one->get_name(), one->get_description());
    status = wrong_usage;
  });
}

CLI::Validator not_empty() {
  return {[](const std::string& text) { return text.empty() ? std::string("it is empty") : std::string{}; },
          "TEXT"};
}

CLI::Validator number_between(double least, double most) {
  return {[=](const std::string& text) {
            const auto number = parse_quantity(text);
            const bool fits =
                number && number->unit.empty() && number->value >= least && number->value <= most;
            return fits ? std::string{}
                        : fmt::format("\"{}\" is not from {} to {}", shortened(text), least, most);
          },
          fmt::format("{} to {}", least, most)};
}

void add_amplitudes_only(CLI::App& command, bool& wanted) {
  command.add_flag("--amplitudes-only", wanted,
                   "use no phase: it was lost (a baseline and three trial runs in each plane)");
}

}  // namespace trimwright::cli
