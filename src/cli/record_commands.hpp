#pragma once

#include <string>
#include <vector>

#include "commands.hpp"
#include "io/record_documents.hpp"

namespace trimwright::cli {

/// What the commands of the archive are asked for.
struct RecordOptions {
  std::string archive;
  std::string job, run;
  FilingDetails details;
  std::vector<std::string> entries;
  std::string with_entry;
  ReadingsToFile readings;
  RecordQuery query;
  std::int64_t number = 0;
  std::string folder, copy, expect, since, page;
  Output output;
};

Status file_record(RecordOptions& options);
Status file_readings(RecordOptions& options);
Status tell_trend(const RecordOptions& options);
Status find_records(const RecordOptions& options);
Status show_record(const RecordOptions& options);
Status print_sheet(const RecordOptions& options);
Status export_records(const RecordOptions& options);
Status compare_records(const RecordOptions& options);
Status prove_archive(const RecordOptions& options);
Status send_records(const RecordOptions& options);
Status set_up_archive(const RecordOptions& options);
Status back_up_archive(const RecordOptions& options);

}  // namespace trimwright::cli
