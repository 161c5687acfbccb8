#include "trimwright/records.hpp"

#include <doctest/doctest.h>

using namespace trimwright;

namespace {

/// RFC 9162, section 2.1.1, as it is written there: the root of the leaves from `begin` to `end`.
Digest root_as_defined(const std::vector<Digest>& leaves, std::size_t begin, std::size_t end) {
  const auto bytes = [](char first, std::initializer_list<Digest> parts) {
    std::string text(1, first);
    for (const auto& part : parts) text.append(part.begin(), part.end());
    return text;
  };
  if (begin == end) return sha256("");
  if (end - begin == 1) return sha256(bytes('\0', {leaves[begin]}));
  std::size_t half = 1;
  while (2 * half < end - begin) half *= 2;
  return sha256(bytes(
      '\1', {root_as_defined(leaves, begin, begin + half), root_as_defined(leaves, begin + half, end)}));
}

std::vector<Digest> leaves_of(std::size_t count) {
  std::vector<Digest> leaves;
  for (std::size_t i = 0; i < count; ++i) leaves.push_back(sha256("record " + std::to_string(i)));
  return leaves;
}

TreeHead head_of(const std::vector<Digest>& leaves, std::size_t count) {
  MerkleTree tree;
  for (std::size_t i = 0; i < count; ++i) tree.add(leaves[i]);
  return tree.head();
}

}  // namespace

TEST_CASE("The digest of a record is also of the record before it and of the one that it corrects") {
  Record record;
  record.corrects = 3;
  const Digest digest = digest_of(5, sha256("before"), record);
  CHECK(digest_of(5, sha256("another"), record) != digest);
  record.corrects = 4;
  CHECK(digest_of(5, sha256("before"), record) != digest);
}

TEST_CASE("The head of an empty archive is the digest of nothing") {
  // SHA-256 of no bytes, from memory (FIPS 180-4 examples).
  CHECK(head_text(MerkleTree().head()) ==
        "0-e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST_CASE("Leaf after leaf the head is the root that RFC 9162 defines") {
  const auto leaves = leaves_of(70);
  for (std::size_t n = 0; n <= leaves.size(); ++n) {
    CHECK(head_of(leaves, n).root == root_as_defined(leaves, 0, n));
    CHECK(head_of(leaves, n).size == static_cast<std::int64_t>(n));
  }
}

TEST_CASE("A few digests prove that an archive goes on from an earlier head, and only from that one") {
  const auto leaves = leaves_of(33);
  auto changed = leaves;
  changed[2] = sha256("another record");
  for (std::size_t n = 0; n <= leaves.size(); ++n)
    for (std::size_t m = 0; m <= n; ++m) {
      ConsistencyProof grown(static_cast<std::int64_t>(m), static_cast<std::int64_t>(n));
      for (std::size_t i = 0; i < n; ++i) grown.add(leaves[i]);
      const auto earlier = head_of(leaves, m), later = head_of(leaves, n);
      INFO(m << " of " << n);
      CHECK(grown.nodes().size() <= 7);  // one more than the bits of 33
      CHECK(goes_on_from(earlier, later, grown.nodes()));
      if (m > 2) CHECK_FALSE(goes_on_from(head_of(changed, m), later, grown.nodes()));
      if (m > 2) CHECK_FALSE(goes_on_from(earlier, head_of(changed, n), grown.nodes()));
      if (m > 0 && m < n) {
        auto wrong = grown.nodes();
        wrong.back()[31] ^= 1;
        CHECK_FALSE(goes_on_from(earlier, later, wrong));
        wrong.pop_back();
        CHECK_FALSE(goes_on_from(earlier, later, wrong));
      }
    }
  CHECK_FALSE(goes_on_from(head_of(leaves, 9), head_of(leaves, 8), {}));
}

TEST_CASE("A head is read as it is printed, in groups or not, and from nothing else") {
  const auto head = head_of(leaves_of(12), 12);
  CHECK(head_from_text(head_text(head)) == head);
  std::string grouped = head_text(head);
  for (std::size_t i = grouped.size() - 4; i > 3; i -= 4) grouped.insert(i, " ");
  CHECK(head_from_text(grouped) == head);
  for (const char* wrong : {"", "12", "12-", "-5f", "x-e3b0", "12-e3b0"}) CHECK_FALSE(head_from_text(wrong));
  CHECK_FALSE(head_from_text("-" + head_text(head)));
}
