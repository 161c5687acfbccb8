#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/files.hpp"

namespace trimwright::cli {

/// Exit status of the program.
enum Status : int {
  done = 0,
  refused = 1,      ///< the files, the runs in them or the time given do not allow an answer
  wrong_usage = 2,  ///< the command line
  not_written = 3,  ///< the answer could not be written
};

/// What every command takes: the form of its answer and where it goes.
struct Output {
  std::string format = "text";
  std::string path;  ///< empty: standard output

  /// Adds --format and --output.
  void add_options(CLI::App& command);
  /// Adds --output alone, for an answer that has one form.
  void add_path(CLI::App& command);
  [[nodiscard]] bool json() const { return format == "json"; }
  /// Columns for tables of text: what COLUMNS says, else as many as the terminal written to has, else 80; at
  /// least 80.
  [[nodiscard]] std::size_t width() const;
  /// Error where the answer would go over one of the files it is made from.
  [[nodiscard]] Result<void> check_apart_from(const std::vector<std::string>& sources) const;
  /// Writes the answer whole or not at all, and never over one of `sources`.
  [[nodiscard]] Status write(const std::string& answer, const std::vector<std::string>& sources = {}) const;
  /// The same part by part, as `make` hands them over. On standard output what came before a fault is
  /// printed.
  using Part = std::function<Result<void>(std::string_view)>;
  [[nodiscard]] Status write_parts(const std::function<Result<void>(const Part&)>& make,
                                   const std::vector<std::string>& sources) const;
};

/// "trimwright: ..." in one line on standard error; gives back `refused`, or `not_written` where the answer
/// could not be written.
Status complain(const Error& error);

/// CLI11's message about a command line as one of ours: what, what was expected, and where more is told.
[[nodiscard]] std::string usage_message(const CLI::App* app, const CLI::Error& error);

/// `read_job`, which also tells on standard error what it left out; with `archive` the prior of its rotor
/// from the earlier jobs there.
[[nodiscard]] Result<JobFile> open_job(const std::string& path, const std::string& archive = {});
/// What was left out of a job's files, on standard error.
void tell_notes(const std::vector<std::string>& notes);
/// `complain` of what `command` could not do with the job at `path`: where that is for want of a run, the
/// command that comes next is named.
Status complain_of_job(Error error, const JobFile& file, const std::string& path, const std::string& command);

/// An option that needs some text.
[[nodiscard]] CLI::Validator not_empty();
/// A number from `least` to `most`; unlike CLI::Range it lets no NaN through.
[[nodiscard]] CLI::Validator number_between(double least, double most);

/// Without one of its subcommands `command` complains and lists them. To be called before they are added or
/// after.
void ask_for_subcommand(CLI::App& command, int& status);

/// --archive, for a job whose rotor or type was trimmed before.
void add_archive(CLI::App& command, std::string& archive);

/// --amplitudes-only, for a job whose phases were lost.
void add_amplitudes_only(CLI::App& command, bool& wanted);

/// Each adds its command; the chosen one's status ends up in `status`.
void add_check(CLI::App& app, int& status);
void add_influence(CLI::App& app, int& status);
void add_page(CLI::App& app, int& status);
void add_plan(CLI::App& app, int& status);
void add_ready(CLI::App& app, int& status);
void add_readings(CLI::App& app, int& status);
void add_record(CLI::App& app, int& status);
void add_rehearse(CLI::App& app, int& status);
void add_manual(CLI::App& app, int& status);
void add_start(CLI::App& app, int& status);
void add_tolerance(CLI::App& app, int& status);
void add_trial(CLI::App& app, int& status);

}  // namespace trimwright::cli
