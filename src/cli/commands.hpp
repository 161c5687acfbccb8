#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace trimwright::cli {

/// Exit status of the program.
enum Status : int {
  done = 0,
  refused = 1,      ///< the files, or the runs in them, do not allow an answer
  wrong_usage = 2,  ///< the command line
  not_written = 3,  ///< the answer could not be written
};

/// What every command takes: the form of its answer and where it goes.
struct Output {
  std::string format = "text";
  std::string path;  ///< empty: standard output

  void add_options(CLI::App& command);
  [[nodiscard]] bool json() const { return format == "json"; }
  /// Writes the answer whole or not at all.
  [[nodiscard]] Status write(const std::string& answer) const;
};

/// Prints "trimwright: ..." on standard error.
Status complain(const std::string& message);

/// Each adds its command; the chosen one's status ends up in `status`.
void add_influence(CLI::App& app, int& status);
void add_plan(CLI::App& app, int& status);
void add_tolerance(CLI::App& app, int& status);

}  // namespace trimwright::cli
