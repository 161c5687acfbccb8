#pragma once

#include "markup.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// What is printed: `content` under a running head that every printed page repeats (what it is, rotor,
/// serial, job, date). `date` empty: a line to fill in. `css_class`: "second" where another sheet is printed
/// unless a person chooses this one.
[[nodiscard]] Markup paper(const Job& job, std::string_view id, std::string_view css_class,
                           const std::string& heading, const std::string& date, const Markup& content);

/// A term with its words, or with a line to fill in where there are none.
[[nodiscard]] Markup paper_entry(const std::string& term, const std::string& words);

}  // namespace trimwright
