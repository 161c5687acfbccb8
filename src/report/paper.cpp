#include "paper.hpp"

namespace trimwright {

Markup paper_entry(const std::string& term, const std::string& words) {
  return element(
      "div", {},
      element("dt", {}, term) + element("dd", {{"class", words.empty() ? "line" : "known"}}, words));
}

Markup paper(const Job& job, std::string_view id, std::string_view css_class, const std::string& heading,
             const std::string& date, const Markup& content) {
  const auto part = [](const std::string& term, const std::string& words) {
    if (words.empty()) return Markup();
    return element("span", {}, Markup::text(term + " ") + element("b", {}, words));
  };
  const Markup day =
      date.empty() ? element("span", {}, Markup::text("date ") + element("span", {{"class", "fill-in"}}))
                   : part("date", date);
  const Markup running = element(
      "div", {{"class", "running"}},
      part(heading + ":", job.rotor.name) + part("serial", job.serial) + part("job", job.title) + day);
  const auto table_part = [](const char* name, const char* cell, const Markup& inside) {
    return element(name, {}, element("tr", {}, element(cell, {}, inside)));
  };
  const std::string heading_id = std::string(id) + "-heading";
  return element(
      "section", {{"id", id}, {"class", "paper " + std::string(css_class)}, {"aria-labelledby", heading_id}},
      element("table", {{"role", "presentation"}},
              table_part("thead", "td", running) +
                  table_part("tbody", "td", element("h2", {{"id", heading_id}}, heading) + content)));
}

}  // namespace trimwright
