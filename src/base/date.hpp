#pragma once

#include <chrono>
#include <optional>
#include <string_view>

namespace trimwright {

/// "2031-05-12", a day that there is; nothing for any other text.
[[nodiscard]] std::optional<std::chrono::year_month_day> parse_date(std::string_view text);

/// The day that a text begins with, as "2031-03-04 08:15" does.
[[nodiscard]] std::optional<std::chrono::sys_days> day_of(std::string_view text);

/// Whether a text begins as a date is written, four digits, two and two: it is then one, or is mistyped.
[[nodiscard]] bool begins_as_date(std::string_view text);

}  // namespace trimwright
