#include <fmt/format.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <iostream>

#include "commands.hpp"
#include "trimwright/base/text.hpp"
#include "trimwright/base/unit.hpp"
#include "trimwright/io/files.hpp"

namespace trimwright::cli {
namespace {

bool is_source(const std::string& path, const std::vector<std::string>& sources) {
  for (const auto& source : sources) {
    std::error_code none;
    if (std::filesystem::equivalent(path, source, none)) return true;
  }
  return false;
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

Status Output::write(const std::string& answer, const std::vector<std::string>& sources) const {
  if (path.empty()) {
    std::fwrite(answer.data(), 1, answer.size(), stdout);
    if (standard_output_is_whole()) return done;
    complain({std::string("standard output cannot be written (") + std::strerror(errno) + ")", {}, {}});
    return not_written;
  }
  if (is_source(path, sources)) {
    complain(
        {"this is one of the files the answer is made from", "another name for the output", {path, 0, {}}});
    return not_written;
  }
  const auto written = write_text_file(path, answer);
  if (written) return done;
  complain(written.error());
  return not_written;
}

Status Output::write_parts(const std::function<Result<void>(const Part&)>& make,
                           const std::vector<std::string>& sources) const {
  std::string answer;
  const auto made = make([&](std::string_view part) -> Result<void> {
    if (!path.empty()) {
      answer += part;
    } else if (std::fwrite(part.data(), 1, part.size(), stdout) != part.size()) {
      return fail(std::string("standard output cannot be written (") + std::strerror(errno) + ")", "");
    }
    return {};
  });
  return made ? write(answer, sources) : complain(made.error());
}

Status complain(const Error& error) {
  std::fprintf(stderr, "trimwright: %s\n", error.message().c_str());
  return refused;
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

bool standard_output_is_whole() {
  errno = 0;
  return std::cout.flush().good() && std::fflush(stdout) == 0 && std::ferror(stdout) == 0;
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
