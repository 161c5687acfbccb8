#include <fmt/format.h>
#include <fmt/ranges.h>

#include <memory>

#include "base/date.hpp"
#include "base/text.hpp"
#include "record_commands.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* record_example = R"(Examples:
  trimwright record file examples/quillhaven/after.yaml --archive trims.db --by "L. Marsh" \
      --dated 2031-05-13 --entry "torque: 25 N·m" --entry "manual and revision: practice manual A, revision 1"
      Files the trim whose last run is the check run; makes the archive if there is none. (--dated: because
      the example's date is yet to come.)
  trimwright record sheet 1 --archive trims.db
      The sheet with the levels before and after, to be signed and filed; show N is the same to be read.
  trimwright record find --archive trims.db --serial LKM-417
  trimwright record find --archive trims.db --entry "aircraft: Q-ALM"
  trimwright record compare LKM-417 --archive trims.db
      A rotor's levels before and after, across the years.
  trimwright record readings may.csv --rotor configs/larkmere-fan.yaml --serial LKM-417 \
      --archive trims.db --by "L. Marsh"
      Files readings made without a trim: a table with a column "date".
  trimwright record trend LKM-417 --archive trims.db --page trend.html
      Whether something changed since the last trim, when, and what it looks like.
  trimwright record prove --archive trims.db --expect "5f1c 09ab ..."
      Whether every record is as it was filed, up to the sheet that shows this digest.
A record is never changed or removed; a correction is a new one (--corrects, --reason). See docs/records.md.)";

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

CLI::Validator a_record_number() {
  return {[](const std::string& text) {
            return number_between(1, 1e15)(text).empty()
                       ? std::string{}
                       : "\"" + shortened(text) + "\" is no number of a record";
          },
          "a number as 12 (record find --serial tells those of a rotor)"};
}

void add_number(CLI::App& command, const Shared& options) {
  command.add_option("NUMBER", options->number, "number of the record")->required()->check(a_record_number());
}

CLI::Validator a_date() {
  return {[](const std::string& text) {
            return parse_date(text) ? std::string{} : "\"" + shortened(text) + "\" is no date";
          },
          "a date as 2031-05-12"};
}

void add_query(CLI::App& command, const Shared& options) {
  RecordQuery& query = options->query;
  command.add_option("--serial", query.serial, "the rotor's serial, whole")->check(not_empty());
  command.add_option("--rotor", query.rotor, "part of the rotor's type")->check(not_empty());
  command.add_option("--station", query.station, "part of the station")->check(not_empty());
  command
      .add_option("--person", query.person, "part of the name of who made the check run or filed the record")
      ->check(not_empty());
  const std::vector<std::string> outcomes{outcome_name(Outcome::accepted),
                                          outcome_name(Outcome::accepted_not_as_predicted),
                                          outcome_name(Outcome::not_accepted)};
  auto verdicts = outcomes;
  verdicts.emplace_back(readings_verdict);
  command
      .add_option("--verdict", query.verdict,
                  fmt::format("{}, or {} (made without a trim)", fmt::join(outcomes, ", "), readings_verdict))
      ->check(CLI::IsMember(verdicts));
  command
      .add_option("--from", query.from,
                  "check run (or last reading) made on this date or later; other runs do not count")
      ->check(a_date());
  command.add_option("--to", query.to, "check run (or last reading) made on this date or earlier")
      ->check(a_date());
  command
      .add_option(
          "--entry", options->with_entry,
          "\"KEY: TEXT\": filed with an entry of this name that holds the text, as \"aircraft: Q-ALM\"")
      ->check(not_empty());
  command.add_option("--level-above", query.level_above, "largest amplitude divided by its limit above this")
      ->check(number_between(0, 1e9));
  command.add_option("--level-below", query.level_below, "largest amplitude divided by its limit below this")
      ->check(number_between(0, 1e9));
  command.add_option("--most", query.most, "at most so many records, the latest (find: 1000; export: all)")
      ->check(number_between(1, 1e9));
}

/// What is said of every filing. `last`: what its date is of.
void add_filing(CLI::App& command, const Shared& options, const std::string& last) {
  command.add_option("--by", options->details.filed_by, "who files it")->required()->check(not_empty());
  command
      .add_option("--dated", options->details.dated,
                  "the " + last + "'s date once more, where it is years old or yet to come")
      ->check(not_empty());
  auto* corrects =
      command
          .add_option("--corrects", options->details.corrects, "number of the record that this one corrects")
          ->check(a_record_number());
  command
      .add_option("--wrong-serial", options->details.wrong_serial,
                  "the serial under which the corrected record was filed by mistake")
      ->needs(corrects)
      ->check(not_empty());
  command.add_option("--reason", options->details.reason, "why it is corrected")
      ->needs(corrects)
      ->check(not_empty());
}

