#include "yaml_fields.hpp"

#include <yaml-cpp/eventhandler.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <set>
#include <sstream>

#include "trimwright/base/unit.hpp"

namespace trimwright {
namespace {

constexpr std::size_t deepest = 24;

/// Walks the events of a document before any node is built: what the node tree would hide or choke on.
class Scan : public YAML::EventHandler {
 public:
  explicit Scan(std::string file) : file_(std::move(file)) {}

  void OnDocumentStart(const YAML::Mark&) override {}
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t) override { scalar(mark, ""); }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    reject(mark, "an alias (*name) stands here", "the value itself, written out");
  }
  void OnScalar(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                const std::string& value) override {
    scalar(mark, value);
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                       YAML::EmitterStyle::value) override {
    open(mark, false);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                  YAML::EmitterStyle::value) override {
    open(mark, true);
  }
  void OnMapEnd() override { close(); }

 private:
  struct Level {
    bool is_map = false;
    bool key_next = false;
    std::set<std::string> keys;
  };

  [[noreturn]] void reject(const YAML::Mark& mark, std::string what, std::string expected) const {
    throw InputError{{std::move(what), std::move(expected), {file_, mark.line + 1, {}}}};
  }

  void scalar(const YAML::Mark& mark, const std::string& value) {
    if (levels_.empty() || !levels_.back().is_map) return;
    auto& level = levels_.back();
    if (level.key_next && !level.keys.insert(value).second)
      reject(mark, "key \"" + value.substr(0, 60) + "\" stands here twice", "each key once");
    level.key_next = !level.key_next;
  }

  void open(const YAML::Mark& mark, bool is_map) {
    if (!levels_.empty() && levels_.back().is_map) {
      if (levels_.back().key_next) reject(mark, "a list or map stands where a key belongs", "a plain key");
      levels_.back().key_next = true;
    }
    if (levels_.size() >= deepest) reject(mark, "the file is nested too deeply", "at most 24 levels");
    levels_.push_back({is_map, is_map, {}});
  }

  void close() { levels_.pop_back(); }

  std::string file_;
  std::vector<Level> levels_;
};

void scan(const std::string& file, const std::string& text) {
  std::istringstream in(text);
  YAML::Parser parser(in);
  Scan handler(file);
  if (!parser.HandleNextDocument(handler))
    throw InputError{{"the file holds nothing", "a YAML map", {file, 0, {}}}};
  if (parser.HandleNextDocument(handler))
    throw InputError{{"the file holds more than one YAML document", "one document", {file, 0, {}}}};
}

void check_kind(const YamlValue& root, const std::string& kind) {
  const std::string wanted = kind + " 1";
  const auto entries = root.entries("a map whose first key is \"trimwright: " + wanted + "\"");
  if (entries.empty() || entries.front().first != "trimwright")
    root.reject("the file does not say what it is", "its first key to be \"trimwright: " + wanted + "\"");
  const auto& [key, value] = entries.front();
  const std::string found = value.text("\"" + wanted + "\"");
  if (found != wanted) value.reject("this is a \"" + found.substr(0, 60) + "\" file", "\"" + wanted + "\"");
}

}  // namespace

Location YamlValue::where() const {
  return {file_, node_.Mark().line >= 0 ? node_.Mark().line + 1 : 0, path_};
}

void YamlValue::reject(const std::string& what, const std::string& expected) const {
  throw InputError{{what, expected, where()}};
}

std::string YamlValue::text(const std::string& expected) const {
  if (node_.IsNull()) reject("there is no value", expected);
  if (!node_.IsScalar()) reject(node_.IsMap() ? "a map stands here" : "a list stands here", expected);
  return node_.Scalar();
}

int YamlValue::whole_number(int least, int most) const {
  const std::string expected = "a whole number from " + std::to_string(least) + " to " + std::to_string(most);
  const std::string found = text(expected);
  int value = 0;
  const auto [end, status] = std::from_chars(found.data(), found.data() + found.size(), value);
  if (status != std::errc{} || end != found.data() + found.size() || value < least || value > most)
    reject("\"" + found.substr(0, 60) + "\" does not fit", expected);
  return value;
}

double YamlValue::number(double least, double most) const {
  std::ostringstream expected;
  expected << "a number from " << least << " to " << most;
  const auto found = parse_quantity(text(expected.str()));
  if (!found || !found->unit.empty() || found->value < least || found->value > most)
    reject("\"" + text().substr(0, 60) + "\" does not fit", expected.str());
  return found->value;
}

std::vector<YamlValue> YamlValue::list(const std::string& expected) const {
  if (!node_.IsSequence()) reject("this is not a list", expected);
  std::vector<YamlValue> values;
  for (std::size_t i = 0; i < node_.size(); ++i)
    values.emplace_back(file_, path_ + "[" + std::to_string(i) + "]", node_[i]);
  return values;
}

std::vector<std::pair<std::string, YamlValue>> YamlValue::entries(const std::string& expected) const {
  if (!node_.IsMap()) reject("this is not a map", expected);
  std::vector<std::pair<std::string, YamlValue>> entries;
  for (const auto& entry : node_) {
    const std::string key = entry.first.Scalar();
    YAML::Node value = entry.second;
    const std::string path = path_.empty() ? key : path_ + "." + key;
    if (value.IsNull())
      YamlValue(file_, path, entry.first).reject("there is no value", "a value, or no such key");
    entries.emplace_back(key, YamlValue(file_, path, value));
  }
  return entries;
}

YamlFields::YamlFields(const YamlValue& map, const std::string& expected)
    : map_(map), entries_(map.entries(expected)) {}

std::optional<YamlValue> YamlFields::optional(const std::string& key) {
  asked_.push_back(key);
  const auto found =
      std::find_if(entries_.begin(), entries_.end(), [&](const auto& e) { return e.first == key; });
  if (found == entries_.end()) return std::nullopt;
  return found->second;
}

YamlValue YamlFields::required(const std::string& key) {
  auto value = optional(key);
  if (!value) map_.reject("key \"" + key + "\" is missing", "\"" + key + "\" to be given");
  return *value;
}

void YamlFields::finish() const {
  for (const auto& [key, value] : entries_) {
    if (std::find(asked_.begin(), asked_.end(), key) != asked_.end()) continue;
    std::string known;
    for (const auto& name : asked_) known += (known.empty() ? "" : ", ") + name;
    value.reject("key \"" + key.substr(0, 60) + "\" is not known here", "one of: " + known);
  }
}

YamlValue parse_yaml(const std::string& file, const std::string& text, const std::string& kind) {
  try {
    scan(file, text);
    YamlValue root(file, "", YAML::Load(text));
    check_kind(root, kind);
    return root;
  } catch (const YAML::Exception& error) {
    throw InputError{{"this is not valid YAML: " + error.msg, "YAML", {file, error.mark.line + 1, {}}}};
  }
}

}  // namespace trimwright
