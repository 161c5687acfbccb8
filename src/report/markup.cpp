#include "markup.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "base/text.hpp"

namespace trimwright {
namespace {

constexpr std::array<std::string_view, 4> void_elements{"br", "hr", "input", "meta"};
constexpr std::array<std::string_view, 6> shapes{"circle", "line", "path", "polyline", "rect", "use"};

bool any_of(const auto& names, std::string_view name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

/// One line, with the five characters that mean something to HTML as references.
std::string escaped(std::string_view text) {
  std::string html;
  for (const char c : one_line(text)) switch (c) {
      case '&':
        html += "&amp;";
        break;
      case '<':
        html += "&lt;";
        break;
      case '>':
        html += "&gt;";
        break;
      case '"':
        html += "&quot;";
        break;
      case '\'':
        html += "&#39;";
        break;
      default:
        html += c;
    }
  return html;
}

std::string coordinate_text(double value) {
  std::string text = fmt::format("{:.1f}", value);
  if (text.ends_with(".0")) text.erase(text.size() - 2);
  return text == "-0" ? "0" : text;
}

}  // namespace

Markup Markup::text(std::string_view text) { return Markup(escaped(text)); }

Markup Markup::json(std::string_view document) {
  std::string safe;
  for (const char c : document) switch (c) {
      case '<':
        safe += "\\u003c";
        break;
      case '>':
        safe += "\\u003e";
        break;
      case '&':
        safe += "\\u0026";
        break;
      default:
        safe += c;
    }
  return Markup(std::move(safe));
}

Attribute::Attribute(std::string_view attribute, double coordinate)
    : name(attribute), value(coordinate_text(coordinate)) {}

Attribute::Attribute(std::string_view attribute, std::size_t number)
    : name(attribute), value(std::to_string(number)) {}

Markup element(std::string_view name, std::initializer_list<Attribute> attributes, const Markup& content) {
  std::string html = "<" + std::string(name);
  for (const auto& attribute : attributes)
    html += " " + attribute.name + "=\"" + escaped(attribute.value) + "\"";
  if (content.empty() && any_of(shapes, name)) return Markup(html + "/>");
  html += ">";
  if (any_of(void_elements, name)) return Markup(html);
  return Markup(html + content.html() + "</" + std::string(name) + ">");
}

Markup element(std::string_view name, std::initializer_list<Attribute> attributes, std::string_view text) {
  return element(name, attributes, Markup::text(text));
}

}  // namespace trimwright
