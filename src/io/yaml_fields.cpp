#include "yaml_fields.hpp"

#include <yaml-cpp/eventhandler.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <set>
#include <sstream>

#include "trimwright/base/text.hpp"
#include "trimwright/base/unit.hpp"

namespace trimwright {
namespace {

constexpr std::size_t deepest = 24;

/// Values a file may hold; a job of a thousand readings has below ten thousand.
constexpr std::size_t most_values = 200000;

/// yaml-cpp takes a longer line for no key at all, without a word.
constexpr std::size_t longest_line = 1024;

/// Walks the events of a document before any node is built: what the node tree would hide or choke on. Keeps
/// the first complaint, so that a plain syntax error further down is told first.
class Scan : public YAML::EventHandler {
 public:
  Scan(std::string file, const std::string& text) : file_(std::move(file)), text_(text) {}

  [[nodiscard]] const std::optional<Error>& complaint() const { return complaint_; }
  /// Line of the innermost bracket still open; 0: none.
  [[nodiscard]] int open_bracket_line() const { return levels_.empty() ? 0 : levels_.back().bracket_line; }

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents_ > 1) complain(mark, "the file holds more than one YAML document", "one document");
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t) override { scalar(mark, ""); }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    complain(mark, "an alias (*name) stands here", "the value itself, written out");
    scalar(mark, "");
  }
  void OnScalar(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                const std::string& value) override {
    if (!quote_is_closed(mark))
      complain(mark, "a quote that opens here is never closed", "a closing quote of the same kind");
    scalar(mark, value);
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                       YAML::EmitterStyle::value style) override {
    open(mark, false, style);
  }
  void OnSequenceEnd() override { levels_.pop_back(); }
  void OnMapStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                  YAML::EmitterStyle::value style) override {
    open(mark, true, style);
  }
  void OnMapEnd() override { levels_.pop_back(); }

 private:
  struct Level {
    bool is_map = false;
    bool key_next = false;
    int bracket_line = 0;  ///< where its bracket opens; 0: it has none
    std::set<std::string> keys;
  };

  void complain(const YAML::Mark& mark, std::string what, std::string expected) {
    if (!complaint_) complaint_ = Error{std::move(what), std::move(expected), {file_, mark.line + 1, {}}};
  }

  void scalar(const YAML::Mark& mark, const std::string& value) {
    count(mark);
    if (levels_.empty() || !levels_.back().is_map) return;
    auto& level = levels_.back();
    if (level.key_next && !level.keys.insert(value).second)
      complain(mark, "key \"" + shortened(value) + "\" stands here twice", "each key once");
    level.key_next = !level.key_next;
  }

  void open(const YAML::Mark& mark, bool is_map, YAML::EmitterStyle::value style) {
    count(mark);
    if (!levels_.empty() && levels_.back().is_map) {
      if (levels_.back().key_next) complain(mark, "a list or map stands where a key belongs", "a plain key");
      levels_.back().key_next = !levels_.back().key_next;
    }
    if (levels_.size() >= deepest) {
      complain(mark, "the file is nested too deeply", "at most 24 levels");
      throw InputError{*complaint_};  // going on would go as deep as the file does
    }
    levels_.push_back({is_map, is_map, style == YAML::EmitterStyle::Flow ? mark.line + 1 : 0, {}});
  }

  void count(const YAML::Mark& mark) {
    if (++values_ == most_values) complain(mark, "the file holds too many values", "at most 200000");
  }

  /// yaml-cpp lets the end of the file close a quotation.
  [[nodiscard]] bool quote_is_closed(const YAML::Mark& mark) const {
    const auto start = static_cast<std::size_t>(mark.pos);
    if (start >= text_.size() || (text_[start] != '"' && text_[start] != '\'')) return true;
    for (std::size_t i = start + 1; i < text_.size(); ++i) {
      if (text_[start] == '"' && text_[i] == '\\') {
        ++i;
      } else if (text_[i] == text_[start]) {
        return true;
      }
    }
    return false;
  }

  std::string file_;
  const std::string& text_;
  std::optional<Error> complaint_;
  std::vector<Level> levels_;
  std::size_t values_ = 0;
  int documents_ = 0;
};

void check_lines(const std::string& file, const std::string& text) {
  int line = 1;
  for (std::size_t start = 0; start < text.size(); ++line) {
    const std::size_t end = std::min(text.find('\n', start), text.size());
    if (end - start > longest_line)
      throw InputError{{"the line \"" + shortened(text.substr(start, 70)) + "\" has " +
                            std::to_string(end - start) + " characters",
                        "lines of at most " + std::to_string(longest_line),
                        {file, line, {}}}};
    start = end + 1;
  }
}

void scan(const std::string& file, const std::string& text) {
  std::istringstream in(text);
  YAML::Parser parser(in);
  Scan handler(file, text);
  bool any = false;
  try {
    while (!handler.complaint() && parser.HandleNextDocument(handler)) any = true;
  } catch (const YAML::ParserException& error) {
    if (error.msg.find("flow not found") == std::string::npos || handler.open_bracket_line() == 0) throw;
    throw InputError{{"a bracket that opens here is never closed, or holds what does not belong",
                      "YAML",
                      {file, handler.open_bracket_line(), {}}}};
  }
  check_lines(file, text);
  if (handler.complaint()) throw InputError{*handler.complaint()};
  if (!any) throw InputError{{"the file holds nothing", "a YAML map", {file, 0, {}}}};
}

void check_kind(const YamlValue& root, const std::string& kind) {
  const std::string wanted = kind + " 1";
  const auto entries = root.entries("a map whose first key is \"trimwright: " + wanted + "\"");
  if (entries.empty() || entries.front().first != "trimwright")
    root.reject("the file does not say what it is", "its first key to be \"trimwright: " + wanted + "\"");
  const auto& [key, value] = entries.front();
  const std::string found = value.text("\"" + wanted + "\"");
  if (found != wanted) value.reject("this is a \"" + shortened(found) + "\" file", "\"" + wanted + "\"");
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
  const std::string& text = node_.Scalar();
  for (std::size_t i = 0; i < text.size(); ++i)
    if (utf8_length(text, i) > 0 && is_control(text, i))
      reject("the text holds a control character", expected);
  return text;
}

std::string YamlValue::label() const {
  const std::string expected = "a name of 1 to 100 characters";
  const std::string found = text(expected);
  if (found.find_first_not_of(' ') == std::string::npos) reject("the name is empty", expected);
  if (found.size() > 100) reject("the name \"" + shortened(found) + "\" is too long", expected);
  return found;
}

int YamlValue::whole_number(int least, int most) const {
  const std::string expected = "a whole number from " + std::to_string(least) + " to " + std::to_string(most);
  const std::string found = text(expected);
  int value = 0;
  const auto [end, status] = std::from_chars(found.data(), found.data() + found.size(), value);
  if (status != std::errc{} || end != found.data() + found.size() || value < least || value > most)
    reject("\"" + shortened(found) + "\" does not fit", expected);
  return value;
}

double YamlValue::number(double least, double most) const {
  std::ostringstream expected;
  expected << "a number from " << least << " to " << most;
  const auto found = parse_quantity(text(expected.str()));
  if (!found || !found->unit.empty() || found->value < least || found->value > most)
    reject("\"" + shortened(text()) + "\" does not fit", expected.str());
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
    value.reject("key \"" + shortened(key) + "\" is not known here", "one of: " + known);
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
