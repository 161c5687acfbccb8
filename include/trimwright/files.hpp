#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/check.hpp"
#include "trimwright/error.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/job.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/prior.hpp"
#include "trimwright/rotor.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// Largest text file that is read; a job of a thousand readings is well below 1 MB.
inline constexpr std::size_t largest_text_file = 16u << 20;

/// The whole of a text file. Errors: missing, a folder, unreadable, too large, empty, or not UTF-8 text.
[[nodiscard]] Result<std::string> read_text_file(const std::string& path);

/// `path` as written in the file `from`: relative to that file's folder.
[[nodiscard]] std::string path_beside(const std::string& from, const std::string& path);

/// Reads a rotor file (YAML, `trimwright: rotor 1`; described in docs/file-formats.md).
[[nodiscard]] Result<Rotor> read_rotor(const std::string& path);

/// The same from text; `file` names it in messages.
[[nodiscard]] Result<Rotor> parse_rotor(const std::string& file, const std::string& text);

struct RecordingPlan;

/// A job file with its rotor and readings: what was done, and what is asked of the trim.
struct JobFile {
  Job job;
  TrimRequest request;
  std::shared_ptr<const RecordingPlan> recording;  ///< how this job's recordings are read; null: not said
  std::optional<Prior> prior;                      ///< the fleet's coefficients, when the job names a prior
  std::vector<std::string> sources;                ///< every file that was read
  std::vector<std::string> notes;                  ///< what stands in them and was left out, for a person
};

/// Whether the tables of readings that a job names are read with it.
enum class ReadingTables {
  read,
  leave_out,  ///< they are yet to be made from recordings; `JobFile::request` then stays at its defaults
  none_yet    ///< they are left out, and there may be no run yet, and no reading at a speed that is named
};

/// Reads a job file (YAML, `trimwright: job 1`), the rotor file it names and its tables of readings, if any
/// (CSV). All three are described in docs/file-formats.md.
[[nodiscard]] Result<JobFile> read_job(const std::string& path, ReadingTables tables = ReadingTables::read);

/// Most coefficients of a prior that is written and read.
inline constexpr std::size_t most_prior_coefficients = 500;

/// Reads a prior file (YAML, `trimwright: prior 1`), described in docs/file-formats.md. Errors: what the file
/// gets wrong; covariances that cannot be; where `rotor` is given, a plane, sensor or unit it does not have.
[[nodiscard]] Result<Prior> read_prior(const std::string& path, const Rotor* rotor = nullptr);
[[nodiscard]] Result<Prior> parse_prior(const std::string& file, const std::string& text,
                                        const Rotor* rotor = nullptr);

/// The text of a prior file; `parse_prior` gives the same prior back.
[[nodiscard]] std::string prior_text(const Prior& prior);

/// Reads a person's choice of weights (the `fitted 1` document of docs/json.md): all that the slots of every
/// plane would hold, one entry per plane of the rotor. Pieces that sit in no slot stay as they are fitted
/// now. Errors: made for another rotor or serial; a plane with slots left out; no such slot, or an unusable
/// one; no such weight; more pieces than the stock.
[[nodiscard]] Result<std::vector<FittedWeights>> read_fitted_choice(const std::string& path, const Job& job);

/// Records that a fleet is read from at most, the latest: more of them tell the scatter between rotors hardly
/// any better (to 3 % of itself), and all are in memory together.
inline constexpr std::int64_t most_fleet_records = 500;

/// Earlier jobs to learn from.
struct Fleet {
  std::vector<FleetJob> jobs;
  std::vector<std::string> sources;  ///< every file read
};

/// All job files (`trimwright: job 1`) in a folder and the folders in it, by path; other YAML files are
/// passed over. Or, when `path` is an archive, the jobs of its `most_fleet_records` latest records as they
/// were filed, those that were corrected left out. `rotor`: only jobs on this rotor type; empty: all. Errors:
/// no such folder or archive; a job that cannot be read; none on `rotor`.
[[nodiscard]] Result<Fleet> read_fleet(const std::string& path, const std::string& rotor = {});

/// Gives a job the prior of its rotor (`prior_for`) from the jobs of its type that `read_fleet` reads; they
/// are then among its sources. Errors: those of reading; a job that names a prior itself; no job that tells
/// anything.
[[nodiscard]] Result<void> take_earlier_jobs(JobFile& file, const std::string& path);

/// How weights acted on this job's rotor type before: from a prior file, a job file, or the jobs that
/// `read_fleet` reads. Errors: those of reading; no job in which the runs settle how a plane acts.
[[nodiscard]] Result<EarlierEffects> read_earlier_effects(const std::string& path, const Job& job);

/// The `plan 1` document, described in docs/json.md.
[[nodiscard]] std::string plan_json(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                    const BalancePlan& plan);

/// The `trial 1` document.
[[nodiscard]] std::string trial_json(const Job& job, const TrialAdvice& advice, const BalancePlan& plan);

/// The `influence 1` document.
[[nodiscard]] std::string influence_json(const Job& job, const InfluenceModel& model);

/// The `tolerance 1` document.
[[nodiscard]] std::string tolerance_json(double rpm);

/// The `check 1` document, described in docs/json.md.
[[nodiscard]] std::string check_json(const Job& job, const Verdict& verdict);

/// The `page 1` document: what the balance page's own arithmetic starts from (described in docs/page.md).
[[nodiscard]] std::string page_json(const Job& job, const InfluenceModel& model, const TrimPlan& trim);

}  // namespace trimwright
