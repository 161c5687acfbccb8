#include "report/markup.hpp"

#include <doctest/doctest.h>

using namespace trimwright;

TEST_CASE("Text stays text, in an element and in an attribute") {
  CHECK(Markup::text("<b> & \"x\" 'y'").html() == "&lt;b&gt; &amp; &quot;x&quot; &#39;y&#39;");
  CHECK(element("p", {{"title", "a\" onclick=\"b"}}, "</p><script>").html() ==
        "<p title=\"a&quot; onclick=&quot;b\">&lt;/p&gt;&lt;script&gt;</p>");
  CHECK(Markup::text("&lt;").html() == "&amp;lt;");  // what looks escaped is shown as it was written
  CHECK(Markup::text("a\x01\nb\xff").html() == "a\\u0001\\nb\\xff");  // nothing unseen, no broken UTF-8
  CHECK(Markup::text("ü ∠ 漢字").html() == "ü ∠ 漢字");
}

TEST_CASE("Nothing in a JSON document ends the script element it stands in") {
  CHECK(Markup::json(R"({"a":"</script><!-- & -->"})").html() ==
        R"({"a":"\u003c/script\u003e\u003c!-- \u0026 --\u003e"})");
}

TEST_CASE("Void elements have no end, empty shapes close themselves, other empty elements do not") {
  CHECK(element("br").html() == "<br>");
  CHECK(element("circle", {{"r", 2.25}}).html() == "<circle r=\"2.2\"/>");
  CHECK(element("div", {{"data-row", std::size_t{3}}}).html() == "<div data-row=\"3\"></div>");
  CHECK(element("line", {{"x1", -0.01}}).html() == "<line x1=\"0\"/>");
}
