#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <memory>

#include "commands.hpp"
#include "trimwright/base/name.hpp"
#include "trimwright/base/text.hpp"
#include "trimwright/io/read_job.hpp"
#include "trimwright/io/read_recording.hpp"
#include "trimwright/io/readings_documents.hpp"
#include "trimwright/report/readings_text.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* readings_example = R"(Examples:
  trimwright readings as-found.wav --job job.yaml --run "as found"
      Amplitude and phase at each dwell, and whether the reference tooth can be trusted.
  trimwright readings as-found.wav --job job.yaml --run "as found" --format csv -o as-found.csv
      The same as a table that the job reads (readings: as-found.csv).
  trimwright readings run-up.wav --job job.yaml --run "as found" --sweep
      With amplitude and phase against speed.
The key "recording" of the job says which channel is what (docs/recordings.md).)";

struct ReadingsOptions {
  std::vector<std::string> recordings;
  std::string job;
  std::string run;
  std::vector<std::string> dwells;
  bool sweep = false;
  bool accept_truncated = false;
  Output output;
};

CLI::Validator time_span() {
  return {[](const std::string& text) {
            const auto span = parse_time_span(text);
            return span ? std::string{} : span.error().what + "; expected " + span.error().expected;
          },
          "\"FROM s to TO s\""};
}

/// One line on a terminal's standard error that is overwritten while a recording is read.
class Progress {
 public:
  explicit Progress(std::string file) : file_(std::move(file)), on_terminal_(::isatty(STDERR_FILENO) == 1) {}
  ~Progress() {
    if (shown_ >= 0) std::fprintf(stderr, "\r\033[K");
  }
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  void tell(double part) {
    const int percent = static_cast<int>(100.0 * part);
    if (!on_terminal_ || percent == shown_) return;
    shown_ = percent;
    std::fprintf(stderr, "\rreading %s: %d %%", one_line(file_).c_str(), percent);
  }

 private:
  std::string file_;
  bool on_terminal_;
  int shown_ = -1;
};

Result<JobFile> job_with_recording(const ReadingsOptions& options) {
  auto file = read_job(options.job, ReadingTables::leave_out);
  if (!file) return file;
  if (!file->recording)
    return fail("the job does not say how its recordings are read",
                "the key \"recording\" (docs/recordings.md)", {options.job, 0, {}});
  const auto& runs = file->job.runs;
  std::string names;
  for (const auto& run : runs) names += (names.empty() ? "\"" : " or \"") + run.name + "\"";
  if (std::none_of(runs.begin(), runs.end(), [&](const Run& run) { return alike(run.name, options.run); }))
    return fail("--run: the job has no run \"" + options.run + "\"", names, {options.job, 0, {}});
  return file;
}

Result<RecordedRun> read_run(const ReadingsOptions& options, const JobFile& file) {
  RecordedRun run{options.run, {}};
  for (const auto& path : options.recordings) {
    Progress progress(path);
    RecordingOptions how;
    for (const auto& dwell : options.dwells) how.dwells.push_back(*parse_time_span(dwell));
    how.accept_truncated = options.accept_truncated;
    how.progress = [&progress](double part) { progress.tell(part); };
    auto recording = read_recording(path, *file.recording, file.job.rotor, how);
    if (!recording) return tl::unexpected(recording.error());
    run.recordings.push_back(*std::move(recording));
  }
  return run;
}

std::string answer_of(const ReadingsOptions& options, const Job& job, const RecordedRun& run) {
  if (options.output.json()) return readings_json(job, run, options.sweep);
  if (options.output.format == "csv") return options.sweep ? sweep_csv(job, run) : readings_csv(job, run);
  return readings_text(job, run, options.sweep);
}

bool has_rows(const ReadingsOptions& options, const RecordedRun& run) {
  return std::any_of(run.recordings.begin(), run.recordings.end(), [&](const Recording& one) {
    return options.sweep ? !one.sweep.empty() : !one.readings.empty();
  });
}

Status readings(const ReadingsOptions& options) {
  if (!options.dwells.empty() && options.recordings.size() > 1) {
    complain({"--dwell goes with one recording only", "one recording, or dwells found automatically", {}});
    return wrong_usage;
  }
  const auto file = job_with_recording(options);
  if (!file) return complain(file.error());
  const auto run = read_run(options, *file);
  if (!run) return complain(run.error());
  const bool rows = has_rows(options, *run);
  if (rows || options.output.format != "csv") {
    auto sources = file->sources;
    sources.insert(sources.end(), options.recordings.begin(), options.recordings.end());
    const Status written = options.output.write(answer_of(options, file->job, *run), sources);
    if (written != done) return written;
  }
  if (options.sweep ? rows : any_phase(*run)) return done;
  return complain(
      {(rows ? "no phase can be trusted, only amplitudes are given: " : "nothing could be read: ") +
           why_no_phase(*run),
       {},
       {options.recordings.size() == 1 ? options.recordings.front() : "", 0, {}}});
}

}  // namespace

void add_readings(CLI::App& app, int& status) {
  auto options = std::make_shared<ReadingsOptions>();
  auto* command = app.add_subcommand(
      "readings", "Amplitude and phase from recordings of the reference teeth and vibration");
  command->add_option("RECORDING", options->recordings, "recordings of one run (WAV or CSV)")
      ->required()
      ->check(not_empty());
  command->add_option("--job", options->job, "job file (YAML) that says which channel is what")
      ->required()
      ->check(not_empty());
  command->add_option("--run", options->run, "run of the job that was recorded")
      ->required()
      ->check(not_empty());
  command
      ->add_option("--dwell", options->dwells, "read this stretch instead of finding dwells; may be repeated")
      ->check(time_span())
      ->allow_extra_args(false);
  command->add_flag("--sweep", options->sweep,
                    "add amplitude and phase against speed (csv: instead of dwells)");
  command->add_flag("--accept-truncated", options->accept_truncated,
                    "read what is there of a file cut short");
  command->add_option("--format", options->output.format, "text (default), csv or json")
      ->check(CLI::IsMember({"text", "csv", "json"}));
  command->add_option("-o,--output", options->output.path, "write to this file instead of standard output")
      ->check(not_empty());
  command->footer(readings_example);
  command->callback([options, &status] { status = readings(*options); });
}

}  // namespace trimwright::cli
