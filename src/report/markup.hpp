#pragma once

#include <initializer_list>
#include <string>
#include <string_view>

namespace trimwright {

/// HTML or SVG that may stand in a page as it is. Text becomes markup only by `text`, which escapes it, or as
/// the value of an attribute of `element`, which does the same.
class Markup {
 public:
  Markup() = default;

  /// Any text, so that a browser shows just that text.
  [[nodiscard]] static Markup text(std::string_view text);
  /// Our own style sheet or script, never anything that a file held.
  [[nodiscard]] static Markup own(std::string_view html) { return Markup(std::string(html)); }
  /// A JSON document for a `script` element: nothing in it can end that element.
  [[nodiscard]] static Markup json(std::string_view document);

  Markup& operator+=(const Markup& other) {
    html_ += other.html_;
    return *this;
  }
  [[nodiscard]] friend Markup operator+(Markup a, const Markup& b) { return a += b; }
  [[nodiscard]] const std::string& html() const { return html_; }
  [[nodiscard]] bool empty() const { return html_.empty(); }

 private:
  friend struct Attribute;
  friend Markup element(std::string_view, std::initializer_list<struct Attribute>, const Markup&);
  explicit Markup(std::string html) : html_(std::move(html)) {}
  std::string html_;
};

/// Name and value of an attribute; numbers with one decimal, as coordinates need.
struct Attribute {
  Attribute(std::string_view attribute, std::string_view text) : name(attribute), value(text) {}
  Attribute(std::string_view attribute, const char* text) : name(attribute), value(text) {}
  Attribute(std::string_view attribute, double coordinate);
  Attribute(std::string_view attribute, std::size_t number);

  std::string name;
  std::string value;
};

/// `<name attributes>content</name>`; void elements of HTML have no end, empty shapes of SVG close
/// themselves.
[[nodiscard]] Markup element(std::string_view name, std::initializer_list<Attribute> attributes = {},
                             const Markup& content = {});

/// An element that holds just a text.
[[nodiscard]] Markup element(std::string_view name, std::initializer_list<Attribute> attributes,
                             std::string_view text);

}  // namespace trimwright
