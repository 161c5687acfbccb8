#include <fmt/format.h>

#include "archive_state.hpp"

namespace trimwright {
namespace {

/// The end of a chain, as far as it was read.
struct ChainEnd {
  std::int64_t number = 0;
  Digest digest{};
  std::string filed_at;
};

void check_record_in_chain(const StoredRecord& one, bool numbered, ChainEnd& end, Proof& proof) {
  if (!one.holds) proof.faults.push_back({one.number, "is not as it was filed: its digest does not fit"});
  if (numbered && one.number != end.number + 1)
    proof.faults.push_back({one.number, fmt::format("stands where record {} should", end.number + 1)});
  else if (one.previous != end.digest)
    proof.faults.push_back({one.number, "does not follow the record before it"});
  if (one.record.corrects.value_or(0) >= one.number)
    proof.faults.push_back({one.number, "corrects a record that was not there yet"});
  if (!one.record.origin && one.record.filed_at < end.filed_at)
    proof.remarks.push_back({one.number, "was filed at " + one.record.filed_at +
                                             " by its clock, before the record that it follows (" +
                                             end.filed_at + "): a clock was wrong"});
  end = {one.number, one.digest, one.record.origin ? end.filed_at : one.record.filed_at};
}

void check_chains(Database& database, const std::optional<Digest>& expected, Proof& proof) {
  std::map<std::string, ChainEnd> ends;
  const bool many = database.chain_per_station();
  const auto all =
      database.prepare(fmt::format("SELECT {} FROM record ORDER BY number", stored_columns(database)));
  StoredRecord one;
  while (all->step()) {
    read_stored(database, *all, one);
    ++proof.records;
    proof.bytes += one.record.content.size();
    check_record_in_chain(one, !many, ends[many ? one.record.station : ""], proof);
    proof.last = one.digest;
    if (expected && (one.digest == *expected || one.record.origin == expected))
      proof.expected_at = one.number;
  }
}

void check_tree(Database& database, const std::optional<TreeHead>& since, Proof& proof) {
  const auto leaves = database.prepare(database.tree());
  MerkleTree tree;
  ConsistencyProof grown(since ? since->size : 0, proof.records);
  std::optional<TreeHead> then;
  if (since && since->size == 0) then = tree.head();
  while (leaves->step()) {
    tree.add(leaves->digest(0));
    grown.add(leaves->digest(0));
    if (leaves->integer(1) != tree.head().size)
      proof.faults.push_back(
          {0, fmt::format("place {} in the tree of records is empty or taken twice", tree.head().size)});
    if (since && since->size == tree.head().size) then = tree.head();
  }
  proof.head = tree.head();
  if (proof.head.size != proof.records)
    proof.remarks.push_back(
        {0, fmt::format("{} records have no place in the tree yet: this user may only read",
                        proof.records - proof.head.size)});
  if (!since) return;
  proof.since = grown.nodes();
  if (then != since || !goes_on_from(*since, proof.head, proof.since))
    proof.faults.push_back(
        {0, fmt::format("it does not go on from the head of {} records: one of them was changed or removed "
                        "since, or the head is another archive's",
                        since->size)});
}

}  // namespace

Result<Proof> Archive::prove(const std::optional<Digest>& expected,
                             const std::optional<TreeHead>& since) const {
  Database& database = *state_->database;
  Proof proof;
  try {
    database.settle_tree();
  } catch (const DatabaseFailure&) {  // one who may only read: the head then tells how many it covers
  }
  try {
    Transaction transaction(database);
    check_chains(database, expected, proof);
    check_tree(database, since, proof);
    for (auto& fault : database.storage_faults()) proof.faults.push_back({0, std::move(fault)});
    transaction.commit();
  } catch (const DatabaseFailure& failure) {
    proof.faults.push_back({proof.records + 1, "cannot be read: " + failure.error.what});
  }
  if (expected && !proof.expected_at)
    proof.faults.push_back({0,
                            "no record has the expected digest: records were cut off the end, or made anew "
                            "from some record on"});
  return proof;
}

}  // namespace trimwright
