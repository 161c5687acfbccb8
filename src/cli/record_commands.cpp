#include "record_commands.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>

#include "base/text.hpp"
#include "io/record_trend.hpp"
#include "report/trend_text.hpp"
#include "work.hpp"

namespace trimwright::cli {
namespace {

std::string now_utc() {
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}",
                     fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now())));
}

/// Opens the archive and hands it over; complains where that cannot be done.
template <class Do>
Status with_archive(const RecordOptions& options, Do&& act) {
  work("trimwright record");
  auto archive = Archive::open(options.archive, Archive::Opening::existing);
  if (!archive) return complain(archive.error());
  return act(*archive);
}

Status write(const RecordOptions& options, const Result<std::string>& answer) {
  return answer ? options.output.write(*answer, {options.archive}) : complain(answer.error());
}

Error not_as_filed(const RecordOptions& options, std::size_t faults) {
  return {fmt::format("the archive is not as it was filed: {} fault{}", faults, faults == 1 ? "" : "s"),
          "a backup that proves whole (trimwright record prove tells what is wrong)",
          {options.archive, 0, {}}};
}

/// The same for what reads records: after its answer, what is seen in passing of an archive that is not
/// whole.
template <class Do>
Status reading_archive(const RecordOptions& options, Do&& act) {
  return with_archive(options, [&](const Archive& archive) -> Status {
    const Status status = act(archive);
    if (status != done) return status;
    const auto faults = archive.faults_in_passing();
    if (!faults) return complain(faults.error());
    return faults->empty() ? done : complain(not_as_filed(options, faults->size()));
  });
}

/// The query that was asked for. Empty: it cannot be, which is told.
std::optional<RecordQuery> asked_query(const RecordOptions& options) {
  RecordQuery query = options.query;
  if (!query.from.empty() && !query.to.empty() && query.to < query.from) {
    complain({"--from " + query.from + " is after --to " + query.to, "the earlier date at --from", {}});
    return std::nullopt;
  }
  if (options.with_entry.empty()) return query;
  auto also = with_entry(options.with_entry);
  if (!also) {
    complain({"--entry: " + also.error().what, also.error().expected, {}});
    return std::nullopt;
  }
  query.also = *std::move(also);
  return query;
}

/// Files a trim or readings, and tells that they are.
Status file_made(const RecordOptions& options, const Result<JudgedTrim>& made) {
  if (!made) return complain(made.error());
  auto sources = made->sources;
  sources.push_back(options.archive);
  if (const auto apart = options.output.check_apart_from(sources); !apart) return complain(apart.error());
  const auto filed = file_trim(made->record, options.archive);
  if (!filed) return complain(filed.error());
  tell_notes(filed->warnings);
  return options.output.write(options.output.json() ? records_json({filed->record}) : filed_text(*filed),
                              {options.archive});
}

void sign(FilingDetails& details) {
  details.filed_at = now_utc();
  details.software = "trimwright " TRIMWRIGHT_VERSION;
}

}  // namespace

Status file_readings(RecordOptions& options) {
  sign(options.details);
  return file_made(options, readings_record(options.readings, options.details));
}

Status tell_trend(const RecordOptions& options) {
  return reading_archive(options, [&](const Archive& archive) {
    const auto records = records_of(archive, options.archive, options.query.serial);
    if (!records) return complain(records.error());
    auto trend = trend_of(*records, options.query.from);
    if (!trend) {
      if (trend.error().where.file.empty()) trend.error().where.file = options.archive;
      return complain(trend.error());
    }
    if (!options.page.empty()) {
      Output page;
      page.path = options.page;
      if (options.output.path == options.page)
        return complain({"the page and the answer would be one file", "two files", {options.page, 0, {}}});
      if (const Status written = page.write(trend_page(*trend), {options.archive}); written != done)
        return written;
    }
    return options.output.write(options.output.json() ? trend_json(*trend) : trend_text(*trend),
                                {options.archive});
  });
}

Status file_record(RecordOptions& options) {
  for (const auto& entry : options.entries)
    if (auto added = add_entry(entry, options.details); !added) {
      complain({"--entry: " + added.error().what, added.error().expected, {}});
      return wrong_usage;
    }
  work("trimwright record");
  sign(options.details);
  keep_entries(options.archive, options.details);
  return file_made(options, judge_trim(options.job, options.run, options.details));
}

