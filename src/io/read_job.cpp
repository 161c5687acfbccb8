#include "trimwright/files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "base/date.hpp"
#include "base/name.hpp"
#include "fitted_fields.hpp"
#include "read_events.hpp"
#include "read_readings.hpp"
#include "recording_fields.hpp"
#include "recording_plan.hpp"
#include "trade_values.hpp"
#include "written_reading.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

RunConditions read_conditions(YamlFields& fields) {
  RunConditions conditions;
  if (const auto when = fields.optional("when")) {
    conditions.when = when->text();
    if (begins_as_date(conditions.when) && !parse_date(conditions.when.substr(0, 10)))
      when->reject("there is no day \"" + conditions.when.substr(0, 10) + "\"", "a date such as 2031-05-12");
  }
  if (const auto who = fields.optional("who")) conditions.who = who->label();
  if (const auto other = fields.optional("conditions"))
    for (const auto& [key, value] : other->entries("{warm_up: ..., dwell: ..., wind: ...}"))
      conditions.other.emplace_back(key, value.text());
  return conditions;
}

/// Each must stand in some run: a name mistyped would make nothing matter.
std::vector<std::string> read_names_of_conditions(const YamlValue& value, const Job& job) {
  std::vector<std::string> names;
  for (const auto& one : value.list("a list of conditions that the runs state")) {
    names.push_back(one.label());
    const bool stated = std::any_of(job.runs.begin(), job.runs.end(), [&](const Run& run) {
      const auto& all = run.conditions.other;
      return std::any_of(all.begin(), all.end(),
                         [&](const auto& said) { return said.first == names.back(); });
    });
    if (!stated)
      one.reject("no run states the condition \"" + shortened(names.back()) + "\"",
                 "a name under \"conditions\" of a run");
  }
  return names;
}

Reading read_inline_reading(const YamlValue& value, const Rotor& rotor) {
  YamlFields fields(value, "{speed: ..., sensor: ..., amplitude: ..., phase: ..., component: ...}");
  WrittenReading written;
  written.where = value.where();
  written.speed = fields.required("speed").text();
  written.sensor = fields.required("sensor").text();
  written.amplitude = fields.required("amplitude").text();
  if (const auto component = fields.optional("component")) written.component = component->text();
  if (const auto phase = fields.optional("phase")) written.phase = phase->text();
  if (const auto phase_of = fields.optional("phase_of")) written.phase_of = phase_of->text();
  if (const auto sd = fields.optional("sd")) written.sd = sd->text();
  if (const auto approach = fields.optional("approach")) written.approach = approach->text();
  if (const auto state = fields.optional("state")) written.state = state->text();
  fields.finish();
  return to_reading(written, rotor);
}

/// A table that is yet to be read.
struct NamedTable {
  YamlValue path;
  std::optional<std::size_t> run{};  ///< whose own it is, index into Job::runs; empty: each row names its run
  bool run_up = false;               ///< of readings while the speed changed
};

Run read_run(const YamlValue& value, const Job& job, std::vector<NamedTable>& tables) {
  YamlFields fields(value, "a run: {name: ..., fitted: ..., readings: ...}");
  Run run;
  const auto name = fields.required("name");
  run.name = name.label();
  check_apart(name, "run", run.name, job.runs, &Run::name);
  run.conditions = read_conditions(fields);
  run.fitted = read_fitted(fields.required("fitted"), job);
  if (const auto changes = fields.optional("changes"))
    for (const auto& change : changes->list("a list of changes"))
      run.changes.push_back(read_change(change, job.rotor));
  if (const auto before = fields.optional("before")) run.before = read_events(*before, job.rotor);
  if (const auto reason = fields.optional("set_aside")) run.set_aside = reason->text();
  if (const auto readings = fields.optional("readings")) {
    if (readings->is_text())
      tables.push_back({*readings, job.runs.size()});
    else
      for (const auto& one : readings->list("a list of readings, or the path of a table of this run alone"))
        run.readings.push_back(read_inline_reading(one, job.rotor));
  }
  if (const auto run_up = fields.optional("run_up")) tables.push_back({*run_up, job.runs.size(), true});
  fields.finish();
  return run;
}

