#pragma once

#include <yaml-cpp/yaml.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/name.hpp"
#include "base/text.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

/// Thrown inside the readers of this room and turned into a Result where they end.
struct InputError {
  Error error;
};

/// A value of a YAML file that knows where it stands, so that every complaint names file, line and key.
class YamlValue {
 public:
  YamlValue(std::string file, std::string path, YAML::Node node)
      : file_(std::move(file)), path_(std::move(path)), node_(std::move(node)) {}

  [[nodiscard]] Location where() const;
  [[noreturn]] void reject(const std::string& what, const std::string& expected) const;
  /// Rejects with an error from a parser of the text, keeping its words.
  [[noreturn]] void reject(const Error& error) const { reject(error.what, error.expected); }

  [[nodiscard]] bool is_text() const { return node_.IsScalar(); }
  [[nodiscard]] bool is_map() const { return node_.IsMap(); }
  [[nodiscard]] bool is_list() const { return node_.IsSequence(); }
  [[nodiscard]] const std::string& file() const { return file_; }

  /// The scalar as written, all of it to be seen. `expected` tells the reader of the message what belongs
  /// here.
  [[nodiscard]] std::string text(const std::string& expected = "a text") const;
  /// A name, as `parse_name` has it.
  [[nodiscard]] std::string label() const;
  /// The path of a file, which may hold what a name may not.
  [[nodiscard]] std::string path() const;
  [[nodiscard]] int whole_number(int least, int most) const;
  [[nodiscard]] double number(double least, double most) const;
  [[nodiscard]] std::vector<YamlValue> list(const std::string& expected) const;
  /// Keys and values of a map, in file order.
  [[nodiscard]] std::vector<std::pair<std::string, YamlValue>> entries(const std::string& expected) const;

  /// The value that a text parser returns, or a complaint here.
  template <class Parser>
  [[nodiscard]] auto parsed(Parser parser) const {
    const auto value = parser(text());
    if (!value) reject(value.error());
    return *value;
  }

  /// One of the named choices: `names` and `values` side by side.
  template <class T>
  [[nodiscard]] T choice(const std::vector<std::pair<std::string, T>>& choices) const {
    std::string expected;
    for (const auto& [name, value] : choices) expected += (expected.empty() ? "" : " or ") + name;
    const std::string found = text(expected);
    for (const auto& [name, value] : choices)
      if (name == found) return value;
    reject("\"" + shortened(found) + "\" is not known here", expected);
  }

 private:
  std::string file_;
  std::string path_;
  YAML::Node node_;
};

/// The keys of one map, each to be asked for once; `finish` rejects what nobody asked for.
class YamlFields {
 public:
  YamlFields(const YamlValue& map, const std::string& expected);

  [[nodiscard]] YamlValue required(const std::string& key);
  [[nodiscard]] std::optional<YamlValue> optional(const std::string& key);
  [[nodiscard]] const YamlValue& map() const { return map_; }
  /// Rejects the first key that was never asked for.
  void finish() const;

 private:
  YamlValue map_;
  std::vector<std::pair<std::string, YamlValue>> entries_;
  std::vector<std::string> asked_;
};

/// Refuses a name that one of `others` has already, or one that a person takes for it.
template <class T>
void check_apart(const YamlValue& value, const std::string& kind, const std::string& name,
                 const std::vector<T>& others, std::string T::*name_of) {
  for (const T& other : others) {
    if (other.*name_of == name)
      value.reject(kind + " \"" + name + "\" stands here twice", "a name of its own for each " + kind);
    if (alike(other.*name_of, name))
      value.reject(kind + " \"" + name + "\" looks like " + kind + " \"" + other.*name_of + "\"",
                   "names that a person can tell apart");
  }
}

/// What a file says it is with its first key, "trimwright: job 1" or its like in JSON: "job". Empty where it
/// is no file of ours, whatever it says further down.
[[nodiscard]] std::string document_kind(std::string_view text);

/// Parses `text` of `file` after a scan that rejects duplicate keys, aliases, deep nesting and several
/// documents, and checks that the first key says `trimwright: <kind> 1`. Throws InputError.
[[nodiscard]] YamlValue parse_yaml(const std::string& file, const std::string& text, const std::string& kind);

}  // namespace trimwright
