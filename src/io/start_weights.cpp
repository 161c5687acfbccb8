#include <fmt/format.h>

#include <algorithm>

#include "base/name.hpp"
#include "base/text.hpp"
#include "start_answers.hpp"
#include "start_lists.hpp"
#include "trade_values.hpp"
#include "trimwright/phasor.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

/// What an answer says of each plane; error where none is told yet.
Result<std::vector<std::string>> told_of_planes(const std::string& answer, const StartJob& job) {
  if (!job.is_told("planes"))
    return fail("no plane is told that this is about", "the planes too, with their numbers of slots");
  return told_of_each(answer, names_of(job.planes), "plane");
}

/// "slot 1 at 9 deg against rotation, clockwise from front": the numbering stands at the end. An angle
/// without a sense is counted as the slots are.
Result<StartNumbering> parse_numbering(const std::string& text, const SeenSense& rotation) {
  const std::string expected =
      "where slot 1 is and which way the numbers grow, such as \"slot 1 at 0 deg, clockwise from front\"";
  std::string rest = lower_case(in_plain_words(text));
  for (const auto sense : {Sense::counterclockwise, Sense::clockwise})
    for (const auto end : {ViewingEnd::front, ViewingEnd::aft}) {
      const std::string numbered = fmt::format("{} from {}", name(sense), name(end));
      if (!rest.ends_with(numbered)) continue;
      rest.erase(rest.size() - numbered.size());
      rest = without_blanks_around(rest);
      if (rest.ends_with(',')) rest.pop_back();
      for (const std::string_view begin : {"slot 1", "at"}) {
        if (rest.starts_with(begin)) rest.erase(0, begin.size());
        rest = without_blanks_around(rest);
      }
      if (const auto angle = parse_quantity(rest); angle && angle->unit.empty()) rest += " deg";
      for (const std::string_view zero : {"reference tooth", "larger tooth", "reference mark"})
        if (rest == zero) rest = "0 deg";
      const bool as_numbered =
          !parse_rotor_angle(rest, rotation) && parse_rotor_angle(rest + " " + numbered, rotation);
      if (as_numbered) rest += " " + numbered;
      const auto angle = parse_rotor_angle(rest, rotation);
      if (!angle) return tl::unexpected(angle.error());
      return StartNumbering{rest, {sense, end}, false, as_numbered};
    }
  return fail("\"" + shortened(text) + "\" does not say which way the slot numbers grow", expected);
}

/// How many there are, in front ("10 x 2.5 g") or behind ("2.5 g x 10"); those words are taken away.
std::optional<int> take_count(std::vector<std::string>& words) {
  constexpr int most = 100000;
  const auto is_times = [](const std::string& word) { return word == "x" || word == "X" || word == "×"; };
  if (words.size() < 3) return std::nullopt;
  if (const auto count = whole_number(words[0], most); count && is_times(words[1])) {
    words.erase(words.begin(), words.begin() + 2);
    return count;
  }
  const auto count = whole_number(words.back(), most);
  if (!count || !is_times(words[words.size() - 2])) return std::nullopt;
  words.resize(words.size() - 2);
  return count;
}

/// "3,2"
bool has_decimal_comma(const std::string& number) {
  return number.find_first_not_of("0123456789,") == number.npos && number.find(',') != number.npos;
}

/// "S1 2.5 g", or "2.5 g", which is then called W2.5.
Result<StartWeight> parse_start_weight(const std::string& text) {
  auto words = words_of(text);
  StartWeight weight;
  weight.stock = take_count(words);
  for (std::size_t i = 0; i < words.size(); ++i) {
    const std::string amount = joined_words(words, i, words.size());
    if (const auto quantity = parse_quantity(amount); !quantity && has_decimal_comma(words[i]))
      return tl::unexpected(quantity.error());
    const auto mass = parse_mass_g(amount), moment = parse_moment_g_mm(amount);
    if (!mass && !moment) continue;
    if (!((mass ? *mass : *moment) > 0.0)) break;
    weight.amount = amount;
    weight.is_moment = !mass;
    const std::string number = words[i].substr(0, words[i].find_first_not_of("0123456789."));
    auto id = parse_name(i > 0 ? joined_words(words, 0, i) : "W" + number);
    if (!id) return tl::unexpected(id.error());
    weight.id = *id;
    return weight;
  }
  return fail("\"" + shortened(text) + "\" is no weight with its mass",
              "a name and a mass, or a mass alone, for each kind, such as \"S1 2.5 g, S2 5 g\" or \"2.5 g, 5 "
              "g\"; the number at hand may follow, as \"S1 2.5 g x 10\"");
}

