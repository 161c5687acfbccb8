#include "page_frame.hpp"

#include <fmt/format.h>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "page_assets.hpp"
#include "page_tables.hpp"
#include "plot_geometry.hpp"
#include "slot_map.hpp"
#include "slot_moments.hpp"

namespace trimwright {
namespace {

/// Nothing is ever fetched: the file speaks for itself, with the network off or on.
constexpr const char* fetch_nothing =
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'; form-action "
    "'none'";

Markup head(const Job& job, const std::string& kind) {
  const std::string serial = job.serial.empty() ? "" : " " + job.serial;
  return element(
      "head", {},
      element("meta", {{"charset", "utf-8"}}) +
          element("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}}) +
          element("meta", {{"name", "color-scheme"}, {"content", "light dark"}}) +
          element("meta", {{"http-equiv", "Content-Security-Policy"}, {"content", fetch_nothing}}) +
          element("title", {}, kind + ": " + job.rotor.name + serial) +
          element("style", {}, Markup::own(page_css)) +
          element("style", {{"id", "dark"}, {"media", "screen and (prefers-color-scheme: dark)"}},
                  Markup::own(page_dark_css)));
}

}  // namespace

Markup folded(std::string_view id, const std::string& heading, const std::string& answer,
              const Markup& content, bool open) {
  const std::string heading_id = std::string(id) + "-heading";
  const Markup summary =
      element("summary", {},
              element("h2", {{"id", heading_id}}, heading) + element("span", {{"class", "answer"}}, answer));
  return element("section", {{"id", id}, {"class", "folded"}, {"aria-labelledby", heading_id}},
                 open ? element("details", {{"open", "open"}}, summary + content)
                      : element("details", {}, summary + content));
}

Markup masthead(const Job& job) {
  std::string about = job.title;
  if (!job.station.empty()) about += (about.empty() ? "" : ", ") + job.station;
  const Markup serial = job.serial.empty() ? Markup() : element("b", {}, job.serial) + Markup::text(" ");
  const Markup whose = element("span", {}, serial + Markup::text(job.rotor.name));
  const auto button = [](const std::string& id, const std::string& words) {
    return element("button", {{"type", "button"}, {"id", id}}, words);
  };
  return element("a", {{"class", "skip"}, {"href", "#main"}}, "To the content") +
         element("header", {{"class", "masthead"}},
                 element("p", {{"class", "whose"}},
                         about.empty() ? whose : whose + Markup::text(" ") + element("small", {}, about)) +
                     element("p", {{"id", "tools"}, {"hidden", "hidden"}},
                             button("theme", "Dark / light") + button("print", "Print")));
}

Markup listed_under(std::string_view level, const std::string& heading,
                    const std::vector<std::string>& points) {
  if (points.empty()) return {};
  Markup items;
  for (const auto& point : points) items += element("li", {}, point);
  return element(level, {}, heading) + element("ul", {}, items);
}

Markup cautions_part(const std::vector<std::string>& cautions, const std::vector<std::string>& warnings,
                     bool open) {
  const std::string& caution = cautions.front();
  const std::string more = counted(cautions.size() + warnings.size(), "point") + " to read first";
  const Markup content =
      element("summary", {},
              element("b", {}, caution.substr(0, caution.find(':')) + ".") + element("span", {}, more)) +
      listed_under("h2", "Before you trust this", warnings) + listed_under("h2", "Cautions", cautions);
  return open ? element("details", {{"class", "before"}, {"open", "open"}}, content)
              : element("details", {{"class", "before"}}, content);
}

Markup step_list(const BalancePlan& plan) {
  Markup items;
  for (const auto& step : plan.steps) {
    Markup points;
    for (const auto& particular : step.particulars) points += element("li", {}, particular);
    items +=
        element("li", {},
                element("p", {}, step.instruction) + (points.empty() ? Markup() : element("ul", {}, points)) +
                    (step.sign ? element("p", {}, "Done by: ____________________") : Markup()));
  }
  return element("ol", {{"class", "steps"}}, items);
}

Markup steps_on_paper(const BalancePlan& plan) {
  return element("div", {{"class", "only-print"}}, element("h3", {}, "Steps") + step_list(plan));
}

Markup plane_drawing(const PageView& view, std::size_t p, const std::string& part) {
  const Plane& plane = view.rotor().planes[p];
  const ViewingEnd end = viewing_end(view.rotor(), plane);
  return element("h3", {},
                 Markup::text(plane.name + " ") +
                     element("small", {}, plane.access == Access::hard ? "hard to reach" : "")) +
         element("p", {{"class", "seen"}},
                 fmt::format("As {}. It turns {}{}; ■ {} at the top.", seen_words(end),
                             name(view.rotor().rotation.seen(end)),
                             plane.slots
                                 ? fmt::format(", slot numbers grow {}", name(plane.slots->numbered.sense))
                                 : std::string{},
                             zero_words(view.rotor()))) +
         slot_map(view, p, part);
}

std::string page_document(const Job& job, const std::string& kind, const Markup& body,
                          const std::string& script_data) {
  Markup scripts;
  if (!script_data.empty())
    scripts +=
        element("script", {{"type", "application/json"}, {"id", "page-data"}}, Markup::json(script_data));
  scripts += element("script", {}, Markup::own(page_js));
  return "<!DOCTYPE html>\n" +
         element("html", {{"lang", "en"}}, head(job, kind) + element("body", {}, body + scripts)).html() +
         "\n";
}

}  // namespace trimwright
