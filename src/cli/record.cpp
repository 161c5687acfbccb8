#include <fmt/chrono.h>
#include <fmt/format.h>

#include <chrono>
#include <filesystem>
#include <memory>

#include "commands.hpp"
#include "trimwright/base/date.hpp"
#include "trimwright/base/new_file.hpp"
#include "trimwright/base/text.hpp"
#include "trimwright/io/read_job.hpp"
#include "trimwright/io/record_documents.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* record_example = R"(Examples:
  trimwright record file examples/quillhaven/after.yaml --archive trims.db --by "L. Marsh" \
      --entry "torque: 25 N·m" --entry "manual and revision: practice manual A, revision 1"
      Files the trim whose last run is the check run; makes the archive if there is none.
  trimwright record sheet 1 --archive trims.db
      One page with the levels before and after, to be signed and filed.
  trimwright record find --archive trims.db --serial LKM-417
  trimwright record compare LKM-417 --archive trims.db
      A rotor's levels before and after, across the years.
  trimwright record prove --archive trims.db --expect "5f1c 09ab ..."
      Whether every record is as it was filed, up to the sheet that shows this digest.
A record is never changed or removed; a correction is a new one (--corrects, --reason). See docs/records.md.)";

struct RecordOptions {
  std::string archive;
  std::string job, run;
  FilingDetails details;
  std::vector<std::string> entries;
  RecordQuery query;
  std::int64_t number = 0;
  std::string folder, copy, expect;
  Output output;
};

std::string now_utc() {
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}",
                     fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now())));
}

/// "KEY: TEXT" of --entry.
Result<void> add_entries(RecordOptions& options) {
  for (const auto& entry : options.entries) {
    const auto colon = entry.find(':');
    const auto text = colon == std::string::npos ? colon : entry.find_first_not_of(' ', colon + 1);
    if (colon == 0 || text == std::string::npos)
      return fail("--entry: \"" + shortened(entry) + "\" is no entry", "\"KEY: TEXT\"");
    for (const auto& [key, given] : options.details.entries)
      if (key == entry.substr(0, colon))
        return fail("--entry: \"" + shortened(key) + "\" is given twice", "each entry once");
    options.details.entries.emplace_back(entry.substr(0, colon), entry.substr(text));
  }
  return {};
}

std::string filed_text(const StoredRecord& record) {
  return fmt::format(
      "Record {} is filed.\nDigest: {}\nNext: print the sheet (trimwright record sheet {}), have it "
      "signed, and keep it apart from the archive.\n",
      record.number, hex(record.digest), record.number);
}

/// A trial run is not filed as the check run unless --run names it.
Result<void> check_no_trial(const RecordOptions& options, const JudgedJob& judged) {
  if (!options.run.empty()) return {};
  const auto signs = trial_signs(judged.job, judged.verdict.run);
  if (signs.empty()) return {};
  const std::string name = "\"" + shortened(judged.job.runs[judged.verdict.run].name) + "\"";
  return fail("the last run, " + name + ", looks like a trial run: " + signs,
              "the check run after the trim as the last run, or --run " + name + " to file this one",
              {options.job, 0, {}});
}

Status file_record(RecordOptions& options) {
  if (auto added = add_entries(options); !added) {
    complain(added.error());
    return wrong_usage;
  }
  const auto file = read_job(options.job);
  if (!file) return complain(file.error());
  auto sources = file->sources;
  sources.push_back(options.archive);
  if (const auto apart = options.output.check_apart_from(sources); !apart) return complain(apart.error());
  auto request = file->request;
  const auto judged = judge_job(file->job, request, options.run, file->prior ? &*file->prior : nullptr);
  if (!judged) return complain(judged.error());
  if (const auto checked = check_no_trial(options, *judged); !checked) return complain(checked.error());
  const auto files = job_files(file->sources);
  if (!files) return complain(files.error());
  options.details.filed_at = now_utc();
  options.details.software = "trimwright " TRIMWRIGHT_VERSION;
  auto record = record_of(*judged, *files, options.details);
  if (!record) {
    if (record.error().where.file.empty()) record.error().where.file = options.job;
    return complain(record.error());
  }
  auto archive = Archive::open(options.archive, Archive::Opening::create_if_missing);
  if (!archive) return complain(archive.error());
  const auto filed = archive->file(*record);
  if (!filed) return complain(filed.error());
  return options.output.write(options.output.json() ? records_json({*filed}) : filed_text(*filed), sources);
}

/// Opens the archive and hands it over; complains where that cannot be done.
template <class Do>
Status with_archive(const RecordOptions& options, Do&& act) {
  auto archive = Archive::open(options.archive, Archive::Opening::existing);
  if (!archive) return complain(archive.error());
  return act(*archive);
}