/// "S1 2.5 g" with the unit of the kind behind it where it has none.
std::vector<std::string> weight_items(const std::string& text) {
  auto items = listed_items(text);
  std::string unit;
  for (auto one = items.rbegin(); one != items.rend(); ++one) {
    auto words = words_of(*one);
    const bool has_count = take_count(words).has_value();
    if (words.empty()) continue;
    const auto last = parse_quantity(words.back());
    if (!last || !last->unit.empty())
      unit = last ? last->unit : words.back();
    else if (!has_count && !unit.empty())
      *one += " " + unit;
  }
  return items;
}

Result<std::vector<StartWeight>> parse_kit(const std::string& text) {
  std::vector<StartWeight> kit;
  std::vector<std::string> ids;
  for (const auto& one : weight_items(text)) {
    const auto weight = parse_start_weight(one);
    if (!weight) return tl::unexpected(weight.error());
    const auto id = name_apart(weight->id, ids);
    if (!id) return tl::unexpected(id.error());
    ids.push_back(*id);
    kit.push_back(*weight);
  }
  return kit;
}

bool is_counted(const std::vector<StartWeight>& kit) {
  return std::any_of(kit.begin(), kit.end(), [](const auto& one) { return one.stock.has_value(); });
}

/// The plane that the text begins with, by its whole name or, where no other begins so, by its first word;
/// and how many letters that took.
std::optional<std::pair<std::size_t, std::size_t>> plane_begun(const std::string& told, const StartJob& job) {
  std::optional<std::pair<std::size_t, std::size_t>> whole, first;
  std::size_t by_first = 0;
  for (std::size_t p = 0; p < job.planes.size(); ++p) {
    const std::string called = in_plain_words(job.planes[p].name), word = called.substr(0, called.find(' '));
    const auto begins = [&](const std::string& with) {
      return lower_case(told).starts_with(lower_case(with) + " ");
    };
    if (begins(called) && (!whole || called.size() > whole->second)) whole = std::pair(p, called.size());
    if (!begins(word)) continue;
    first = std::pair(p, word.size());
    ++by_first;
  }
  return whole ? whole : by_first == 1 ? first : std::nullopt;
}

/// "front plane 7 S2", "front plane slot 7 S2" or "S2 in front plane slot 7"; the plane may be left out where
/// there is one.
Result<void> take_piece(const std::string& text, const StartJob& job, std::vector<FittedIds>& pieces) {
  const std::string expected = "plane, slot and weight, such as \"" + job.planes[0].name + " 7 " +
                               (job.planes[0].weights.empty() ? "S2" : job.planes[0].weights[0].id) +
                               "\"; several parted by commas";
  std::string told = in_plain_words(text);
  if (const auto in = told.find(" in ");
      in != told.npos && whole_number(told.substr(told.find_last_of(' ')), 400))
    told = told.substr(in + 4) + " " + told.substr(0, in);
  const auto begun = plane_begun(told, job);
  const auto [plane, length] = begun.value_or(std::pair<std::size_t, std::size_t>(0, 0));
  if (!begun && job.planes.size() > 1)
    return fail("\"" + shortened(text) + "\" does not begin with a plane", expected);
  auto words = words_of(told.substr(length));
  if (!words.empty() && lower_case(words[0]) == "slot") words.erase(words.begin());
  const StartPlane& in = job.planes[plane];
  const auto slot = words.size() < 2 ? std::nullopt : whole_number(words[0], std::max(in.slots, 1));
  if (!slot)
    return fail("\"" + shortened(text) + "\" has no slot of plane \"" + in.name + "\"",
                fmt::format("{}; slots 1 to {}", expected, in.slots));
  const std::string id = joined_words(words, 1, words.size());
  const auto weight = std::find_if(in.weights.begin(), in.weights.end(),
                                   [&](const auto& one) { return alike(in_plain_words(one.id), id); });
  if (weight == in.weights.end() || !in.has_weights())
    return fail("plane \"" + in.name + "\" has no weight \"" + shortened(id) + "\"",
                "one of those told of it, with its radius");
  auto& held = pieces[plane].ids;
  if (std::any_of(held.begin(), held.end(), [&](const auto& one) { return one.first == *slot; }))
    return fail(fmt::format("slot {} of plane \"{}\" stands here twice", *slot, in.name), expected);
  held.emplace_back(*slot, weight->id);
  return {};
}

/// "none", "same as as found", or pieces, as a job has it.
Result<std::string> parse_fitted(const std::string& text, const StartJob& job, std::size_t run) {
  if (says_nothing(text)) return std::string("none");
  if (lower_case(text).starts_with("same as ")) {
    const std::string other = without_blanks_around(text.substr(8));
    for (std::size_t r = 0; r < run; ++r)
      if (alike(job.runs[r].name, other)) return "same as " + job.runs[r].name;
    return fail("no earlier run is called \"" + shortened(other) + "\"", "the name of a run before this one");
  }
  std::vector<FittedIds> pieces;
  for (const auto& plane : job.planes) pieces.push_back({plane.name, {}});
  for (const auto& one : listed_items(text))
    if (const auto taken = take_piece(one, job, pieces); !taken) return tl::unexpected(taken.error());
  return fitted_yaml(pieces);
}

}  // namespace

