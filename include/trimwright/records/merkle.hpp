#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/records/digest.hpp"

namespace trimwright {

/// The state of an archive in one line: how many records, and the root of the Merkle tree over their digests.
struct TreeHead {
  std::int64_t size = 0;
  Digest root{};

  friend bool operator==(const TreeHead&, const TreeHead&) = default;
};

/// "12-5f1c09ab...": as a sheet prints it, blanks between the digits passed over.
[[nodiscard]] std::string head_text(const TreeHead& head);
[[nodiscard]] std::optional<TreeHead> head_from_text(std::string_view text);

/// Root of the Merkle tree of RFC 9162, section 2.1.1 (as in RFC 6962), over leaves that are added one after
/// the other; keeps one digest for each bit of their number. A leaf is SHA-256 of a byte 0 and the record's
/// digest, a node that of a byte 1 and its two children.
class MerkleTree {
 public:
  void add(const Digest& leaf);
  [[nodiscard]] TreeHead head() const;

 private:
  std::int64_t size_ = 0;
  std::vector<Digest> whole_;  ///< roots of the whole subtrees, the largest first
};

/// Makes the proof of RFC 9162, section 2.1.4.1, that a tree of `to` leaves goes on from its first `from`,
/// while the leaves pass by in order.
class ConsistencyProof {
 public:
  ConsistencyProof(std::int64_t from, std::int64_t to);
  void add(const Digest& leaf);
  [[nodiscard]] std::vector<Digest> nodes() const;

 private:
  struct Part {
    std::int64_t begin, end;
    MerkleTree tree;
  };
  void divide(std::int64_t from, std::int64_t begin, std::int64_t end, bool known);

  std::vector<Part> parts_;             ///< the subtrees of the proof, from left to right
  std::vector<std::int64_t> in_order_;  ///< where each begins, as the proof lists them
  std::int64_t next_ = 0;
};

/// Whether `proof` shows that the records of `later` begin with those of `earlier`: RFC 9162, 2.1.4.2.
[[nodiscard]] bool goes_on_from(const TreeHead& earlier, const TreeHead& later,
                                const std::vector<Digest>& proof);

}  // namespace trimwright
