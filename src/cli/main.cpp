#include <exception>

#include "commands.hpp"

int main(int argc, char** argv) {
  using namespace trimwright::cli;
  CLI::App app{
      "trimwright: from vibration readings to the weights that balance a fan, and a plan to fit them"};
  app.name("trimwright");
  app.set_version_flag("--version", TRIMWRIGHT_VERSION);
  app.require_subcommand(1);
  app.footer(
      "Exit status: 0 done; 1 the files or the runs do not allow an answer; 2 wrong command line;\n"
      "3 the answer could not be written. Messages go to standard error.");
  int status = done;
  add_plan(app, status);
  add_influence(app, status);
  add_tolerance(app, status);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? done : wrong_usage;
  } catch (const std::exception& error) {
    complain(std::string("stopped by a failure of the program itself: ") + error.what());
    return refused;
  }
  return status;
}
