#include <memory>

#include "commands.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

namespace trimwright::cli {

void add_tolerance(CLI::App& app, int& status) {
  struct Options {
    double rpm = 0.0;
    Output output;
  };
  auto options = std::make_shared<Options>();
  auto* command =
      app.add_subcommand("tolerance", "Balance quality grades of ISO 21940-11 at a speed, for the shop");
  command->add_option("RPM", options->rpm, "service speed in rpm")->required()->check(number_between(1, 1e6));
  options->output.add_options(*command);
  command->footer("Example:\n  trimwright tolerance 3000\n      Never an acceptance limit on wing.");
  command->callback([options, &status] {
    status = options->output.write(options->output.json() ? tolerance_json(options->rpm)
                                                          : tolerance_text(options->rpm));
  });
}

}  // namespace trimwright::cli
