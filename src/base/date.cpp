#include "date.hpp"

namespace trimwright {

bool begins_as_date(std::string_view text) {
  constexpr std::string_view shape = "0000-00-00";
  if (text.size() < shape.size()) return false;
  for (std::size_t i = 0; i < shape.size(); ++i)
    if (shape[i] == '-' ? text[i] != '-' : text[i] < '0' || text[i] > '9') return false;
  return true;
}

std::optional<std::chrono::year_month_day> parse_date(std::string_view text) {
  if (text.size() != 10 || !begins_as_date(text)) return std::nullopt;
  const auto number = [&](std::size_t from, std::size_t digits) {
    unsigned value = 0;
    for (const char c : text.substr(from, digits)) value = 10 * value + static_cast<unsigned>(c - '0');
    return value;
  };
  const std::chrono::year_month_day date{std::chrono::year(static_cast<int>(number(0, 4))),
                                         std::chrono::month(number(5, 2)), std::chrono::day(number(8, 2))};
  return date.ok() ? std::optional(date) : std::nullopt;
}

std::optional<std::chrono::sys_days> day_of(std::string_view text) {
  const auto date = parse_date(text.substr(0, 10));
  return date ? std::optional(std::chrono::sys_days(*date)) : std::nullopt;
}

}  // namespace trimwright