Status find_records(const RecordOptions& options) {
  auto query = asked_query(options);
  if (!query) return wrong_usage;
  return reading_archive(options, [&](const Archive& archive) {
    if (query->most == RecordQuery{}.most) query->most = 1000;
    const auto found = archive.find(*query);
    if (!found) return complain(found.error());
    std::string text = records_text(*found);
    const auto longer =
        found->empty() && !options.query.serial.empty() ? serials_words(archive, options.query.serial) : "";
    if (!longer.empty()) text += "--serial asks for a whole serial; part of one is in: " + longer + ".\n";
    const Status written = write(options, options.output.json() ? records_json(*found) : text);
    const auto faults =
        std::count_if(found->begin(), found->end(), [](const auto& one) { return !one.holds; });
    return written != done || faults == 0 ? written
                                          : complain(not_as_filed(options, static_cast<std::size_t>(faults)));
  });
}

Status show_record(const RecordOptions& options) {
  return reading_archive(options, [&](const Archive& archive) {
    const auto record = archive.read_as_it_stands(options.number);
    if (!record) return complain(record.error());
    if (!record->holds && !options.folder.empty()) return complain(archive.read(options.number).error());
    if (!options.folder.empty()) {
      const auto files = files_of(*record);
      if (!files) return complain(files.error());
      if (const auto written = write_files_anew(*files, options.folder); !written)
        return complain(written.error());
    }
    const Status written = write(
        options, options.output.json() ? record_json(*record) : shown_text(*record, options.output.width()));
    return written != done || record->holds ? written : complain(not_as_filed(options, 1));
  });
}

Status print_sheet(const RecordOptions& options) {
  return reading_archive(options, [&](const Archive& archive) {
    const auto record = archive.read(options.number);
    if (!record) return complain(record.error());
    return write(options, options.output.format == "csv" ? sheet_csv(*record)
                                                         : sheet_text(*record, options.output.width()));
  });
}

Status export_records(const RecordOptions& options) {
  auto query = asked_query(options);
  if (!query) return wrong_usage;
  std::size_t told = 0;
  query->also = [&told, also = query->also](const StoredRecord& one) {
    const bool fits = !also || also(one);
    told += fits ? 1 : 0;
    return fits;
  };
  return reading_archive(options, [&](const Archive& archive) {
    const auto form = options.output.json()                  ? ExportForm::json
                      : options.output.format == "lines"     ? ExportForm::lines
                      : options.output.format == "csv-comma" ? ExportForm::csv_of_commas
                                                             : ExportForm::csv;
    const Status written = options.output.write_parts(
        [&](const WritePart& part) { return trimwright::export_records(archive, *query, form, part); },
        {options.archive});
    if (written == done && told == 0) tell_notes({"no record is what was asked for: nothing is exported"});
    return written;
  });
}

Status compare_records(const RecordOptions& options) {
  return reading_archive(options, [&](const Archive& archive) {
    const auto records = records_of(archive, options.archive, options.query.serial);
    if (!records) return complain(records.error());
    return write(options, options.output.json() ? history_json(*records) : history_text(*records));
  });
}

Status prove_archive(const RecordOptions& options) {
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
    auto proof = archive.prove(expected, since);
    if (!proof) return complain(proof.error());
    tell_edits(archive, *proof);
    const Status written = write(options, options.output.json() ? proof_json(*proof) : proof_text(*proof));
    return written != done || proof->whole() ? written
                                             : complain(not_as_filed(options, proof->faults.size()));
  });
}

Status send_records(const RecordOptions& options) {
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

Status set_up_archive(const RecordOptions& options) {
  const auto made = Archive::set_up(options.archive);
  return made ? Output{}.write(
                    "The archive is set up. Grant the role trimwright_station to the users who file.\n")
              : complain(made.error());
}

Status back_up_archive(const RecordOptions& options) {
  return with_archive(options, [&](const Archive& archive) {
    const auto copied = archive.back_up(options.copy);
    if (copied) return Output{}.write("The archive is copied to " + options.copy + ".\n");
    complain(copied.error());
    return not_written;
  });
}

}  // namespace trimwright::cli
