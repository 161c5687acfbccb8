#include "record_content.hpp"
#include "record_documents.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {

Json found_by_json(const Record& record) {
  return {{"rotor", record.rotor},
          {"serial", record.serial},
          {"station", record.station},
          {"date", record.date},
          {"person", record.person},
          {"verdict", record.verdict},
          {"worst_ratio", record.level},
          {"filed_at", record.filed_at},
          {"filed_by", record.filed_by},
          {"software", record.software},
          {"corrects", or_null(record.corrects)},
          {"reason", record.reason}};
}

namespace {

constexpr auto replaced = Json::error_handler_t::replace;  // a changed archive may hold what is no UTF-8

Json hex_or_null(const std::optional<Digest>& digest) { return digest ? Json(hex(*digest)) : Json(nullptr); }

/// A record's place in the archive.
Json archive_place_json(const StoredRecord& one) {
  return {{"number", one.number},
          {"digest", hex(one.digest)},
          {"previous", hex(one.previous)},
          {"corrected_by", or_null(one.corrected_by)}};
}

Json whole_json(const StoredRecord& one, const Json& content) {
  Json json = content;
  json.update(archive_place_json(one));
  json["as_filed"] = one.holds;
  json["corrects"] = or_null(one.record.corrects);  // a record that was sent corrects another number here
  return json;
}

Json summary_json(const StoredRecord& one) {
  Json json = archive_place_json(one);
  json.update(found_by_json(one.record));
  json["as_filed"] = one.holds;
  return json;
}

Json faults_json(const std::vector<Fault>& faults) {
  Json list = Json::array();
  for (const auto& fault : faults)
    list.push_back(
        {{"number", fault.number == 0 ? Json(nullptr) : Json(fault.number)}, {"what", fault.what}});
  return list;
}

}  // namespace

Result<std::string> record_json(const StoredRecord& record) {
  return from_any_content(record,
                          [&](const Json& content) { return whole_json(record, content).dump(2) + "\n"; });
}

std::string records_json(const std::vector<StoredRecord>& records) {
  Json list = Json::array();
  for (const auto& one : records) list.push_back(summary_json(one));
  const Json json = {{"trimwright", "records 1"}, {"records", list}, {"cautions", cautions()}};
  return json.dump(2, ' ', false, replaced) + "\n";
}

Result<std::string> export_json(const StoredRecord& record) {
  return from_any_content(record, [&](const Json& content) { return whole_json(record, content).dump(); });
}

std::string export_line(const StoredRecord& one) {
  Json json = archive_place_json(one);
  json.erase("corrected_by");
  json["rule"] = one.rule;
  json.update(found_by_json(one.record));
  json["inputs"] = hex(one.record.inputs);
  json["origin"] = hex_or_null(one.record.origin);
  json["content"] = one.record.content;
  return json.dump(-1, ' ', false, replaced) + "\n";
}

std::string proof_json(const Proof& proof) {
  Json since = Json::array();
  for (const auto& node : proof.since) since.push_back(hex(node));
  const Json json = {{"trimwright", "proof 1"},
                     {"whole", proof.whole()},
                     {"records", proof.records},
                     {"head", hex(proof.last)},
                     {"tree_head", head_text(proof.head)},
                     {"expected_at", or_null(proof.expected_at)},
                     {"expected_holds", proof.expected_at ? Json(proof.expected_holds()) : Json(nullptr)},
                     {"since", since},
                     {"faults", faults_json(proof.faults)},
                     {"remarks", faults_json(proof.remarks)},
                     {"cautions", cautions()}};
  return json.dump(2, ' ', false, replaced) + "\n";
}

}  // namespace trimwright
