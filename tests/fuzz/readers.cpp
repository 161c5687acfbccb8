#include "readers.hpp"

#include <sndfile.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <numbers>
#include <sstream>

#include "desk/desk.hpp"
#include "io/read_recording.hpp"
#include "io/record_documents.hpp"
#include "io/ring_file.hpp"
#include "project_folder.hpp"
#include "rehearsal/rehearsal.hpp"
#include "scratch_folder.hpp"
#include "trimwright/files.hpp"
#include "trimwright/records.hpp"

namespace trimwright::testing {
namespace {

using Texts = std::vector<std::string>;

std::string bytes_of(const std::string& path) {
  std::ostringstream bytes;
  bytes << std::ifstream(path, std::ios::binary).rdbuf();
  return bytes.str();
}

std::string shipped(const std::string& name) { return bytes_of(in_project(name)); }

std::string put(const std::string& folder, const std::string& name, const std::string& bytes) {
  std::filesystem::create_directories(folder);
  const std::string path = (std::filesystem::path(folder) / name).string();
  std::ofstream(path, std::ios::binary | std::ios::trunc) << bytes;
  return path;
}

/// A shipped job as it stands beside its rotor.
std::string job_beside_rotor(const std::string& name) {
  std::string text = shipped("examples/quillhaven/" + name);
  const std::string rotor = "../../configs/larkmere-fan.yaml";
  return text.replace(text.find(rotor), rotor.size(), "rotor.yaml");
}

void put_tables(const std::string& folder) {
  put(folder, "rotor.yaml", shipped("configs/larkmere-fan.yaml"));
  for (const char* name : {"readings.csv", "after.csv", "run-up.csv", "after-run-up.csv"})
    put(folder, name, shipped(std::string("examples/quillhaven/") + name));
}

const Job& shipped_job() {
  static const Job job = read_job(in_project("examples/quillhaven/job.yaml"))->job;
  return job;
}

// --- rotor, job, table, prior, choice, rehearsal

Texts rotor_seeds() { return {shipped("configs/larkmere-fan.yaml")}; }
bool accepts_rotor(const std::string&, const std::string& input) {
  return parse_rotor("rotor.yaml", input).has_value();
}

Texts job_seeds() {
  return {job_beside_rotor("job.yaml"), job_beside_rotor("after.yaml"), job_beside_rotor("first-visit.yaml")};
}
bool accepts_job(const std::string& folder, const std::string& input) {
  if (!std::filesystem::exists(folder)) put_tables(folder);
  return read_job(put(folder, "job.yaml", input)).has_value();
}

Texts table_seeds() { return {shipped("examples/quillhaven/readings.csv")}; }
bool accepts_table(const std::string& folder, const std::string& input) {
  if (!std::filesystem::exists(folder)) {
    put_tables(folder);
    put(folder, "job.yaml", job_beside_rotor("job.yaml"));
  }
  put(folder, "readings.csv", input);
  return read_job(folder + "/job.yaml").has_value();
}

Texts prior_seeds() {
  Prior prior;
  prior.rotor = shipped_job().rotor.name;
  prior.jobs = 7;
  prior.scatter.sd = {0.1, 0.2, 0.05, 0.07, 0.01};
  prior.scatter.covariance.setIdentity() *= 1e-5;
  prior.coefficients = {{4096.0, "front", "spinner", "in/s", {1e-4, 2e-4}, 5},
                        {4096.0, "turbine", "drum", "mil", {3e-4, -1e-4}, 7}};
  prior.mean_covariance = 1e-4 * Eigen::MatrixXd::Identity(4, 4);
  return {prior_text(prior)};
}
bool accepts_prior(const std::string&, const std::string& input) {
  return parse_prior("prior.yaml", input, &shipped_job().rotor).has_value();
}

Texts choice_seeds() {
  return {R"({"trimwright": "fitted 1", "rotor": "Larkmere demonstrator fan", "serial": "LKM-417",
 "fitted": {"spinner": {"4": "K3", "19": "K2"}, "drum": {"8": "D12"}}})"};
}
bool accepts_choice(const std::string& folder, const std::string& input) {
  return read_fitted_choice(put(folder, "fitted.json", input), shipped_job()).has_value();
}

/// The folder of a new rehearsal.
void begin_rehearsal(const std::string& folder) {
  if (!std::filesystem::exists(folder)) (void)create_rehearsal(folder, 7, RehearsalDay::on_wing);
}
Texts rehearsal_seeds() {
  const ScratchFolder scratch;
  begin_rehearsal(scratch.path("new"));
  return {bytes_of(scratch.path("new/rehearsal.yaml"))};
}
bool accepts_rehearsal(const std::string& folder, const std::string& input) {
  begin_rehearsal(folder);
  put(folder, "rehearsal.yaml", input);
  return read_rehearsal(folder).has_value();
}

// --- recordings and the ring

constexpr double rate = 12800.0;

/// A pickup signal of 44 teeth at 3000 rpm, the first one larger [V], and a vibration [V].
std::pair<double, double> signals_at(double time) {
  const double turn = 50.0 * time, tooth = 44.0 * turn;
  const double height = std::fmod(std::floor(tooth), 44.0) == 0.0 ? 2.0 : 1.0;
  return {height * std::sin(2.0 * std::numbers::pi * tooth),
          0.1 * std::cos(2.0 * std::numbers::pi * turn - 1.0)};
}

std::string recorded_job(bool wav) {
  return std::string("trimwright: job 1\nrotor: rotor.yaml\nrecording:\n") +
         (wav ? "  reference: [{channel: 1, volts_full_scale: 10 V}]\n"
                "  vibration: [{channel: 2, sensor: front, volts_full_scale: 10 V, sensitivity: 100 mV per "
                "in/s}]\n"
              : "  time_column: t\n  reference: [{channel: teeth}]\n"
                "  vibration: [{channel: front, sensor: front, unit: in/s}]\n") +
         "  speeds: {from: 10 %, to: 65 %}\nruns:\n  - {name: as found, fitted: none}\n";
}

bool accepts_recording(const std::string& folder, const std::string& input, bool wav) {
  put(folder, "rotor.yaml", shipped("configs/larkmere-fan.yaml"));
  static const JobFile of_wav =
      *read_job(put(folder, "wav.yaml", recorded_job(true)), ReadingTables::leave_out);
  static const JobFile of_csv =
      *read_job(put(folder, "csv.yaml", recorded_job(false)), ReadingTables::leave_out);
  const JobFile& job = wav ? of_wav : of_csv;
  RecordingOptions options;
  options.accept_truncated = true;
  options.dwells = {{0.0, 1.0}};
  return read_recording(put(folder, wav ? "run.wav" : "run.csv", input), *job.recording, job.job.rotor,
                        options)
      .has_value();
}

Texts wav_seeds() {
  const ScratchFolder scratch;
  Texts seeds;
  for (const int format : {SF_FORMAT_PCM_16, SF_FORMAT_PCM_24, SF_FORMAT_FLOAT}) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(rate);
    info.channels = 2;
    info.format = SF_FORMAT_WAV | format;
    const std::string path = scratch.path("run.wav");
    SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
    std::vector<double> samples;
    for (int i = 0; i < 14000; ++i) {
      const auto [teeth, front] = signals_at(i / rate);
      samples.insert(samples.end(), {0.1 * teeth, 0.1 * front});
    }
    sf_writef_double(file, samples.data(), static_cast<sf_count_t>(samples.size() / 2));
    sf_close(file);
    seeds.push_back(bytes_of(path));
  }
  return seeds;
}
bool accepts_wav(const std::string& folder, const std::string& input) {
  return accepts_recording(folder, input, true);
}

