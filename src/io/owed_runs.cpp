#include "owed_runs.hpp"

#include <algorithm>

#include "base/name.hpp"
#include "base/text.hpp"
#include "trade_values.hpp"
#include "trimwright/files.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

constexpr const char* owed_example = "a name and the speeds it reaches, as \"leak check: 60 %, 85 %\"";

OwedRun read_owed_run(const YamlValue& value, const Rotor& rotor, const std::vector<OwedRun>& before) {
  YamlFields fields(value, "a run: {name: leak check, speeds: [60 %, 85 %]}");
  OwedRun run;
  const auto name = fields.required("name");
  run.name = name.label();
  if (std::any_of(before.begin(), before.end(), [&](const auto& one) { return alike(one.name, run.name); }))
    name.reject("two runs are called \"" + run.name + "\"", "a name of its own for each run");
  const auto speeds = fields.required("speeds");
  for (const auto& speed : speeds.list("a list of speeds, as [60 %, 85 %]"))
    run.speeds_rpm.push_back(read_speed(speed, rotor));
  if (run.speeds_rpm.empty()) speeds.reject("the list is empty", "at least one speed");
  fields.finish();
  return run;
}

}  // namespace

Result<OwedRun> parse_owed_run(const std::string& text, const Rotor& rotor) {
  const auto colon = text.rfind(':');
  if (colon == text.npos) return fail("\"" + shortened(text) + "\" names no speeds", owed_example);
  const auto name = parse_name(without_blanks_around(text.substr(0, colon)));
  if (!name)
    return tl::unexpected(Error{"\"" + shortened(text) + "\": " + name.error().what, owed_example, {}});
  OwedRun run{*name, {}};
  for (std::size_t from = colon + 1; from <= text.size();) {
    const auto to = std::min(text.find(',', from), text.size());
    const auto rpm = parse_speed(without_blanks_around(text.substr(from, to - from)), rotor);
    if (!rpm)
      return tl::unexpected(
          Error{"\"" + shortened(text) + "\": " + rpm.error().what, rpm.error().expected, {}});
    run.speeds_rpm.push_back(*rpm);
    from = to + 1;
  }
  return run;
}

Result<std::vector<OwedRun>> read_owed_runs(const std::string& path, const Rotor& rotor) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    YamlFields fields(parse_yaml(path, *text, "owed runs"), "owed runs");
    (void)fields.required("trimwright");
    const auto listed = fields.required("runs");
    std::vector<OwedRun> runs;
    for (const auto& one : listed.list("a list of runs")) runs.push_back(read_owed_run(one, rotor, runs));
    if (runs.empty()) listed.reject("there is no run", "at least one run that is owed");
    fields.finish();
    return runs;
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
