#include "trimwright/base/error.hpp"

namespace trimwright {

std::string Error::message() const {
  std::string text;
  if (!where.file.empty()) {
    text += where.file;
    if (where.line > 0) text += ":" + std::to_string(where.line);
    text += ": ";
  }
  if (!where.key.empty()) text += where.key + ": ";
  text += what;
  if (!expected.empty()) text += "; expected " + expected;
  return text;
}

}  // namespace trimwright
