#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "archive_state.hpp"

namespace trimwright {
namespace {

/// The end of a chain, as far as it was read.
struct ChainEnd {
  std::int64_t number = 0;
  Digest digest{};
  std::string filed_at;
  std::optional<Digest> computed{};  ///< where another one stands beside it
};

constexpr const char* does_not_fit = "is not as it was filed: its digest does not fit";

/// "record 2 is missing", "records 2 to 4 are missing".
std::string missing_words(std::int64_t first, std::int64_t last) {
  return first == last ? fmt::format("record {} is missing", first)
                       : fmt::format("records {} to {} are missing", first, last);
}

void check_record_in_chain(const StoredRecord& one, bool numbered, ChainEnd& end, Proof& proof) {
  const auto computed = [&](const Digest& previous) {
    return digest_of(one.number, previous, one.record, one.rule);
  };
  const bool follows = one.previous == end.digest || one.previous == end.computed;
  if (end.computed && one.previous == *end.computed)
    for (auto& fault : proof.faults)
      if (fault.number == end.number && fault.what == does_not_fit)
        fault.what = fmt::format(
            "another digest was written beside it; what it says is as it was filed, as record "
            "{} shows, which holds the right one",
            one.number);
  if (!one.holds)
    proof.faults.push_back(
        {one.number, !follows && computed(end.digest) == one.digest
                         ? "what it says is as it was filed; the digest of the record before it "
                           "was changed, which it holds"
                         : does_not_fit});
  if (numbered && one.number > end.number + 1)
    proof.faults.push_back({one.number, "stands where record " + std::to_string(end.number + 1) +
                                            " should: " + missing_words(end.number + 1, one.number - 1)});
  else if (!follows)
    proof.faults.push_back({one.number, "does not follow the record before it"});
  if (one.record.corrects.value_or(0) >= one.number)
    proof.faults.push_back({one.number, "corrects a record that was not there yet"});
  if (!one.record.origin && one.record.filed_at < end.filed_at)
    proof.remarks.push_back({one.number, "was filed at " + one.record.filed_at +
                                             " by its clock, before the record that it follows (" +
                                             end.filed_at + "): a clock was wrong"});
  end = {one.number, one.digest, one.record.origin ? end.filed_at : one.record.filed_at, {}};
  if (!one.holds && computed(one.previous) != one.digest) end.computed = computed(one.previous);
}

/// The tree over all records, as they pass by in the order of their places.
class TreeCheck {
 public:
  /// `places`: a record's place is told apart from its number, and so is one that is missing.
  TreeCheck(const std::optional<TreeHead>& since, std::int64_t leaves, bool places, Proof& proof)
      : since_(since), grown_(since ? since->size : 0, leaves), places_(places), proof_(proof) {
    look_at_head();
  }

  void add(const Digest& digest, std::int64_t place) {
    tree_.add(digest);
    grown_.add(digest);
    ++size_;
    if (places_ && place != size_)
      proof_.faults.push_back(
          {0, fmt::format("record {} in the order of filing is missing, or stands there twice", size_)});
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
  bool places_;
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
  TreeCheck tree(since, leaves, many, proof);
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

bool Proof::expected_holds() const {
  return expected_at && std::none_of(faults.begin(), faults.end(),
                                     [&](const Fault& one) { return one.number <= *expected_at; });
}

bool Archive::on_server() const { return state_->database->chain_per_station(); }

Result<std::vector<Fault>> Archive::faults_in_passing() const {
  if (on_server()) return std::vector<Fault>{};
  Database& database = *state_->database;
  std::error_code none;
  const auto bytes = std::filesystem::file_size(database.name(), none);
  if (!none && bytes <= most_proved_in_passing) {
    auto proof = prove();
    if (!proof) return tl::unexpected(proof.error());
    return std::move(proof->faults);
  }
  return caught([&]() -> Result<std::vector<Fault>> {
    std::vector<Fault> faults;
    const auto counted = database.prepare("SELECT count(*), coalesce(max(number), 0) FROM record");
    if (counted->step() && counted->integer(0) != counted->integer(1))
      faults.push_back({0, fmt::format("{} of {} records are missing",
                                       counted->integer(1) - counted->integer(0), counted->integer(1))});
    counted->reset();
    if (const auto last = last_record(database, {}); last && !last->holds)
      faults.push_back({last->number, "is not as it was filed: its digest does not fit"});
    return faults;
  });
}

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
