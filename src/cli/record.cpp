#include <fmt/chrono.h>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <memory>
#include <set>

#include "base/date.hpp"
#include "base/new_file.hpp"
#include "base/text.hpp"
#include "commands.hpp"
#include "io/record_documents.hpp"
#include "trimwright/files.hpp"

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
  std::string folder, copy, expect, since;
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

Status file_record(RecordOptions& options) {
  if (auto added = add_entries(options); !added) {
    complain(added.error());
    return wrong_usage;
  }
  if (!options.output.path
           .empty()) {  // nothing is filed where the answer would go over a file it is made from
    const auto job = read_job(options.job);
    if (!job) return complain(job.error());
    auto sources = job->sources;
    sources.push_back(options.archive);
    if (const auto apart = options.output.check_apart_from(sources); !apart) return complain(apart.error());
  }
  options.details.filed_at = now_utc();
  options.details.software = "trimwright " TRIMWRIGHT_VERSION;
  const auto filed = file_trim(options.job, options.run, options.archive, options.details);
  if (!filed) return complain(filed.error());
  return options.output.write(options.output.json() ? records_json({filed->record}) : filed_text(*filed),
                              {options.archive});
}

/// Opens the archive and hands it over; complains where that cannot be done.
template <class Do>
Status with_archive(const RecordOptions& options, Do&& act) {
  auto archive = Archive::open(options.archive, Archive::Opening::existing);
  if (!archive) return complain(archive.error());
  return act(*archive);
}

Status write(const RecordOptions& options, const Result<std::string>& answer) {
  return answer ? options.output.write(*answer, {options.archive}) : complain(answer.error());
}

Error not_as_filed(const RecordOptions& options, std::size_t faults) {
  return {fmt::format("the archive is not as it was filed: {} fault{}", faults, faults == 1 ? "" : "s"),
          "a backup that proves whole",
          {options.archive, 0, {}}};
}

/// Serials that hold what was taken for a whole one.
std::string longer_serials(const Archive& archive, const std::string& serial) {
  RecordQuery query;
  query.part_of_serial = serial;
  const auto like = archive.find(query);
  std::set<std::string> serials;
  if (like)
    for (const auto& one : *like) serials.insert("\"" + shortened(one.record.serial) + "\"");
  return fmt::format("{}", fmt::join(serials, " or "));
}

Status find(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    RecordQuery query = options.query;
    if (query.most == RecordQuery{}.most) query.most = 1000;
    const auto found = archive.find(query);
    if (!found) return complain(found.error());
    std::string text = records_text(*found);
    const auto longer =
        found->empty() && !options.query.serial.empty() ? longer_serials(archive, options.query.serial) : "";
    if (!longer.empty()) text += "--serial asks for a whole serial; part of one is in: " + longer + ".\n";
    const Status written = write(options, options.output.json() ? records_json(*found) : text);
    const auto faults =
        std::count_if(found->begin(), found->end(), [](const auto& one) { return !one.holds; });
    return written != done || faults == 0 ? written
                                          : complain(not_as_filed(options, static_cast<std::size_t>(faults)));
  });
}

Status show(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto record = archive.read(options.number);
    if (!record) return complain(record.error());
    if (!options.folder.empty()) {
      const auto files = files_of(*record);
      if (!files) return complain(files.error());
      std::error_code none;
      const bool there = std::filesystem::exists(options.folder, none);
      const auto written =
          there ? tl::unexpected(
                      Error{"this is there already", "a new folder", {options.folder, unwritten, {}}})
                : write_files(*files, options.folder);
      if (!written && !there) std::filesystem::remove_all(options.folder, none);
      if (!written) return complain(written.error());
    }
    return write(options, options.output.json() ? record_json(*record) : sheet_text(*record));
  });
}

Status sheet(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto record = archive.read(options.number);
    if (!record) return complain(record.error());
    return write(options, options.output.format == "csv" ? sheet_csv(*record) : sheet_text(*record));
  });
}

Status export_all(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto form = options.output.json()              ? ExportForm::json
                      : options.output.format == "lines" ? ExportForm::lines
                                                         : ExportForm::csv;
    return options.output.write_parts(
        [&](const WritePart& part) { return export_records(archive, options.query, form, part); },
        {options.archive});
  });
}

Status compare(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    std::vector<StoredRecord> records;
    const auto read = archive.each(options.query, [&](StoredRecord& one) -> Result<void> {
      records.push_back(std::move(one));
      return {};
    });
    if (!read) return complain(read.error());
    const auto changed =
        std::find_if(records.begin(), records.end(), [](const auto& one) { return !one.holds; });
    if (changed != records.end()) return complain(not_as_filed(options, 1));
    if (records.empty()) {
      const auto longer = longer_serials(archive, options.query.serial);
      return complain(
          {"the archive has no record of serial \"" + shortened(options.query.serial) + "\"",
           longer.empty() ? "a serial that trimwright record find tells" : "a whole serial: " + longer,
           {options.archive, 0, {}}});
    }
    return write(options, options.output.json() ? history_json(records) : history_text(records));
  });
}

