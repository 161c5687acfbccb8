#include "refusals.hpp"

#include <fmt/format.h>

namespace trimwright {

Error filed_already(std::int64_t number, std::string what, const std::string& other) {
  return {std::move(what), fmt::format("{}, or --corrects {} with a --reason", other, number), {}};
}

Error trim_filed_already(std::int64_t number) {
  return filed_already(
      number,
      fmt::format("this trim is filed already as record {}: the same serial, run and readings", number),
      "another trim");
}

Error not_as_filed(std::int64_t number, const std::string& archive) {
  return {
      fmt::format("record {} is not as it was filed: its digest does not fit", number),
      fmt::format("a backup that proves whole (trimwright record prove tells what was changed, and record "
                  "show {} what stands there)",
                  number),
      {archive, 0, {}}};
}

}  // namespace trimwright
