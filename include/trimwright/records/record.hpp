#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "trimwright/base/error.hpp"
#include "trimwright/records/digest.hpp"

namespace trimwright {

/// A finished trim as it is filed: what it is found by, and a document that holds all the rest.
struct Record {
  std::string rotor;   ///< type
  std::string serial;  ///< never empty
  std::string station;
  std::string date;      ///< YYYY-MM-DD of the check run
  std::string person;    ///< who made it
  std::string verdict;   ///< `outcome_name`
  double level = 0.0;    ///< largest once-per-rev amplitude over its limit
  std::string filed_at;  ///< YYYY-MM-DDThh:mm:ssZ
  std::string filed_by;
  std::string software;
  std::optional<std::int64_t> corrects;  ///< number of the record that this one corrects
  std::string reason;                    ///< of the correction
  Digest inputs{};                       ///< of what was measured: the same trim is recognised
  std::optional<Digest> origin;          ///< its digest in the archive that it was sent from
  std::string content;                   ///< the `record 1` document
};

/// A record in its place in the archive.
struct StoredRecord {
  std::int64_t number = 0;  ///< 1, 2, 3, ...
  Digest previous{};        ///< digest of the record before in its chain; zero for the first
  Record record;
  Digest digest{};
  std::optional<std::int64_t> corrected_by;  ///< the latest record that corrects this one
  bool holds = true;                         ///< its digest fits what it says
  int rule = 2;                              ///< of the digest
};

/// SHA-256 of a record in its place, by the rule of docs/records.md. `rule` 1, of older archives, takes no
/// `origin` and does not tell a record that corrects none from one that corrects record 0.
[[nodiscard]] Digest digest_of(std::int64_t number, const Digest& previous, const Record& record,
                               int rule = 2);

/// Whether a text can be filed as a name: nothing, or what `parse_name` takes. `what` begins the message:
/// "serial".
[[nodiscard]] Result<void> check_name(const std::string& what, const std::string& text);

/// Checks all names of a record, and that it has a serial and a person who files it.
[[nodiscard]] Result<void> check_record(const Record& record);

}  // namespace trimwright