/// What is wrong with a file this one names: told there, or here when the file cannot be opened at all.
[[noreturn]] void reject_file(const YamlValue& value, const Error& error) {
  if (error.where.line > 0) throw InputError{error};
  value.reject(shortened(error.where.file) + ": " + error.what, error.expected);
}

/// What the tables of a job gave beside its readings.
struct TablesRead {
  std::vector<std::string> paths;
  std::vector<double> blank_rpm;  ///< speeds of rows in which nothing is filled in yet
  std::vector<std::string> notes;
};

void add_table(const NamedTable& named, Job& job, TablesRead& tables) {
  const auto& [value, own, run_up] = named;
  const std::string path = path_beside(value.file(), value.path());
  if (std::find(tables.paths.begin(), tables.paths.end(), path) != tables.paths.end())
    value.reject("this table stands here twice", "each table once");
  tables.paths.push_back(path);
  const auto table = read_table(path, job.rotor, own ? RowName::elsewhere : RowName::run);
  if (!table) reject_file(value, table.error());
  for (const auto& row : table->readings) {
    auto run = job.runs.begin() + static_cast<std::ptrdiff_t>(own.value_or(0));
    if (!own || !row.run.empty())
      run = std::find_if(job.runs.begin(), job.runs.end(),
                         [&](const Run& one) { return alike(one.name, row.run); });
    const Location where{path, row.reading.where.line, "run"};
    if (run == job.runs.end())
      throw InputError{{"the job has no run \"" + shortened(row.run) + "\"",
                        "a run of " + value.file() + ": " + alternatives(job.runs) +
                            "; or this one entered there under runs: name, and fitted with all that was in",
                        where}};
    if (own && run != job.runs.begin() + static_cast<std::ptrdiff_t>(*own))
      throw InputError{{"the row is of run \"" + shortened(row.run) + "\"",
                        "rows of run \"" + job.runs[*own].name + "\", whose table this is", where}};
    const Reading reading = to_reading(row.reading, job.rotor);
    if (run_up) {
      if (!reading.x || reading.component != Component::once_per_rev)
        throw InputError{{"this row of a run-up has no once-per-rev amplitude and phase",
                          "both, as \"trimwright readings --sweep --format csv\" writes them", where}};
      run->run_up.push_back(reading);
    } else if (row.reading.missing) {
      run->missing.push_back(
          {reading.rpm, reading.sensor, shortened(row.reading.note), reading.where, reading.state});
    } else {
      run->readings.push_back(reading);
    }
  }
  if (run_up) return;
  for (const auto& speed : table->blank_speeds)
    if (const auto rpm = parse_speed(speed, job.rotor)) tables.blank_rpm.push_back(*rpm);
  tables.notes.insert(tables.notes.end(), table->notes.begin(), table->notes.end());
}

/// The points at a speed, whatever their approach and state.
std::vector<std::size_t> read_speed_points(const YamlValue& value, const Job& job) {
  const double rpm = read_speed(value, job.rotor);
  std::vector<std::size_t> points;
  for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s)
    if (same_speed(job.rotor, job.speeds_rpm[s], rpm) &&
        (points.empty() || job.speeds_rpm[s] == job.speeds_rpm[points.front()]))
      points.push_back(s);
  if (points.empty())
    value.reject("no reading was made at \"" + value.text() + "\"", "the speed of some reading");
  return points;
}

