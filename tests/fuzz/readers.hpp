#pragma once

#include <string>
#include <vector>

namespace trimwright::testing {

/// Something of the program that reads what anybody may have written.
struct Reader {
  std::string name;
  /// Inputs that are as they should be: shipped files, or made by the program itself.
  std::vector<std::string> (*seeds)();
  /// Reads `input`, with what belongs to it from `folder`, which is its own; whether it is accepted. Whatever
  /// it holds, nothing is thrown and nothing crashes.
  bool (*accepts)(const std::string& folder, const std::string& input);
};

[[nodiscard]] const std::vector<Reader>& readers();

}  // namespace trimwright::testing
