#include <fcntl.h>
#include <unistd.h>

#include <csignal>
#include <exception>
#include <iostream>
#include <new>
#include <sstream>

#include "base/new_file.hpp"
#include "commands.hpp"
#include "work.hpp"

namespace {

using namespace trimwright::cli;

/// A standard stream that was closed must not become the number of a file that is opened later. Writing to it
/// goes on failing.
void take_closed_streams() {
  int stream = ::open("/dev/null", O_RDONLY);
  while (stream >= 0 && stream <= STDERR_FILENO) stream = ::open("/dev/null", O_RDONLY);
  if (stream >= 0) ::close(stream);
}

int run(int argc, char** argv) {
  CLI::App app{
      "trimwright: from vibration readings to the weights that balance a fan, and a plan to fit them"};
  app.name("trimwright");
  app.set_version_flag("--version", TRIMWRIGHT_VERSION);
  app.require_subcommand(0, 1);
  app.failure_message(usage_message);
  app.footer(
      "Exit status: 0 done; 1 the files, the runs or the time given do not allow an answer;\n"
      "2 wrong command line; 3 the answer could not be written. Messages go to standard error.");
  int status = done;
  add_start(app, status);
  add_ready(app, status);
  add_readings(app, status);
  add_trial(app, status);
  add_plan(app, status);
  add_page(app, status);
  add_check(app, status);
  add_influence(app, status);
  add_record(app, status);
  add_rehearse(app, status);
  add_tolerance(app, status);
  add_manual(app, status);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    std::ostringstream help;
    return app.exit(error, help, std::cerr) == 0 ? Output{}.write(help.str()) : wrong_usage;
  }
  if (!app.get_subcommands().empty()) return status;
  complain(
      {"no command is given",
       "start, ready, readings, trial, plan, page, check, record, influence, rehearse, tolerance or manual "
       "(see trimwright --help)",
       {}});
  return wrong_usage;
}

}  // namespace

int main(int argc, char** argv) {
  std::signal(SIGPIPE, SIG_IGN);  // a reader that went away is an answer not written, told by its status
  take_closed_streams();
  trimwright::end_cleanly_on_signals(ends_by_itself);
  try {
    return run(argc, argv);
  } catch (const std::bad_alloc&) {
    return complain({"there is not enough memory for a job of this size",
                     "fewer readings, places or planes in one job, or a machine with more memory",
                     {}});
  } catch (const std::exception& error) {
    return complain({std::string("stopped by a failure of the program itself: ") + error.what(), {}, {}});
  }
}
