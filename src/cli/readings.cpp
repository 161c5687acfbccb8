#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <memory>

#include "base/text.hpp"
#include "commands.hpp"
#include "io/read_recording.hpp"
#include "io/readings_documents.hpp"
#include "io/ring_file.hpp"
#include "report/live_line.hpp"
#include "report/readings_page.hpp"
#include "report/readings_text.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/files.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* readings_example = R"(Examples:
  trimwright readings as-found.wav --job job.yaml --run "as found"
      Amplitude and phase at each dwell, and whether the reference tooth can be trusted.
  trimwright readings as-found.wav --job job.yaml --run "as found" --format csv -o as-found.csv
      The same as a table that the job reads (readings: as-found.csv).
  trimwright readings run-up.wav --job job.yaml --run "as found" --sweep
      With amplitude and phase against speed.
  trimwright readings before.wav after.wav --job job.yaml --run "as found"
      Is it the same ring, is the signal as strong, is the larger tooth the same one?
The key "recording" of the job says which channel is what (docs/recordings.md).)";

struct ReadingsOptions {
  std::vector<std::string> recordings;
  std::string job;
  std::string run;
  std::vector<std::string> dwells;
  std::string ring, ring_to, page;
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

/// One line on a terminal's standard error for each quarter of a second of a stream.
void show_live(const ReadingNow& now, const JobFile& file) {
  std::vector<RecordedSensor> sensors;
  for (const auto& channel : file.recording->vibration) sensors.push_back(channel.sensor);
  std::fprintf(stderr, "\r\033[K%s", live_line(now, sensors, file.job.rotor).c_str());
  std::fflush(stderr);
}

Result<JobFile> job_with_recording(const ReadingsOptions& options) {
  auto file = read_job(options.job, ReadingTables::leave_out);
  if (!file) return file;
  if (!file->recording)
    return fail("the job does not say how its recordings are read",
                "the key \"recording\" (docs/recordings.md)", {options.job, 0, {}});
  const auto& runs = file->job.runs;
  std::string names;
  for (const auto& run : runs) names += (names.empty() ? "\"" : " or \"") + run.name + "\"";
  if (!run_named(file->job, options.run))
    return fail("--run: the job has no run \"" + options.run + "\"", names, {options.job, 0, {}});
  return file;
}

/// The ring known before: that of --ring, or the job's where its file exists.
Result<std::optional<KnownRing>> ring_before(const ReadingsOptions& options, const JobFile& file) {
  const std::string& of_job = file.recording->ring_file;
  const bool there = !of_job.empty() && std::filesystem::exists(of_job);
  if (options.ring.empty() && !there) return std::nullopt;
  auto ring = read_ring(options.ring.empty() ? of_job : options.ring, file.job);
  if (!ring) return tl::unexpected(ring.error());
  return *std::move(ring);
}

/// Where the ring of this run is written: --ring-to, or the job's ring file while there is none.
std::string ring_target(const ReadingsOptions& options, const JobFile& file) {
  const std::string& of_job = file.recording->ring_file;
  if (!options.ring_to.empty() || of_job.empty() || std::filesystem::exists(of_job)) return options.ring_to;
  return of_job;
}

Status write_ring(const std::string& target, bool asked_for, const RecordedRun& run, const JobFile& file) {
  const auto ring = known_ring(run.recordings.front(), file.job);
  if (!ring) return asked_for ? complain(ring.error()) : done;
  return Output{"text", target}.write(ring_yaml(*ring), file.sources);
}

Result<RecordedRun> read_run(const ReadingsOptions& options, const JobFile& file) {
  RecordedRun run{options.run, {}};
  auto known = ring_before(options, file);
  if (!known) return tl::unexpected(known.error());
  for (const auto& path : options.recordings) {
    Progress progress(path);
    RecordingOptions how;
    for (const auto& dwell : options.dwells) how.dwells.push_back(*parse_time_span(dwell));
    how.accept_truncated = options.accept_truncated;
    how.ring = *known;
    if (path == standard_input && ::isatty(STDERR_FILENO) == 1)
      how.live = [&file](const ReadingNow& now) { show_live(now, file); };
    how.progress = [&progress](double part) { progress.tell(part); };
    auto recording = read_recording(path, *file.recording, file.job.rotor, how);
    if (!recording) return tl::unexpected(recording.error());
    run.recordings.push_back(*std::move(recording));
    if (!*known)  // later recordings are compared with the first that can be trusted
      if (const auto ring = known_ring(run.recordings.back(), file.job)) *known = *ring;
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
  if (const std::string target = ring_target(options, *file); !target.empty())
    if (const Status written = write_ring(target, !options.ring_to.empty(), *run, *file); written != done)
      return written;
  if (!options.page.empty()) {
    const std::string page = readings_page(file->job, *run, readings_text(file->job, *run, options.sweep));
    if (const Status written = Output{"text", options.page}.write(page, file->sources); written != done)
      return written;
  }
  if (options.sweep ? rows : any_phase(*run)) return done;
  const std::string what = !rows ? "nothing could be read: "
                           : any_trusted_reference(*run)
                               ? "the reference is good, but no vibration channel can be used: "
                               : "no phase can be trusted, only amplitudes are given: ";
  return complain({what + why_no_phase(*run),
                   {},
                   {options.recordings.size() == 1 ? options.recordings.front() : "", 0, {}}});
}

}  // namespace

void add_readings(CLI::App& app, int& status) {
  auto options = std::make_shared<ReadingsOptions>();
  auto* command = app.add_subcommand(
      "readings", "Amplitude and phase from recordings of the reference teeth and vibration");
  command
      ->add_option("RECORDING", options->recordings,
                   "recordings of one run (WAV or CSV); -: a WAV stream from standard input")
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
  command
      ->add_option("--ring", options->ring,
                   "the ring as an earlier recording knew it (a ring file): compare with it")
      ->check(not_empty());
  command
      ->add_option("--ring-to", options->ring_to,
                   "write this recording's ring to a file, to compare later ones with")
      ->check(not_empty());
  command->add_option("--page", options->page, "write a page with plots to this file (HTML)")
      ->check(not_empty());
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
