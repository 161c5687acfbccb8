#pragma once

#include <fmt/format.h>

#include <map>
#include <span>
#include <string>

#include "json_parts.hpp"
#include "trimwright/records.hpp"

namespace trimwright {

/// What `tell` makes of a record's document. Error: the document is not one that trimwright wrote.
template <class Tell>
[[nodiscard]] auto from_content(const StoredRecord& record, Tell&& tell)
    -> Result<decltype(tell(std::declval<const Json&>()))> {
  try {
    const Json content = Json::parse(record.record.content);
    if (content.at("trimwright") == "record 1" && content.at("check").contains("readings"))
      return tell(content);
  } catch (const Json::exception&) {  // told below
  }
  return fail(fmt::format("record {} holds no document that this program understands", record.number),
              "a record that trimwright filed");
}

/// What a reading of a record says of how its speed was come to, to stand behind the speed: ", up, hot".
[[nodiscard]] std::string state_in(const Json& reading);

/// What was measured: serial, when the check run was made, and its readings to six digits. The same trim
/// filed again has the same, whatever else is written in its files.
[[nodiscard]] Digest measured_digest(const std::string& serial, const Json& content);

/// Decimals of all amplitudes (`keys` of each reading) in a unit, so that they stand alike: 0.400 beside
/// 0.046.
[[nodiscard]] std::map<std::string, int> decimals_by_unit(const Json& readings,
                                                          std::span<const char* const> keys);

/// What a record is found by, as every document of it begins.
[[nodiscard]] Json found_by_json(const Record& record);

}  // namespace trimwright