void read_trim_planes(const YamlValue& value, const Job& job, TrimRequest& request) {
  if (!value.is_list()) {
    request.plane_choice =
        value.choice<PlaneChoice>({{"all", PlaneChoice::all}, {"easy first", PlaneChoice::easy_first}});
    return;
  }
  for (const auto& plane : value.list("planes")) request.planes.push_back(read_plane_name(plane, job.rotor));
  std::sort(request.planes.begin(), request.planes.end());
  if (request.planes.empty()) value.reject("the list is empty", "at least one plane, or \"all\"");
  if (std::adjacent_find(request.planes.begin(), request.planes.end()) != request.planes.end())
    value.reject("a plane stands here twice", "each plane once");
}

TrimRequest read_request(const YamlValue& value, const Job& job) {
  YamlFields fields(value, "{objective: ..., planes: ..., max_changes: ...}");
  TrimRequest request;
  if (const auto objective = fields.optional("objective")) {
    using Choice = std::pair<SlotObjective, bool>;
    request.objective_asked = true;
    std::tie(request.objective, request.most_probable) =
        objective->choice<Choice>({{"worst ratio", Choice{SlotObjective::worst_ratio, false}},
                                   {"least squares", Choice{SlotObjective::least_squares, false}},
                                   {"probability", Choice{SlotObjective::worst_ratio, true}}});
  }
  if (const auto planes = fields.optional("planes")) read_trim_planes(*planes, job, request);
  if (const auto most = fields.optional("max_changes")) request.max_changes = most->whole_number(0, 1000);
  if (const auto most = fields.optional("max_pieces")) request.max_pieces = most->whole_number(0, 100000);
  if (const auto pieces = fields.optional("changes")) request.pieces = pieces->whole_number(0, 1000);
  if (const auto stay = fields.optional("fitted_weights"))
    request.keep_fitted = stay->choice<bool>({{"may change", false}, {"stay", true}});
  if (const auto penalty = fields.optional("penalty")) request.penalty = penalty->number(0.0, 1000.0);
  if (const auto weights = fields.optional("speed_weights"))
    for (const auto& one : weights->list("a list of {speed, weight}")) {
      YamlFields parts(one, "{speed: ..., weight: ...}");
      const auto points = read_speed_points(parts.required("speed"), job);
      const double weight = parts.required("weight").number(1e-6, 1e6);
      for (const std::size_t speed : points) request.speed_weights.push_back({speed, weight});
      parts.finish();
    }
  fields.finish();
  return request;
}

/// One path, or a list of paths.
std::vector<YamlValue> table_paths(const YamlValue& value) {
  return value.is_list() ? value.list("a path, or a list of paths") : std::vector{value};
}

/// The speeds people set, and what they call them.
std::vector<SetSpeed> read_set_speeds(const YamlValue& value, const Rotor& rotor) {
  std::vector<SetSpeed> speeds;
  for (const auto& one : value.list("a list of {at, name}")) {
    YamlFields parts(one, "{at: speed, name: ...}");
    const auto at = parts.required("at");
    SetSpeed speed{read_speed(at, rotor), {}, at.where()};
    if (const auto name = parts.optional("name")) speed.name = name->label();
    parts.finish();
    for (const auto& other : speeds) {
      if (other.rpm == speed.rpm) at.reject("this speed stands here twice", "each speed once");
      if (!speed.name.empty() && other.name == speed.name)
        at.reject("two speeds are called \"" + speed.name + "\"", "a name of its own for each speed");
    }
    speeds.push_back(std::move(speed));
  }
  return speeds;
}

/// Speed points and places of all readings.
void read_places(const std::optional<YamlValue>& listed, ReadingTables tables,
                 const std::vector<double>& blank_rpm, Job& job) {
  const auto set = listed ? read_set_speeds(*listed, job.rotor) : std::vector<SetSpeed>{};
  if (const auto settled = settle_places(job, set); !settled) throw InputError{settled.error()};
  for (const auto& speed : set) {
    const bool read = std::any_of(job.places.begin(), job.places.end(), [&](const Place& place) {
      return job.speeds_rpm[place.speed] == speed.rpm;
    });
    const bool to_be_read = std::any_of(blank_rpm.begin(), blank_rpm.end(),
                                        [&](double rpm) { return same_speed(job.rotor, rpm, speed.rpm); });
    if (!read && !to_be_read && tables == ReadingTables::read)
      throw InputError{{fmt::format("no reading was made at {:.0f} rpm", speed.rpm),
                        "the speed of some reading, within the rotor's speed_tolerance", speed.where}};
  }
}

