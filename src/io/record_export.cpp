#include "record_export.hpp"

#include <fmt/format.h>

#include "json_parts.hpp"
#include "record_documents.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

struct Frame {
  std::string begin, between, end;
};

/// Of a table: the sign before the decimals.
std::optional<char> decimal_of(ExportForm form) {
  return form == ExportForm::csv             ? std::optional('.')
         : form == ExportForm::csv_of_commas ? std::optional(',')
                                             : std::nullopt;
}

Frame frame_of(ExportForm form) {
  if (form == ExportForm::lines) return {};
  if (const auto decimal = decimal_of(form)) return {export_csv_heading(*decimal), "", ""};
  return {"{\"trimwright\": \"export 1\",\n\"records\": [\n", ",\n",
          "\n],\n\"cautions\": " + Json(cautions()).dump() + "}\n"};
}

Result<std::string> exported(const StoredRecord& record, ExportForm form) {
  if (form == ExportForm::lines) return export_line(record);
  const auto decimal = decimal_of(form);
  return decimal ? export_csv(record, *decimal) : export_json(record);
}

}  // namespace

Result<void> export_records(const Archive& archive, const RecordQuery& query, ExportForm form,
                            const WritePart& write) {
  const Frame frame = frame_of(form);
  if (const auto begun = write(frame.begin); !begun) return begun;
  bool first = true;
  const auto all = archive.each(query, [&](StoredRecord& one) -> Result<void> {
    if (!one.holds)
      return fail(fmt::format("record {} is not as it was filed: its digest does not fit", one.number),
                  "a backup (trimwright record prove tells what else is changed)");
    auto part = exported(one, form);
    if (!part) return tl::unexpected(part.error());
    return write(std::exchange(first, false) ? *part : frame.between + *part);
  });
  return all ? write(frame.end) : all;
}

}  // namespace trimwright
