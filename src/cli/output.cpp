#include <cerrno>
#include <cstdio>
#include <cstring>

#include "commands.hpp"
#include "trimwright/io/files.hpp"

namespace trimwright::cli {

void Output::add_options(CLI::App& command) {
  command.add_option("--format", format, "text (default) or json")->check(CLI::IsMember({"text", "json"}));
  command.add_option("-o,--output", path, "write to this file instead of standard output");
}

Status Output::write(const std::string& answer) const {
  if (!path.empty()) {
    const auto written = write_text_file(path, answer);
    if (written) return done;
    complain(written.error().message());
    return not_written;
  }
  const bool whole =
      std::fwrite(answer.data(), 1, answer.size(), stdout) == answer.size() && std::fflush(stdout) == 0;
  if (whole) return done;
  complain(std::string("standard output cannot be written (") + std::strerror(errno) + ")");
  return not_written;
}

Status complain(const std::string& message) {
  std::fprintf(stderr, "trimwright: %s\n", message.c_str());
  return refused;
}

}  // namespace trimwright::cli