void read_runs(YamlFields& fields, ReadingTables wanted, JobFile& file) {
  Job& job = file.job;
  const bool begin = wanted == ReadingTables::none_yet;
  std::vector<NamedTable> own;
  const auto runs = begin ? fields.optional("runs") : std::optional(fields.required("runs"));
  if (runs)
    for (const auto& one : runs->list("a list of runs")) job.runs.push_back(read_run(one, job, own));
  if (job.runs.empty() && !begin) runs->reject("there is no run", "at least a baseline run");
  TablesRead tables;
  if (const auto readings = fields.optional("readings"); readings && wanted == ReadingTables::read)
    for (const YamlValue& table : table_paths(*readings)) add_table({table}, job, tables);
  if (wanted == ReadingTables::read)
    for (const auto& one : own) add_table(one, job, tables);
  file.sources.insert(file.sources.end(), tables.paths.begin(), tables.paths.end());
  file.notes = std::move(tables.notes);
  read_places(fields.optional("speeds"), wanted, tables.blank_rpm, job);
}

/// Stock is checked where a plane's pieces are written; a run that copies another needs no second check.
JobFile read_job_root(const YamlValue& root, ReadingTables tables) {
  YamlFields fields(root, "a job");
  (void)fields.required("trimwright");
  JobFile file;
  Job& job = file.job;
  if (const auto title = fields.optional("title")) job.title = title->text();
  if (const auto serial = fields.optional("serial")) job.serial = serial->label();
  if (const auto station = fields.optional("station")) job.station = station->label();
  const auto rotor_path = fields.required("rotor");
  file.sources = {root.file(), path_beside(root.file(), rotor_path.path())};
  auto rotor = read_rotor(file.sources.back());
  if (!rotor) reject_file(rotor_path, rotor.error());
  job.rotor = *rotor;
  read_runs(fields, tables, file);
  if (const auto matter = fields.optional("conditions_that_matter"))
    job.conditions_that_matter = read_names_of_conditions(*matter, job);
  job.fitted_now =
      job.runs.empty() ? std::vector<FittedWeights>(job.rotor.planes.size()) : job.runs.back().fitted;
  const auto now = fields.optional("fitted_now");
  job.fitted_now_stated = now.has_value();
  if (now) job.fitted_now = read_fitted(*now, job);
  if (const auto named = fields.optional("prior")) {
    file.sources.push_back(path_beside(root.file(), named->path()));
    auto prior = read_prior(file.sources.back(), &job.rotor);
    if (!prior) reject_file(*named, prior.error());
    if (!alike(prior->rotor, job.rotor.name))
      named->reject("this prior is of rotor \"" + shortened(prior->rotor) + "\"",
                    "a prior of rotor \"" + shortened(job.rotor.name) + "\"");
    file.prior = std::move(*prior);
  }
  if (const auto residual = fields.optional("residual"))
    job.small_residual = residual->choice<bool>({{"any", false}, {"small", true}});
  if (const auto recording = fields.optional("recording"))
    file.recording = std::make_shared<const RecordingPlan>(read_recording_plan(*recording, job.rotor));
  if (const auto trim = fields.optional("trim"); trim && tables == ReadingTables::read)
    file.request = read_request(*trim, job);
  fields.finish();
  return file;
}

}  // namespace

Result<JobFile> read_job(const std::string& path, ReadingTables tables) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  try {
    return read_job_root(parse_yaml(path, *text, "job"), tables);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

}  // namespace trimwright
