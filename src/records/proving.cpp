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

/// The tree over all records, as they pass by in the order of their places.
class TreeCheck {
 public:
  TreeCheck(const std::optional<TreeHead>& since, std::int64_t leaves, Proof& proof)
      : since_(since), grown_(since ? since->size : 0, leaves), proof_(proof) {
    look_at_head();
  }

  void add(const Digest& digest, std::int64_t place) {
    tree_.add(digest);
    grown_.add(digest);
    ++size_;
    if (place != size_)
      proof_.faults.push_back(
          {0, fmt::format("place {} in the tree of records is empty or taken twice", size_)});
    look_at_head();
  }

  void finish() {
    proof_.head = tree_.head();
    if (size_ != proof_.records)
      proof_.remarks.push_back(
          {0, fmt::format("{} records have no place in the tree yet: this user may only read",
                          proof_.records - size_)});
    if (!since_) return;
    proof_.since = grown_.nodes();
    if (then_ != since_ || !goes_on_from(*since_, proof_.head, proof_.since))
      proof_.faults.push_back(
          {0, fmt::format("it does not go on from the head of {} records: one of them was changed or "
                          "removed since, or the head is another archive's",
                          since_->size)});
  }

 private:
  void look_at_head() {
    if (since_ && since_->size == size_) then_ = tree_.head();
  }

  const std::optional<TreeHead>& since_;
  ConsistencyProof grown_;
  Proof& proof_;
  MerkleTree tree_;
  std::int64_t size_ = 0;
  std::optional<TreeHead> then_;
};

/// In one chain the place of a record in the tree is its number.
void check_chains(Database& database, const std::optional<Digest>& expected, TreeCheck* tree, Proof& proof) {
  std::map<std::string, ChainEnd> ends;
  const auto all =
      database.prepare(fmt::format("SELECT {} FROM record ORDER BY number", stored_columns(database)));
  StoredRecord one;
  while (all->step()) {
    read_stored(database, *all, one);
    ++proof.records;
    proof.bytes += one.record.content.size();
    check_record_in_chain(one, tree != nullptr, ends[tree != nullptr ? "" : one.record.station], proof);
    if (tree != nullptr) tree->add(one.digest, one.number);
    proof.last = one.digest;
    if (expected && (one.digest == *expected || one.record.origin == expected))
      proof.expected_at = one.number;
  }
}

void check_archive(Database& database, const std::optional<Digest>& expected,
                   const std::optional<TreeHead>& since, Proof& proof) {
  const bool many = database.chain_per_station();
  const auto counted = database.prepare(many ? "SELECT count(*) FROM leaf" : "SELECT count(*) FROM record");
  const auto leaves = counted->step() ? counted->integer(0) : 0;
  counted->reset();
  TreeCheck tree(since, leaves, proof);
  check_chains(database, expected, many ? nullptr : &tree, proof);
  if (many) {
    const auto in_order =
        database.prepare("SELECT digest, place FROM leaf JOIN record USING (number) ORDER BY place");
    while (in_order->step()) tree.add(in_order->digest(0), in_order->integer(1));
  }
  tree.finish();
  for (auto& fault : database.storage_faults()) proof.faults.push_back({0, std::move(fault)});
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
    check_archive(database, expected, since, proof);
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
