#pragma once

#include <string_view>

namespace trimwright {

/// The files of src/report/page, embedded when the library is built.
extern const std::string_view page_css;
extern const std::string_view page_dark_css;
extern const std::string_view page_js;

}  // namespace trimwright
