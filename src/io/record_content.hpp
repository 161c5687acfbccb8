#pragma once

#include <fmt/format.h>

#include <string>

#include "json_parts.hpp"
#include "record_documents.hpp"
#include "trimwright/records.hpp"

namespace trimwright {

/// What `tell` makes of a record's document, of a trim or of readings. Error: the document is not one that
/// trimwright wrote.
template <class Tell>
[[nodiscard]] auto from_any_content(const StoredRecord& record, Tell&& tell)
    -> Result<decltype(tell(std::declval<const Json&>()))> {
  try {
    const Json content = Json::parse(record.record.content);
    const bool readings = holds_readings(record.record);
    if (content.at("trimwright") == (readings ? "dated-readings 1" : "record 1") &&
        (readings ? content.contains("runs") : content.at("check").contains("readings")))
      return tell(content);
  } catch (const Json::exception&) {  // told below
  }
  return fail(fmt::format("record {} holds no document that this program understands", record.number),
              "a record that trimwright filed");
}

/// What a reading of a record says of how its speed was come to, to stand behind the speed: ", up, hot".
[[nodiscard]] std::string state_in(const Json& reading);

/// What was read as found at the place of `place`, as the record's `as_found` lists it; null where nothing
/// was, and in records of an older trimwright, which have no such list.
[[nodiscard]] const Json* as_found_in(const Json& content, const Json& place, bool overall);

/// Where an older trimwright took the first run of another visit for as found: that it did. Else nothing.
[[nodiscard]] std::string earlier_visit_words(const Json& content);

/// The same of a trim alone. Error: the record holds readings without a trim.
template <class Tell>
[[nodiscard]] auto from_content(const StoredRecord& record, Tell&& tell)
    -> Result<decltype(tell(std::declval<const Json&>()))> {
  if (holds_readings(record.record))
    return fail(fmt::format("record {} holds readings without a trim", record.number),
                "the record of a trim; trimwright record show and trend tell of readings");
  return from_any_content(record, std::forward<Tell>(tell));
}

struct SheetPart;
/// The parts of a sheet as CSV, the kind of each row before its cells; readings in two columns each.
[[nodiscard]] std::string sheet_parts_csv(const std::vector<SheetPart>& parts);

/// A record of readings without a trim, as text.
[[nodiscard]] Result<std::string> readings_text(const StoredRecord& record);

/// The readings of a run of a job whose places are settled.
[[nodiscard]] Json run_readings_json(const Job& job, const Run& run);

/// The date of what is filed, made at `when`; `what` begins the messages: "the check run". Years ago or yet
/// to come it is often a slip of the pen, and a record is for good: then it must be said twice.
[[nodiscard]] Result<std::string> filing_date(const std::string& what, const std::string& when,
                                              const FilingDetails& details);

/// Error: a run that leads to the check run was made after it.
[[nodiscard]] Result<void> check_made_in_order(const Job& job, std::size_t check_run);

/// What was measured: serial, when the check run was made, and its readings to six digits. The same trim
/// filed again has the same, whatever else is written in its files.
[[nodiscard]] Digest measured_digest(const std::string& serial, const Json& content);

/// "2031-05-12 14:20:07 UTC" of "2031-05-12T14:20:07Z".
[[nodiscard]] std::string utc_words(std::string time);

/// Of a record that another one corrects: ", which is of serial LKM-417: this one is wrong"; nothing where
/// both are of one serial.
[[nodiscard]] std::string wrong_serial_words(const StoredRecord& record);

/// What a record is found by, as every document of it begins.
[[nodiscard]] Json found_by_json(const Record& record);

}  // namespace trimwright
