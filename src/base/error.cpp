#include "trimwright/error.hpp"

#include "text.hpp"

namespace trimwright {
std::string Error::message() const {
  std::string text;
  if (!where.file.empty()) {
    text += shortened(where.file, 200);
    if (where.line > 0) text += ":" + std::to_string(where.line);
    text += ": ";
  }
  if (!where.key.empty()) text += shortened(where.key, 120) + ": ";
  text += shortened(what, 400);
  if (!expected.empty()) text += "; expected " + shortened(expected, 400);
  return one_line(text);
}

}  // namespace trimwright