std::string found_text(const std::vector<StoredRecord>& records) {
  if (records.empty()) return "No record.\n";
  std::string text = "record  date        verdict                    level  serial, rotor, station, person\n";
  for (const auto& one : records) {
    text +=
        fmt::format("{:6}  {:10}  {:25}  {:5.3f}  {}, {}, {}, {}", one.number, one_line(one.record.date),
                    one_line(one.record.verdict), one.record.level, one_line(one.record.serial),
                    one_line(one.record.rotor), one_line(one.record.station), one_line(one.record.person));
    if (one.record.corrects) text += fmt::format("  (corrects {})", *one.record.corrects);
    if (one.corrected_by) text += fmt::format("  (corrected by {})", *one.corrected_by);
    text += "\n";
  }
  return text + "level: largest once-per-rev amplitude of the check run over its limit\n";
}

Status find(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto found = archive.find(options.query);
    if (!found) return complain(found.error());
    return options.output.write(options.output.json() ? records_json(*found) : found_text(*found),
                                {options.archive});
  });
}

Status show(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto record = archive.read(options.number);
    if (!record) return complain(record.error());
    if (!options.folder.empty()) {
      std::error_code none;
      const bool there = std::filesystem::exists(options.folder, none);
      const auto written =
          there ? tl::unexpected(
                      Error{"this is there already", "a new folder", {options.folder, unwritten, {}}})
                : write_files(*record, options.folder);
      if (!written && !there) std::filesystem::remove_all(options.folder, none);
      if (!written) return complain(written.error());
    }
    return options.output.write(options.output.json() ? record_json(*record) : sheet_text(*record),
                                {options.archive});
  });
}

Status sheet(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto record = archive.read(options.number);
    if (!record) return complain(record.error());
    return options.output.write(options.output.format == "csv" ? sheet_csv(*record) : sheet_text(*record),
                                {options.archive});
  });
}

/// The records that are found, whole.
Result<std::vector<StoredRecord>> whole(const Archive& archive, const RecordQuery& query) {
  auto found = archive.find(query);
  if (!found) return found;
  for (auto& one : *found) {
    auto record = archive.read(one.number);
    if (!record) return tl::unexpected(record.error());
    one = *std::move(record);
  }
  return found;
}

Status export_records(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto records = whole(archive, options.query);
    if (!records) return complain(records.error());
    return options.output.write(options.output.json() ? export_json(*records) : export_csv(*records),
                                {options.archive});
  });
}

Status compare(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto records = whole(archive, options.query);
    if (!records) return complain(records.error());
    if (records->empty())
      return complain({"the archive has no record of serial \"" + shortened(options.query.serial) + "\"",
                       "a serial that trimwright record find tells",
                       {options.archive, 0, {}}});
    return options.output.write(options.output.json() ? history_json(*records) : history_text(*records),
                                {options.archive});
  });
}

std::string proof_text(const Proof& proof) {
  std::string text;
  for (const auto& fault : proof.faults)
    text += fault.number == 0 ? "The archive: " + one_line(fault.what) + "\n"
                              : fmt::format("Record {}: {}\n", fault.number, one_line(fault.what));
  text += fmt::format("{} record{}, {}\nHead: {}\n", proof.records, proof.records == 1 ? "" : "s",
                      proof.whole() ? "each as it was filed." : "NOT as they were filed.", hex(proof.head));
  if (proof.expected_at)
    text += fmt::format(
        "Record {} has the expected digest: it and all before it are those the sheet was printed from.\n",
        *proof.expected_at);
  return text;
}

Status prove(const RecordOptions& options) {
  const auto expected = options.expect.empty() ? std::nullopt : digest_from_hex(options.expect);
  if (!options.expect.empty() && !expected) {
    complain({"--expect: \"" + shortened(options.expect) + "\" is no digest",
              "64 hexadecimal digits, as on the sheet",
              {}});
    return wrong_usage;
  }
  return with_archive(options, [&](const Archive& archive) {
    const auto proof = archive.prove(expected);
    if (!proof) return complain(proof.error());
    const Status written = options.output.write(
        options.output.json() ? proof_json(*proof) : proof_text(*proof), {options.archive});
    if (written != done || proof->whole()) return written;
    return complain({fmt::format("the archive is not as it was filed: {} fault{}", proof->faults.size(),
                                 proof->faults.size() == 1 ? "" : "s"),
                     "a backup that proves whole",
                     {options.archive, 0, {}}});
  });
}

Status back_up(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto copied = archive.back_up(options.copy);
    if (copied) return Output{}.write("The archive is copied to " + options.copy + ".\n");
    complain(copied.error());
    return not_written;
  });
}

using Shared = std::shared_ptr<RecordOptions>;

CLI::App* subcommand(CLI::App& record, const Shared& options, const char* name, const char* what,
                     const std::vector<std::string>& formats) {
  auto* command = record.add_subcommand(name, what);
  command->add_option("--archive", options->archive, "archive of trims (one file)")
      ->required()
      ->check(not_empty());
  if (formats.empty()) return command;
  command->add_option("--format", options->output.format, formats.front() + " (default) or " + formats.back())
      ->check(CLI::IsMember(formats));
  command->add_option("-o,--output", options->output.path, "write to this file instead of standard output")
      ->check(not_empty());
  return command;
}