void add_readings(CLI::App& record, const Shared& options, int& status) {
  auto* command =
      subcommand(record, options, "readings", "File readings made without a trim", {"text", "json"});
  ReadingsToFile& readings = options->readings;
  command->add_option("TABLE", readings.table, "table of readings (CSV) with a column \"date\"")
      ->required()
      ->check(not_empty());
  command->add_option("--rotor", readings.rotor, "rotor file (YAML)")->required()->check(not_empty());
  command->add_option("--serial", readings.serial, "the rotor's serial")->required()->check(not_empty());
  command->add_option("--station", readings.station, "where they were made")->check(not_empty());
  add_filing(*command, options, "last reading");
  command->callback([options, &status] { status = file_readings(*options); });
}

void add_trend(CLI::App& record, const Shared& options, int& status) {
  auto* command = subcommand(record, options, "trend", "What changed on a rotor between its trims, and when",
                             {"text", "json"});
  command->add_option("SERIAL", options->query.serial, "the rotor's serial")->required()->check(not_empty());
  command->add_option("--from", options->query.from, "readings of this date or later only")->check(a_date());
  command->add_option("--page", options->page, "also draw it: one HTML file to look at and print")
      ->check(not_empty());
  command->callback([options, &status] { status = tell_trend(*options); });
}

void add_file(CLI::App& record, const Shared& options, int& status) {
  auto* command =
      subcommand(record, options, "file", "File a trim whose check run is made", {"text", "json"});
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  command
      ->add_option("--run", options->run,
                   "the check run (default: the last run of the job, unless it looks like a trial run)")
      ->check(not_empty());
  command
      ->add_option("--entry", options->entries,
                   "\"KEY: TEXT\" for the sheet, as \"torque: 25 N·m\"; may be repeated")
      ->allow_extra_args(false);
  add_filing(*command, options, "check run");
  command->callback([options, &status] { status = file_record(*options); });
}

}  // namespace

void add_record(CLI::App& app, int& status) {
  auto options = std::make_shared<RecordOptions>();
  auto* record =
      app.add_subcommand("record", "The archive of finished trims: file, find, show, compare, trend, prove");
  ask_for_subcommand(*record, status);
  record->footer(record_example);
  add_file(*record, options, status);
  add_readings(*record, options, status);
  auto* found = subcommand(*record, options, "find", "Find records", {"text", "json"});
  add_query(*found, options);
  found->callback([options, &status] { status = find_records(*options); });
  auto* shown_record = subcommand(*record, options, "show", "Show one record", {"text", "json"});
  add_number(*shown_record, options);
  shown_record->add_option("--files", options->folder, "also write the job's files into this new folder")
      ->check(not_empty());
  shown_record->callback([options, &status] { status = show_record(*options); });
  auto* page = subcommand(*record, options, "sheet", "The before-and-after sheet of a record, to be signed",
                          {"text", "csv"});
  add_number(*page, options);
  page->callback([options, &status] { status = print_sheet(*options); });
  auto* exported = subcommand(*record, options, "export",
                              "Records as a table (csv-comma: semicolons and decimal commas), a document, or "
                              "lines that others can prove",
                              {"csv", "csv-comma", "json", "lines"});
  add_query(*exported, options);
  exported->callback([options, &status] { status = export_records(*options); });
  auto* compared = subcommand(*record, options, "compare",
                              "A rotor's levels before and after, across its records", {"text", "json"});
  compared->add_option("SERIAL", options->query.serial, "the rotor's serial")->required()->check(not_empty());
  compared->callback([options, &status] { status = compare_records(*options); });
  add_trend(*record, options, status);
  auto* proved =
      subcommand(*record, options, "prove", "Whether every record is as it was filed", {"text", "json"});
  proved->add_option("--expect", options->expect, "digest on a printed sheet, which must still be there")
      ->check(not_empty());
  proved
      ->add_option("--since", options->since,
                   "head that prove told before, from which the archive must go on")
      ->check(not_empty());
  proved->callback([options, &status] { status = prove_archive(*options); });
  auto* backup = subcommand(*record, options, "backup", "Copy the archive, while others may use it", {});
  backup->add_option("COPY", options->copy, "the new file")->required()->check(not_empty());
  backup->callback([options, &status] { status = back_up_archive(*options); });
  auto* sent = record->add_subcommand("send", "Send the records of a station's own archive to a shared one");
  sent->add_option("LOCAL", options->archive, "the station's own archive")->required()->check(not_empty());
  sent->add_option("SHARED", options->copy, "the archive they are sent to")->required()->check(not_empty());
  sent->callback([options, &status] { status = send_records(*options); });
  auto* setup = record->add_subcommand("setup", "Make an archive for many stations on a PostgreSQL server");
  setup->add_option("URL", options->archive, "postgresql://...")->required()->check(not_empty());
  setup->callback([options, &status] { status = set_up_archive(*options); });
}

}  // namespace trimwright::cli