Texts csv_seeds() {
  std::ostringstream text;
  text << "t,teeth,front\n";
  for (int i = 0; i < 14000; ++i) {
    const auto [teeth, front] = signals_at(i / rate);
    text << i / rate << ',' << teeth << ',' << front << '\n';
  }
  return {text.str()};
}
bool accepts_csv(const std::string& folder, const std::string& input) {
  return accepts_recording(folder, input, false);
}

Texts ring_seeds() {
  KnownRing ring{
      shipped_job().rotor.name, shipped_job().serial, "as-found.wav", true, 3000.0, {}, 0.02, 0.018, 0.022};
  for (auto member : {&RingPicture::size, &RingPicture::before, &RingPicture::after, &RingPicture::width,
                      &RingPicture::spacing, &RingPicture::pulses, &RingPicture::uneven})
    (ring.picture.*member).setZero(shipped_job().rotor.reference.teeth);
  ring.picture.pulses.setConstant(40.0);
  ring.picture.revolutions = 40.0;
  ring.picture.size(0) = 0.5;
  return {ring_yaml(ring)};
}
bool accepts_ring(const std::string& folder, const std::string& input) {
  return read_ring(put(folder, "ring.yaml", input), shipped_job()).has_value();
}

// --- archive and desk

Texts archive_seeds() {
  const ScratchFolder scratch;
  FilingDetails details;
  details.filed_by = "L. Marsh";
  details.filed_at = "2031-06-01T10:00:00Z";
  details.dated = "2031-05-13";
  const auto trim = judge_trim(in_project("examples/quillhaven/after.yaml"), {}, details);
  if (!trim || !file_trim(trim->record, scratch.path("trims.db"))) return {""};
  return {bytes_of(scratch.path("trims.db"))};
}
bool accepts_archive(const std::string& folder, const std::string& input) {
  std::filesystem::remove_all(folder);
  const auto archive = Archive::open(put(folder, "trims.db", input), Archive::Opening::existing);
  if (!archive) return false;
  const auto found = archive->find({});
  const auto record = archive->read(1);
  if (record) (void)files_of(*record);
  return found && record && archive->prove();
}

