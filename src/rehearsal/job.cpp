#include "job.hpp"

#include <fmt/format.h>
#include <yaml-cpp/yaml.h>

#include <algorithm>
#include <filesystem>

#include "trimwright/files.hpp"

namespace trimwright {
namespace {

YAML::Node flow(YAML::NodeType::value type) {
  YAML::Node node(type);
  node.SetStyle(YAML::EmitterStyle::Flow);
  return node;
}

std::string written_moment(double g_mm) { return fmt::format("{} g.mm", g_mm); }

bool all_of_catalogue(const FittedWeights& fitted) {
  return fitted.free.empty() && std::all_of(fitted.slots.begin(), fitted.slots.end(), [](const auto& entry) {
           return !entry.second.weight_id.empty();
         });
}

/// {4: K3, 19: K2}, or a list where something is not from the catalogue.
YAML::Node plane_node(const FittedWeights& fitted) {
  const bool plain = all_of_catalogue(fitted);
  YAML::Node node = flow(plain ? YAML::NodeType::Map : YAML::NodeType::Sequence);
  for (const auto& [slot, piece] : fitted.slots) {
    if (plain) {
      node[slot] = piece.weight_id;
      continue;
    }
    YAML::Node item = flow(YAML::NodeType::Map);
    item["slot"] = slot;
    if (piece.weight_id.empty())
      item["moment"] = written_moment(piece.moment_g_mm);
    else
      item["weight"] = piece.weight_id;
    node.push_back(item);
  }
  for (const auto& piece : fitted.free) {
    YAML::Node item = flow(YAML::NodeType::Map);
    item["at"] = fmt::format("{} deg with rotation", piece.at.degrees());
    item["moment"] = written_moment(piece.moment_g_mm);
    node.push_back(item);
  }
  return node;
}

YAML::Node fitted_node(const Rotor& rotor, const std::vector<FittedWeights>& fitted) {
  YAML::Node node = flow(YAML::NodeType::Map);
  for (std::size_t p = 0; p < fitted.size(); ++p)
    if (!fitted[p].slots.empty() || !fitted[p].free.empty())
      node[rotor.planes[p].name] = plane_node(fitted[p]);
  return node.size() > 0 ? node : YAML::Node("none");
}

YAML::Node run_node(const Rehearsal& rehearsal, const RehearsalRun& run) {
  YAML::Node conditions = flow(YAML::NodeType::Map);
  conditions["warm_up"] = "5 min at idle";
  conditions["dwell"] = "10 s";
  conditions["wind"] = "calm";
  YAML::Node node(YAML::NodeType::Map);
  node["name"] = run.name;
  node["when"] = "2031-06-02 09:00";  // invented, like the rotor
  node["conditions"] = conditions;
  node["fitted"] = fitted_node(rehearsal.rotor, run.fitted);
  return node;
}

/// What `make_run` records; see `write_recording`.
YAML::Node recording_node(const Rotor& rotor) {
  YAML::Node node(YAML::NodeType::Map);
  int channel = 0;
  for (int i = 0; i < recorded_elements; ++i) {
    YAML::Node element = flow(YAML::NodeType::Map);
    element["channel"] = ++channel;
    element["volts_full_scale"] = fmt::format("{:g} V", tooth_volts_full_scale);
    element["delay"] = "0 us";
    node["reference"].push_back(element);
  }
  for (const Sensor& sensor : rotor.sensors) {
    YAML::Node one = flow(YAML::NodeType::Map);
    one["channel"] = ++channel;
    one["sensor"] = sensor.name;
    one["volts_full_scale"] = fmt::format("{:g} V", vibration_volts_full_scale);
    one["sensitivity"] = fmt::format("{:g} mV per mm/s", 1e3 * volts_per_mm_s);
    one["delay"] = fmt::format("{:g} us", 1e6 * vibration_delay_s);
    one["phase_shift"] = "0 deg";
    node["vibration"].push_back(one);
  }
  node["speeds"] = flow(YAML::NodeType::Map);
  node["speeds"]["from"] = "5 %";
  node["speeds"]["to"] = "110 %";
  return node;
}

YAML::Node first_job(const Rehearsal& rehearsal) {
  YAML::Node root(YAML::NodeType::Map);
  root["trimwright"] = "job 1";
  root["title"] = "Rehearsal on a virtual rotor";
  root["rotor"] = "rotor.yaml";
  root["serial"] = fmt::format("rehearsal {}", rehearsal.seed);
  root["readings"] = flow(YAML::NodeType::Sequence);
  root["runs"] = YAML::Node(YAML::NodeType::Sequence);
  root["trim"] = flow(YAML::NodeType::Map);
  root["trim"]["planes"] = "all";
  root["trim"]["max_changes"] = rehearsal_changes;
  return root;
}

void add_table(YAML::Node root, const std::string& table) {
  YAML::Node list = flow(YAML::NodeType::Sequence);
  if (const YAML::Node before = root["readings"]; before.IsSequence())
    for (const YAML::Node& one : before) list.push_back(one);
  else if (before.IsScalar())
    list.push_back(before.as<std::string>());  // the node itself is about to become the list
  list.push_back(table);
  root["readings"] = list;
}

}  // namespace

Result<std::string> job_with_run(const Rehearsal& rehearsal, const RehearsalRun& run,
                                 const std::string& table) {
  const std::string path = rehearsal.file("job.yaml");
  std::error_code status;
  try {
    YAML::Node root;
    if (std::filesystem::exists(path, status)) {
      const auto text = read_text_file(path);
      if (!text) return tl::unexpected(text.error());
      root = YAML::Load(*text);
    } else {
      root = first_job(rehearsal);
    }
    add_table(root, table);
    if (!run.readings_only && !root["recording"]) root["recording"] = recording_node(rehearsal.rotor);
    root["runs"].push_back(run_node(rehearsal, run));
    root.remove("fitted_now");
    YAML::Emitter out;
    out << root;
    return std::string(out.c_str()) + "\n";
  } catch (const YAML::Exception& wrong) {
    return fail(std::string("no run can be added (") + wrong.what() + ")", "a job file", {path, 0, {}});
  }
}

}  // namespace trimwright
