#include "database.hpp"

#include <algorithm>
#include <iterator>

namespace trimwright {

void Database::compare_schema(const Schema& expected, const Schema& found) const {
  const auto first_beyond = [](const Schema& these, const Schema& those) {
    Schema beyond;
    std::set_difference(these.begin(), these.end(), those.begin(), those.end(),
                        std::inserter(beyond, beyond.end()));
    return beyond.empty() ? std::string{} : beyond.begin()->first;
  };
  const std::string missing = first_beyond(expected, found), added = first_beyond(found, expected);
  if (missing.empty() && added.empty()) return;
  refuse(missing == added
             ? "the archive was changed by another program: its " + missing + " is not as trimwright makes it"
         : added.empty()
             ? "the archive was changed by another program: its " + missing + " is missing"
             : "the archive was changed by another program: the " + added + " does not belong in it",
         "an archive that trimwright alone made, or a backup of it");
}

}  // namespace trimwright