Texts desk_seeds() {
  Texts seeds;
  const nlohmann::json files = {{"job.yaml", job_beside_rotor("job.yaml")},
                                {"rotor.yaml", shipped("configs/larkmere-fan.yaml")},
                                {"readings.csv", shipped("examples/quillhaven/readings.csv")},
                                {"run-up.csv", shipped("examples/quillhaven/run-up.csv")}};
  for (const char* what : {"ready", "influence", "sheet"})
    seeds.push_back(nlohmann::json{{"do", what}, {"files", files}}.dump());
  seeds.push_back(nlohmann::json{{"do", "rotor"}, {"files", {{"rotor.yaml", files["rotor.yaml"]}}}}.dump());
  seeds.push_back(
      nlohmann::json{{"do", "tree of file"}, {"kind", "rotor"}, {"text", files["rotor.yaml"]}}.dump());
  seeds.push_back(
      nlohmann::json{{"do", "file of tree"}, {"tree", {{"trimwright", "job 1"}, {"title", "a: b"}}}}.dump());
  return seeds;
}
bool accepts_request(const std::string& folder, const std::string& input) {
  const auto answer = nlohmann::json::parse(desk_answer(folder, input));
  return !answer.contains("error");
}

}  // namespace

const std::vector<Reader>& readers() {
  static const std::vector<Reader> all{
      {"rotor", rotor_seeds, accepts_rotor},    {"job", job_seeds, accepts_job},
      {"table", table_seeds, accepts_table},    {"prior", prior_seeds, accepts_prior},
      {"choice", choice_seeds, accepts_choice}, {"rehearsal", rehearsal_seeds, accepts_rehearsal},
      {"wav", wav_seeds, accepts_wav},          {"csv", csv_seeds, accepts_csv},
      {"ring", ring_seeds, accepts_ring},       {"archive", archive_seeds, accepts_archive},
      {"desk", desk_seeds, accepts_request}};
  return all;
}

}  // namespace trimwright::testing