bool StartPlane::has_weights() const {
  return !weights.empty() && std::all_of(weights.begin(), weights.end(),
                                         [&](const auto& one) { return one.is_moment || !radius.empty(); });
}

Result<void> take_planes(const std::string& answer, StartJob& job) {
  std::vector<StartPlane> planes;
  std::vector<std::string> names;
  for (std::string one : listed_items(answer)) {
    for (const char* counted : {"slots", "slot", "holes", "hole"}) one = without_last_word(one, counted);
    const auto blank = one.find_last_of(' ');
    const auto count = whole_number(blank == one.npos ? std::string{} : one.substr(blank), 400);
    if (!count)
      return fail("\"" + shortened(one) + "\" is no plane with its number of slots",
                  "a name and a number from 1 to 400 for each plane, such as \"front plane 32, rear plane "
                  "24\"");
    const auto name = name_apart(without_blanks_around(one.substr(0, blank)), names);
    if (!name) return tl::unexpected(name.error());
    names.push_back(*name);
    planes.push_back({*name, *count});
  }
  job.planes = planes;
  return {};
}

Result<void> take_slots(const std::string& answer, StartJob& job) {
  const auto told = told_of_planes(answer, job);
  if (!told) return tl::unexpected(told.error());
  for (std::size_t p = 0; p < job.planes.size(); ++p) {
    if (says_nothing((*told)[p])) continue;
    if (const std::string same = lower_case(in_plain_words((*told)[p])); same.starts_with("same as ")) {
      const auto other = std::find_if(job.planes.begin(), job.planes.end(), [&](const auto& one) {
        return one.numbering && lower_case(in_plain_words(one.name)) == same.substr(8);
      });
      if (other == job.planes.end())
        return fail("\"" + shortened((*told)[p]) + "\" names no plane whose slot 1 is told",
                    "\"same as\" and the name of a plane before this one");
      job.planes[p].numbering = other->numbering;
      job.planes[p].numbering->taken_over = true;
      continue;
    }
    const auto numbering = parse_numbering((*told)[p], job.rotation);
    if (!numbering) return tl::unexpected(numbering.error());
    job.planes[p].numbering = *numbering;
    if (numbering->read_as_numbered)
      job.understood.push_back("plane \"" + job.planes[p].name + "\": slot 1 is at " + numbering->slot_1_at +
                               "; the angle is counted the way the slots are numbered");
  }
  return {};
}

Result<void> take_radius(const std::string& answer, StartJob& job) {
  const auto told = told_of_planes(answer, job);
  if (!told) return tl::unexpected(told.error());
  for (std::size_t p = 0; p < job.planes.size(); ++p) {
    const std::string& radius = (*told)[p];
    if (says_nothing(radius)) continue;
    const auto mm = parse_length_mm(radius);
    const std::string expected = "a length with its unit, such as \"250 mm\" or \"10 in\"";
    if (!mm) return fail(mm.error().what, expected);
    if (!(*mm > 0.0)) return fail("\"" + shortened(radius) + "\" is no radius", expected);
    job.planes[p].radius = radius;
  }
  return {};
}

Result<void> take_weights(const std::string& answer, StartJob& job) {
  const auto told = told_of_planes(answer, job);
  if (!told) return tl::unexpected(told.error());
  const bool of_all = job.planes.size() > 1 && answer.find_first_of(":;") == answer.npos;
  for (std::size_t p = 0; p < job.planes.size(); ++p) {
    if (says_nothing((*told)[p])) continue;
    const auto kit = parse_kit((*told)[p]);
    if (!kit) return tl::unexpected(kit.error());
    if (of_all && is_counted(*kit))
      return fail("the pieces are counted once for all planes",
                  "how many each plane may take, such as \"" + job.planes[0].name + ": S1 2.5 g x 6; " +
                      job.planes[1].name + ": S1 2.5 g x 4\", or no numbers");
    job.planes[p].weights = *kit;
  }
  return {};
}

Result<void> take_fitted(const std::string& answer, StartJob& job) {
  const auto names = job.runs_and_now();
  if (names.size() > 1 && answer.find(':') == answer.npos)
    return fail("\"" + shortened(answer) + "\" does not say of which run it is",
                "each run with what was in, such as \"" + names[0] + ": none; " + names[1] + ": " +
                    job.planes[0].name + " 7 S2\"");
  const auto told = told_of_each(answer, names, "run");
  if (!told) return tl::unexpected(told.error());
  for (std::size_t r = 0; r < names.size(); ++r) {
    if ((*told)[r].empty()) continue;
    const auto fitted = parse_fitted((*told)[r], job, r);
    if (!fitted) return tl::unexpected(fitted.error());
    (r < job.runs.size() ? job.runs[r].fitted : job.fitted_now) = *fitted;
  }
  return {};
}

}  // namespace trimwright
