#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>

#include "base/text.hpp"
#include "commands.hpp"

namespace trimwright::cli {
namespace {

/// What follows an option, as its help tells: "YYYY-MM-DD" of "TEXT:YYYY-MM-DD".
std::string value_words(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  return type.substr(type.rfind(':') + 1);
}

/// About arguments that are `left`: an option or a command that there is not, or one too many.
Error not_known(const CLI::App& command, const std::string& typed, const std::vector<std::string>& left) {
  const auto begins_an_option = [](const std::string& one) { return one.size() > 1 && one.starts_with('-'); };
  const auto option = std::find_if(left.begin(), left.end(), begins_an_option);
  std::vector<std::string> known;
  if (option != left.end()) {
    for (const CLI::Option* one : command.get_options())
      if (begins_an_option(one->get_name()) && one != command.get_help_ptr())
        known.push_back(one->get_name());
    return {"\"" + shortened(*option) + "\" is no option of " + typed,
            fmt::format("one of {}", fmt::join(known, ", ")),
            {}};
  }
  for (const CLI::App* one : command.get_subcommands([](const CLI::App*) { return true; }))
    known.push_back(one->get_name());
  if (known.empty())
    return {"\"" + shortened(left.front()) + "\" is more than " + typed + " takes", "nothing more", {}};
  return {"\"" + shortened(left.front()) + "\" is no command of " + typed,
          fmt::format("one of {}", fmt::join(known, ", ")),
          {}};
}

}  // namespace

std::string usage_message(const CLI::App* app, const CLI::Error& error) {
  const CLI::App* command = app;
  std::string typed = "trimwright";
  while (!command->get_subcommands().empty()) {
    command = command->get_subcommands().back();
    typed += " " + command->get_name();
  }
  Error told{error.what(), {}, {}};
  const std::string name = told.what.substr(0, told.what.find(':'));
  const CLI::Option* option = command->get_option_no_throw(name);
  if (const auto left = app->remaining(true);
      dynamic_cast<const CLI::ExtrasError*>(&error) != nullptr && !left.empty())
    told = not_known(*command, typed, left);
  else if (option != nullptr && dynamic_cast<const CLI::ArgumentMismatch*>(&error) != nullptr)
    told = {name + " stands without what belongs to it", value_words(*option) + " after it", {}};
  else if (option != nullptr && dynamic_cast<const CLI::ValidationError*>(&error) != nullptr)
    told.expected = value_words(*option);
  const std::string help = typed + " --help";
  told.expected =
      told.expected.empty() ? "a command line as " + help + " shows" : told.expected + "; see " + help;
  return "trimwright: " + told.message() + "\n";
}

}  // namespace trimwright::cli
