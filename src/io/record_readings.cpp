#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.hpp"
#include "dated_readings.hpp"
#include "filed_job.hpp"
#include "record_content.hpp"
#include "report/plan_parts.hpp"
#include "report/text_table.hpp"
#include "runs/next_steps.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

/// Readings as a job without a trim, so that each has its speed point and limit.
Result<Job> job_of_readings(const FiledReadings& filed, const ReadingsToFile& asked) {
  Job job;
  job.rotor = filed.rotor;
  job.serial = asked.serial;
  job.station = asked.station;
  job.runs = filed.readings.dates;
  if (auto settled = settle_places(job); !settled) return tl::unexpected(settled.error());
  return job;
}

/// Largest once-per-rev amplitude of the last date over its limit.
double level_of(const Job& job) {
  double level = 0.0;
  for (const auto& reading : job.runs.back().readings)
    if (reading.component == Component::once_per_rev)
      level = std::max(level, reading.amplitude / place_of(job, reading.speed, reading.sensor).limit);
  return level;
}

Digest digest_of_readings(const Job& job) {
  std::set<std::string> lines;
  for (const auto& run : job.runs)
    for (const auto& one : run.readings)
      lines.insert(fmt::format("{} {:.6g} {} {} {:.6g} {}{}", run.name, one.rpm,
                               job.rotor.sensors[one.sensor].name, static_cast<int>(one.component),
                               one.amplitude, one.x ? fmt::format("{:.6g}", std::arg(*one.x)) : "-",
                               state_words(one.state)));
  Sha256 hash;
  hash.feed_field(readings_verdict);
  hash.feed_field(lower_case(job.serial));
  for (const auto& line : lines) hash.feed_field(line);
  return hash.finish();
}

Json content_of(const Job& job, const Record& record, const std::vector<FiledFile>& files) {
  Json runs = Json::array(), filed = Json::array();
  for (const auto& run : job.runs) {
    const auto& other = run.conditions.other;
    runs.push_back({{"when", run.name},
                    {"note", other.empty() ? "" : other.front().second},
                    {"readings", run_readings_json(job, run)}});
  }
  for (const auto& file : files) filed.push_back({{"name", file.name}, {"text", file.text}});
  Json content = {{"trimwright", "dated-readings 1"}};
  content.update(found_by_json(record));
  content.update({{"runs", runs}, {"files", filed}, {"cautions", cautions()}});
  return content;
}

}  // namespace

Result<JudgedTrim> readings_record(const ReadingsToFile& asked, const FilingDetails& details) {
  const std::vector<std::string> sources{asked.rotor, asked.table};
  const auto rotor = read_rotor(asked.rotor);  // told by the names a person knows
  if (!rotor) return tl::unexpected(rotor.error());
  if (const auto sure = check_confirmed(*rotor); !sure) return tl::unexpected(sure.error());
  const auto first = read_dated_table(asked.table, *rotor);
  if (!first) return tl::unexpected(first.error());
  const auto first_job = job_of_readings({*rotor, *first}, asked);
  if (!first_job) return tl::unexpected(first_job.error());
  const auto files = job_files(sources);
  if (!files) return tl::unexpected(files.error());
  const auto filed = read_filed_readings(*files);
  if (!filed) return tl::unexpected(filed.error());
  const auto job = job_of_readings(*filed, asked);
  if (!job) return tl::unexpected(job.error());
  Record record;
  record.rotor = job->rotor.name;
  record.serial = job->serial;
  record.station = job->station;
  auto date = filing_date("the last reading", job->runs.back().name, details);
  if (!date) {
    if (date.error().where.file.empty()) date.error().where.file = asked.table;
    return tl::unexpected(date.error());
  }
  record.date = *std::move(date);
  record.verdict = readings_verdict;
  record.level = level_of(*job);
  record.filed_at = details.filed_at;
  record.filed_by = record.person = details.filed_by;
  record.software = details.software;
  record.corrects = details.corrects;
  record.reason = details.reason;
  if (auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  record.content = content_of(*job, record, *files).dump();
  record.inputs = digest_of_readings(*job);
  return JudgedTrim{std::move(record), sources};
}

Result<std::string> readings_text(const StoredRecord& one) {
  return from_any_content(one, [&](const Json& content) {
    std::string text = fmt::format("Readings without a trim: {}, serial {}\nRecord {}, filed by {} at {}\n\n",
                                   one_line(one.record.rotor), one_line(one.record.serial), one.number,
                                   one_line(one.record.filed_by), one_line(utc_words(one.record.filed_at)));
    using enum TextTable::Align;
    TextTable table({{"date", left},
                     {"speed", left},
                     {"sensor", left},
                     {"amplitude", right},
                     {"unit", left},
                     {"phase", right}});
    for (const auto& run : content.at("runs"))
      for (const auto& reading : run.at("readings"))
        table.add(
            {one_line(run.at("when").get<std::string>()), one_line(reading.at("speed").get<std::string>()),
             one_line(reading.at("sensor").get<std::string>()),
             amplitude_words(reading.at("amplitude").get<double>()),
             one_line(reading.at("unit").get<std::string>()),
             reading.at("phase_deg").is_null() ? "-"
                                               : angle_words(reading.at("phase_deg").get<double>(), 0)});
    return text + table.text() + caution_lines();
  });
}

}  // namespace trimwright
