#include "yaml_fields.hpp"

#include <yaml-cpp/eventhandler.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <set>
#include <sstream>

#include "base/text.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {
namespace {

constexpr std::size_t deepest = 24;

/// Values a file may hold; a prior of 500 coefficients has half as many.
constexpr std::size_t most_values = 1000000;

/// yaml-cpp takes a longer one for no key at all, without a word.
constexpr std::size_t longest_value = 1024;

/// Walks the events of a document before any node is built: what the node tree would hide or choke on. Keeps
/// the first complaint, so that a plain syntax error further down is told first.
class Scan : public YAML::EventHandler {
 public:
  Scan(std::string file, const std::string& text) : file_(std::move(file)), text_(text) {}

  [[nodiscard]] const std::optional<Error>& complaint() const { return complaint_; }

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
                       YAML::EmitterStyle::value) override {
    open(mark, false);
  }
  void OnSequenceEnd() override { levels_.pop_back(); }
  void OnMapStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t,
                  YAML::EmitterStyle::value) override {
    open(mark, true);
  }
  void OnMapEnd() override { levels_.pop_back(); }

 private:
  struct Level {
    bool is_map = false;
    bool key_next = false;
    std::set<std::string> keys;
  };

  void complain(const YAML::Mark& mark, std::string what, std::string expected) {
    if (!complaint_) complaint_ = Error{std::move(what), std::move(expected), {file_, mark.line + 1, {}}};
  }

  void scalar(const YAML::Mark& mark, const std::string& value) {
    count(mark);
    if (value.size() > longest_value)
      complain(mark, "the value \"" + shortened(value) + "\" has " + std::to_string(value.size()) + " bytes",
               "at most " + std::to_string(longest_value));
    if (levels_.empty() || !levels_.back().is_map) return;
    auto& level = levels_.back();
    if (level.key_next && !level.keys.insert(value).second)
      complain(mark, "key \"" + shortened(value) + "\" stands here twice", "each key once");
    level.key_next = !level.key_next;
  }

  void open(const YAML::Mark& mark, bool is_map) {
    count(mark);
    if (!levels_.empty() && levels_.back().is_map) {
      if (levels_.back().key_next) complain(mark, "a list or map stands where a key belongs", "a plain key");
      levels_.back().key_next = !levels_.back().key_next;
    }
    if (levels_.size() >= deepest) {
      complain(mark, "the file is nested too deeply", "at most 24 levels");
      throw InputError{*complaint_};  // going on would go as deep as the file does
    }
    levels_.push_back({is_map, is_map, {}});
  }

  void count(const YAML::Mark& mark) {
    if (++values_ < most_values) return;
    complain(mark, "the file holds too many values", "at most " + std::to_string(most_values));
    throw InputError{*complaint_};  // going on would take as long as the file does
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

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// "3:L2", which YAML takes for one word.
bool lacks_blank(const std::string& text) {
  const auto colon = text.find(':');
  return colon != std::string::npos && colon > 0 && colon + 1 < text.size() && text[colon + 1] != ' ';
}

Error blank_needed(const std::string& text) {
  const auto colon = text.find(':') + 1;
  return {"\"" + shortened(text) + "\" has no blank behind its colon",
          "\"" + shortened(text.substr(0, colon) + " " + text.substr(colon)) + "\"",
          {}};
}

/// Why a key has no value: often it is none, but the rest of a number with a decimal comma, or a key and its
/// value in one word.
Error no_value(const std::string& key, const std::pair<std::string, YamlValue>* before) {
  if (lacks_blank(key)) return blank_needed(key);
  if (before != nullptr && before->second.is_text() && !key.empty() && is_digit(key.front())) {
    const std::string number = before->second.text();
    if (!number.empty() && is_digit(number.back()))  // told of the value that it cuts
      return {"the comma in \"" + before->first + ": " + shortened(number) + "," + shortened(key) +
                  "\" ends the value",
              "a decimal point: \"" + shortened(number + "." + key) + "\"", before->second.where()};
  }
  return {"there is no value", "a value, or no such key", {}};
}

/// The line of the innermost bracket that is open where line `last` begins, counted from 1; 0: none. Brackets
/// in quotes and remarks are none.
int open_bracket_line(const std::string& text, int last) {
  std::vector<int> open;
  int line = 1;
  char quote = 0, before = '\n';
  bool remark = false;
  for (std::size_t i = 0; i < text.size() && line < last; before = text[i++]) {
    const char c = text[i];
    const bool begins = std::string_view(" \t\n[{,:").find(before) != std::string_view::npos;
    if (c == '\n') {
      ++line;
      remark = false;
    } else if (remark || quote != 0) {
      if (c == quote) quote = 0;
    } else if (begins && (c == '"' || c == '\'')) {
      quote = c;
    } else if (begins && c == '#') {
      remark = true;
    } else if (c == '{' || c == '[') {
      open.push_back(line);
    } else if ((c == '}' || c == ']') && !open.empty()) {
      open.pop_back();
    }
  }
  return open.empty() ? 0 : open.back();
}

/// A syntax error, told as what a person most likely did.
Error explained(const std::string& file, const std::string& text, const YAML::Exception& error) {
  std::istringstream lines(text);
  std::string line;
  const bool is_json = text.starts_with('{');
  for (int number = 1; number <= error.mark.line + 1 && std::getline(lines, line); ++number) {
    const Location where{file, number, {}};
    const auto indent = line.substr(0, line.find_first_not_of(" \t"));
    if (!is_json && indent.find('\t') != std::string::npos)
      return {"this is not valid YAML: the line begins with a tab", "blanks only", where};
    if (number == error.mark.line + 1 && (line.find(":{") != line.npos || line.find(":[") != line.npos))
      return {"this is not valid YAML: a colon has no blank behind it", "\": {\" or \": [\"", where};
  }
  const bool unfinished = error.msg.find("flow not found") != std::string::npos;
  const int bracket_line = open_bracket_line(text, error.mark.line + (unfinished ? 2 : 1));
  if (bracket_line > 0 && (unfinished || !is_json))
    return {"a bracket that opens here is never closed, or holds what does not belong",
            "YAML, with a } for every { and a ] for every [",
            {file, bracket_line, {}}};
  const Location where{file, error.mark.line + 1, {}};
  const std::string& said = error.msg;
  if (said.starts_with("end of map") || said.starts_with("end of sequence") ||
      said.starts_with("illegal map value") || said.starts_with("illegal block entry"))
    return {
        "this is not valid YAML: the line does not go with the lines above it",
        "as many blanks before it as before the others of its list, \": \" once in a line, and no bracket "
        "left open above",
        where};
  return {"this is not valid YAML: " + error.msg, "YAML", where};
}

void scan(const std::string& file, const std::string& text) {
  std::istringstream in(text);
  YAML::Parser parser(in);
  Scan handler(file, text);
  bool any = false;
  try {
    while (!handler.complaint() && parser.HandleNextDocument(handler)) any = true;
  } catch (const YAML::Exception& error) {
    throw InputError{explained(file, text, error)};
  }
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
  if (const auto seen = check_seen(text); !seen) reject(seen.error());
  return text;
}

std::string YamlValue::label() const { return parsed(parse_name); }

std::string YamlValue::path() const {
  const std::string found = text("the path of a file");
  if (found.find_first_not_of(' ') == std::string::npos) reject("the path is empty", "the path of a file");
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
  if (node_.IsScalar() && lacks_blank(node_.Scalar())) reject(blank_needed(node_.Scalar()));
  if (!node_.IsMap()) reject("this is not a map", expected);
  std::vector<std::pair<std::string, YamlValue>> entries;
  for (const auto& entry : node_) {
    const std::string key = entry.first.Scalar();
    const YamlValue at_key(file_, path_.empty() ? key : path_ + "." + key, entry.first);
    if (const auto seen = check_seen(key); !seen) at_key.reject(seen.error());
    if (entry.second.IsNull()) {
      Error error = no_value(key, entries.empty() ? nullptr : &entries.back());
      if (error.where.file.empty()) error.where = at_key.where();
      throw InputError{error};
    }
    entries.emplace_back(key, YamlValue(file_, at_key.path_, entry.second));
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
  if (!value)
    throw InputError{{"key \"" + key + "\" is missing", "\"" + key + "\" to be given", map_.where(), key}};
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

std::string document_kind(std::string_view text) {
  const auto skip = [&](std::string_view blanks) {
    text.remove_prefix(std::min(text.find_first_not_of(blanks), text.size()));
  };
  // A word in quotation marks, or up to one of `ends`.
  const auto word = [&](std::string_view ends) {
    const bool quoted = text.starts_with('"') || text.starts_with('\'');
    const std::string_view until = quoted ? text.substr(0, 1) : ends;
    if (quoted) text.remove_prefix(1);
    std::string_view found = text.substr(0, text.find_first_of(until));
    text.remove_prefix(std::min(found.size() + (quoted ? 1 : 0), text.size()));
    return std::string(found.substr(0, found.find_last_not_of(" \t\r") + 1));
  };
  constexpr std::string_view blanks = " \t\r\n";
  for (skip(blanks); text.starts_with('#') || text.starts_with("---") || text.starts_with('{'); skip(blanks))
    text.remove_prefix(text.starts_with('{') ? 1 : std::min(text.find('\n'), text.size()));
  if (word(":\n") != "trimwright") return {};
  skip(" \t");
  if (!text.starts_with(':')) return {};
  text.remove_prefix(1);
  skip(blanks);
  std::string kind = word(",}#\n");
  if (!kind.ends_with(" 1")) return {};
  kind.resize(kind.size() - 2);
  return kind;
}

YamlValue parse_yaml(const std::string& file, const std::string& text, const std::string& kind) {
  scan(file, text);
  try {
    YamlValue root(file, "", YAML::Load(text));
    check_kind(root, kind);
    return root;
  } catch (const YAML::Exception& error) {
    throw InputError{explained(file, text, error)};
  }
}

}  // namespace trimwright