Status prove(const RecordOptions& options) {
  const auto expected = options.expect.empty() ? std::nullopt : digest_from_hex(options.expect);
  const auto since = options.since.empty() ? std::nullopt : head_from_text(options.since);
  if ((!options.expect.empty() && !expected) || (!options.since.empty() && !since)) {
    complain(
        !options.since.empty() && !since
            ? Error{"--since: \"" + shortened(options.since) + "\" is no head", "a head that prove told", {}}
            : Error{"--expect: \"" + shortened(options.expect) + "\" is no digest",
                    "64 hexadecimal digits, as on the sheet",
                    {}});
    return wrong_usage;
  }
  return with_archive(options, [&](const Archive& archive) {
    const auto proof = archive.prove(expected, since);
    if (!proof) return complain(proof.error());
    const Status written = write(options, options.output.json() ? proof_json(*proof) : proof_text(*proof));
    return written != done || proof->whole() ? written
                                             : complain(not_as_filed(options, proof->faults.size()));
  });
}

Status send(const RecordOptions& options) {
  const auto local = Archive::open(options.archive, Archive::Opening::existing);
  if (!local) return complain(local.error());
  auto shared = Archive::open(options.copy, Archive::Opening::create_if_missing);
  if (!shared) return complain(shared.error());
  const auto sent = shared->take_over(*local);
  if (!sent) return complain(sent.error());
  const Status written = Output{}.write(sent_text(*sent));
  const auto against = std::count_if(sent->begin(), sent->end(),
                                     [](const Sent& one) { return one.fate == Sent::Fate::corrected_twice; });
  return written != done || against == 0
             ? written
             : complain({fmt::format("{} correction{} not sent", against, against == 1 ? " is" : "s are"),
                         "one correction of each record",
                         {options.copy, 0, {}}});
}

Status set_up(const RecordOptions& options) {
  const auto made = Archive::set_up(options.archive);
  return made ? Output{}.write(
                    "The archive is set up. Grant the role trimwright_station to the users who file.\n")
              : complain(made.error());
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
  command->add_option("--archive", options->archive, "archive of trims: a file, or postgresql://...")
      ->required()
      ->check(not_empty());
  if (formats.empty()) return command;
  command
      ->add_option("--format", options->output.format,
                   fmt::format("{} (the first is the default)", fmt::join(formats, ", ")))
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
  command.add_option("--most", query.most, "at most so many records, the latest (find: 1000; export: all)")
      ->check(number_between(1, 1e9));
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
  command
      ->add_option("--dated", options->details.dated,
                   "the check run's date once more, where it is years old or yet to come")
      ->check(not_empty());
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
      subcommand(*record, options, "export", "Records as a table, a document, or lines that others can prove",
                 {"csv", "json", "lines"});
  add_query(*exported, options);
  exported->callback([options, &status] { status = export_all(*options); });
  auto* compared = subcommand(*record, options, "compare",
                              "A rotor's levels before and after, across its records", {"text", "json"});
  compared->add_option("SERIAL", options->query.serial, "the rotor's serial")->required()->check(not_empty());
  compared->callback([options, &status] { status = compare(*options); });
  auto* proved =
      subcommand(*record, options, "prove", "Whether every record is as it was filed", {"text", "json"});
  proved->add_option("--expect", options->expect, "digest on a printed sheet, which must still be there")
      ->check(not_empty());
  proved
      ->add_option("--since", options->since,
                   "head that prove told before, from which the archive must go on")
      ->check(not_empty());
  proved->callback([options, &status] { status = prove(*options); });
  auto* backup = subcommand(*record, options, "backup", "Copy the archive, while others may use it", {});
  backup->add_option("COPY", options->copy, "the new file")->required()->check(not_empty());
  backup->callback([options, &status] { status = back_up(*options); });
  auto* sent = record->add_subcommand("send", "Send the records of a station's own archive to a shared one");
  sent->add_option("LOCAL", options->archive, "the station's own archive")->required()->check(not_empty());
  sent->add_option("SHARED", options->copy, "the archive they are sent to")->required()->check(not_empty());
  sent->callback([options, &status] { status = send(*options); });
  auto* setup = record->add_subcommand("setup", "Make an archive for many stations on a PostgreSQL server");
  setup->add_option("URL", options->archive, "postgresql://...")->required()->check(not_empty());
  setup->callback([options, &status] { status = set_up(*options); });
}

}  // namespace trimwright::cli
