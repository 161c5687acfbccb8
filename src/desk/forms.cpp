#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "io/csv_rows.hpp"
#include "io/decimal_mark.hpp"
#include "io/read_readings.hpp"
#include "io/yaml_fields.hpp"
#include "request.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

/// A file of at most this many characters in a line stands on one line.
constexpr std::size_t longest_flow = 96;

DeskJson tree_of(const YAML::Node& node) {
  if (node.IsMap()) {
    DeskJson map = DeskJson::object();
    for (const auto& entry : node) map[entry.first.Scalar()] = tree_of(entry.second);
    return map;
  }
  if (node.IsSequence()) {
    DeskJson list = DeskJson::array();
    for (const auto& one : node) list.push_back(tree_of(one));
    return list;
  }
  return node.IsScalar() ? node.Scalar() : std::string{};
}

std::size_t width_of(const DeskJson& tree) {
  if (tree.is_string()) return tree.get_ref<const std::string&>().size() + 2;
  std::size_t width = 2;
  for (const auto& [key, value] : tree.items())
    width += (tree.is_object() ? key.size() + 2 : 0) + width_of(value);
  return width;
}

std::size_t depth_of(const DeskJson& tree) {
  std::size_t depth = 0;
  for (const auto& value : tree)
    if (value.is_structured()) depth = std::max(depth, depth_of(value));
  return depth + 1;
}

/// Short maps and lists on one line, as people write them; `level` 0 is the file itself.
YAML::Node node_of(const DeskJson& tree, int level) {
  if (tree.is_string()) {
    const auto& text = tree.get_ref<const std::string&>();
    return text.empty() ? YAML::Node(YAML::NodeType::Null) : YAML::Node(text);
  }
  YAML::Node node(tree.is_array() ? YAML::NodeType::Sequence : YAML::NodeType::Map);
  for (const auto& [key, value] : tree.items())
    if (tree.is_array())
      node.push_back(node_of(value, level + 1));
    else
      node[key] = node_of(value, level + 1);
  const bool short_enough = width_of(tree) <= longest_flow && depth_of(tree) <= 2;
  if (level > 0 && (tree.empty() || short_enough)) node.SetStyle(YAML::EmitterStyle::Flow);
  return node;
}

}  // namespace

Result<DeskJson> kinds_of_texts(const DeskRequest& request) {
  DeskJson kinds = DeskJson::object();
  for (const auto& [name, text] : request.asked.at("texts").items())
    kinds[name] = document_kind(text.get_ref<const std::string&>());
  return DeskJson{{"kinds", std::move(kinds)}};
}

Result<DeskJson> tree_of_file(const DeskRequest& request) {
  const std::string kind = request.text("kind");
  const std::string text = request.text("text");
  try {
    (void)parse_yaml(kind + ".yaml", text, kind);
    return DeskJson{{"tree", tree_of(YAML::Load(text))}};
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

std::string yaml_text(const DeskJson& tree) {
  YAML::Emitter out;
  out << node_of(tree, 0);
  return std::string(out.c_str()) + "\n";
}

Result<DeskJson> file_of_tree(const DeskRequest& request) {
  return DeskJson{{"text", yaml_text(request.asked.at("tree"))}};
}

DeskJson fitted_tree(const Rotor& rotor, const std::vector<FittedWeights>& fitted) {
  DeskJson planes = DeskJson::object();
  const auto moment = [](double g_mm) { return fmt::format("{} g.mm", g_mm); };
  for (std::size_t p = 0; p < fitted.size(); ++p) {
    const auto& [slots, free] = fitted[p];
    if (slots.empty() && free.empty()) continue;
    const bool of_catalogue = free.empty() && std::all_of(slots.begin(), slots.end(), [](const auto& one) {
                                return !one.second.weight_id.empty();
                              });
    DeskJson& written = planes[rotor.planes[p].name];
    for (const auto& [slot, piece] : slots)
      if (of_catalogue)
        written[std::to_string(slot)] = piece.weight_id;
      else if (piece.weight_id.empty())
        written.push_back({{"slot", std::to_string(slot)}, {"moment", moment(piece.moment_g_mm)}});
      else
        written.push_back({{"slot", std::to_string(slot)}, {"weight", piece.weight_id}});
    for (const auto& piece : free)
      written.push_back(
          {{"at", piece.at_written.empty() ? fmt::format("{} deg with rotation", piece.at.degrees())
                                           : piece.at_written},
           {"moment", moment(piece.moment_g_mm)}});
  }
  return planes;
}

Result<DeskJson> readings_of_table(const DeskRequest& request) {
  const auto rotor = read_rotor(request.rotor());
  if (!rotor) return tl::unexpected(rotor.error());
  const auto table = read_table(request.path(request.text("name")), *rotor, RowName::elsewhere);
  if (!table) return tl::unexpected(table.error());
  DeskJson readings = DeskJson::array();
  for (const auto& [run, one] : table->readings)
    readings.push_back({{"run", run},
                        {"speed", one.speed},
                        {"sensor", one.sensor},
                        {"amplitude", one.missing ? "missing" : one.amplitude},
                        {"phase", one.phase},
                        {"component", one.component},
                        {"phase_of", one.phase_of},
                        {"sd", one.sd},
                        {"note", one.note},
                        {"approach", one.approach},
                        {"state", one.state}});
  return DeskJson{{"readings", std::move(readings)}, {"notes", table->notes}};
}

Result<DeskJson> table_of_rows(const DeskRequest& request) {
  std::string text;
  for (const auto& row : request.asked.at("rows")) text += csv_line(row.get<std::vector<std::string>>());
  return DeskJson{{"text", std::move(text)}};
}

Result<DeskJson> numbers_of_cells(const DeskRequest& request) {
  const bool comma = request.text("mark") == "comma";
  const ColumnMarks marks{comma, !comma, comma};
  DeskJson cells = DeskJson::array();
  for (const auto& cell : request.asked.at("cells")) {
    const auto number = with_decimal_point(cell.get_ref<const std::string&>(), marks);
    cells.push_back(number ? DeskJson(*number) : DeskJson{{"error", error_json(number.error())}});
  }
  return DeskJson{{"cells", std::move(cells)}};
}

}  // namespace trimwright