void add_number(CLI::App& command, const Shared& options) {
  command.add_option("NUMBER", options->number, "number of the record")
      ->required()
      ->check(number_between(1, 1e15));
}

void add_query(CLI::App& command, const Shared& options) {
  RecordQuery& query = options->query;
  command.add_option("--serial", query.serial, "the rotor's serial, whole")->check(not_empty());
  command.add_option("--rotor", query.rotor, "part of the rotor's type")->check(not_empty());
  command.add_option("--station", query.station, "part of the station")->check(not_empty());
  command
      .add_option("--person", query.person, "part of the name of who made the check run or filed the record")
      ->check(not_empty());
  command.add_option("--verdict", query.verdict, "accepted, accepted_not_as_predicted or not_accepted")
      ->check(CLI::IsMember({"accepted", "accepted_not_as_predicted", "not_accepted"}));
  const CLI::Validator date{
      [](const std::string& text) {
        return parse_date(text) ? std::string{} : "\"" + shortened(text) + "\" is no date like 2031-05-12";
      },
      "YYYY-MM-DD"};
  command.add_option("--from", query.from, "made on this date or later")->check(date);
  command.add_option("--to", query.to, "made on this date or earlier")->check(date);
  command.add_option("--level-above", query.level_above, "largest amplitude over its limit above this")
      ->check(number_between(0, 1e9));
  command.add_option("--level-below", query.level_below, "largest amplitude over its limit below this")
      ->check(number_between(0, 1e9));
  command.add_option("--most", query.most, "tell at most so many records, the latest")
      ->check(number_between(1, 1e9))
      ->capture_default_str();
}

void add_file(CLI::App& record, const Shared& options, int& status) {
  auto* command =
      subcommand(record, options, "file", "File a trim whose check run is made", {"text", "json"});
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  command->add_option("--by", options->details.filed_by, "who files it")->required()->check(not_empty());
  command
      ->add_option("--run", options->run,
                   "the check run (default: the last run of the job, unless it looks like a trial run)")
      ->check(not_empty());
  command
      ->add_option("--entry", options->entries,
                   "\"KEY: TEXT\" for the sheet, as \"torque: 25 N·m\"; may be repeated")
      ->allow_extra_args(false);
  auto* corrects =
      command
          ->add_option("--corrects", options->details.corrects, "number of the record that this one corrects")
          ->check(number_between(1, 1e15));
  command->add_option("--reason", options->details.reason, "why it is corrected")
      ->needs(corrects)
      ->check(not_empty());
  command->callback([options, &status] { status = file_record(*options); });
}

}  // namespace

void add_record(CLI::App& app, int& status) {
  auto options = std::make_shared<RecordOptions>();
  auto* record =
      app.add_subcommand("record", "The archive of finished trims: file, find, show, compare, prove");
  ask_for_subcommand(*record, status);
  record->footer(record_example);
  add_file(*record, options, status);
  auto* found = subcommand(*record, options, "find", "Find records", {"text", "json"});
  add_query(*found, options);
  found->callback([options, &status] { status = find(*options); });
  auto* shown_record = subcommand(*record, options, "show", "Show one record", {"text", "json"});
  add_number(*shown_record, options);
  shown_record->add_option("--files", options->folder, "also write the job's files into this new folder")
      ->check(not_empty());
  shown_record->callback([options, &status] { status = show(*options); });
  auto* page = subcommand(*record, options, "sheet", "The before-and-after sheet of a record, to be signed",
                          {"text", "csv"});
  add_number(*page, options);
  page->callback([options, &status] { status = sheet(*options); });
  auto* exported =
      subcommand(*record, options, "export", "Records as a table or a document", {"csv", "json"});
  add_query(*exported, options);
  exported->callback([options, &status] { status = export_records(*options); });
  auto* compared = subcommand(*record, options, "compare",
                              "A rotor's levels before and after, across its records", {"text", "json"});
  compared->add_option("SERIAL", options->query.serial, "the rotor's serial")->required()->check(not_empty());
  compared->callback([options, &status] { status = compare(*options); });
  auto* proved =
      subcommand(*record, options, "prove", "Whether every record is as it was filed", {"text", "json"});
  proved->add_option("--expect", options->expect, "digest on a printed sheet, which must still be there")
      ->check(not_empty());
  proved->callback([options, &status] { status = prove(*options); });
  auto* backup = subcommand(*record, options, "backup", "Copy the archive, while others may use it", {});
  backup->add_option("COPY", options->copy, "the new file")->required()->check(not_empty());
  backup->callback([options, &status] { status = back_up(*options); });
}

}  // namespace trimwright::cli
