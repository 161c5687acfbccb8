#include "trimwright/records.hpp"

#include <algorithm>
#include <bit>
#include <charconv>

namespace trimwright {
namespace {

Digest node_of(const Digest& left, const Digest& right) {
  std::string bytes(1, '\1');
  bytes.append(left.begin(), left.end()).append(right.begin(), right.end());
  return sha256(bytes);
}

Digest leaf_of(const Digest& digest) {
  std::string bytes(1, '\0');
  return sha256(bytes.append(digest.begin(), digest.end()));
}

/// The largest power of two below `size`.
std::int64_t left_part(std::int64_t size) {
  return static_cast<std::int64_t>(std::bit_floor(static_cast<std::uint64_t>(size - 1)));
}

}  // namespace

std::string head_text(const TreeHead& head) { return std::to_string(head.size) + "-" + hex(head.root); }

std::optional<TreeHead> head_from_text(std::string_view text) {
  const auto dash = text.find('-');
  if (dash == std::string_view::npos) return std::nullopt;
  TreeHead head;
  const auto read = std::from_chars(text.data(), text.data() + dash, head.size);
  const auto root = digest_from_hex(text.substr(dash + 1));
  if (read.ec != std::errc{} || read.ptr != text.data() + dash || head.size < 0 || !root) return std::nullopt;
  head.root = *root;
  return head;
}

void MerkleTree::add(const Digest& leaf) {
  whole_.push_back(leaf_of(leaf));
  ++size_;
  for (auto pairs = size_; pairs % 2 == 0; pairs /= 2) {
    const Digest right = whole_.back();
    whole_.pop_back();
    whole_.back() = node_of(whole_.back(), right);
  }
}

TreeHead MerkleTree::head() const {
  if (size_ == 0) return {0, sha256("")};
  Digest root = whole_.back();
  for (auto left = std::next(whole_.rbegin()); left != whole_.rend(); ++left) root = node_of(*left, root);
  return {size_, root};
}

ConsistencyProof::ConsistencyProof(std::int64_t from, std::int64_t to) {
  if (from > 0 && from < to) divide(from, 0, to, true);
  for (const auto& part : parts_) in_order_.push_back(part.begin);
  std::sort(parts_.begin(), parts_.end(), [](const Part& a, const Part& b) { return a.begin < b.begin; });
}

/// `known`: the one who checks has this subtree's root, because it is the earlier head itself.
void ConsistencyProof::divide(std::int64_t from, std::int64_t begin, std::int64_t end, bool known) {
  if (from == end - begin) {
    if (!known) parts_.push_back({begin, end, {}});
    return;
  }
  const auto middle = begin + left_part(end - begin);
  if (from <= middle - begin) {
    divide(from, begin, middle, known);
    parts_.push_back({middle, end, {}});
  } else {
    divide(from - (middle - begin), middle, end, false);
    parts_.push_back({begin, middle, {}});
  }
}

void ConsistencyProof::add(const Digest& leaf) {
  const auto at = next_++;
  const auto part = std::upper_bound(parts_.begin(), parts_.end(), at,
                                     [](std::int64_t i, const Part& one) { return i < one.end; });
  if (part != parts_.end() && part->begin <= at) part->tree.add(leaf);
}

std::vector<Digest> ConsistencyProof::nodes() const {
  std::vector<Digest> nodes;
  for (const auto begin : in_order_)
    nodes.push_back(
        std::find_if(parts_.begin(), parts_.end(), [&](const Part& one) { return one.begin == begin; })
            ->tree.head()
            .root);
  return nodes;
}

bool goes_on_from(const TreeHead& earlier, const TreeHead& later, const std::vector<Digest>& proof) {
  if (earlier.size > later.size || earlier.size < 0) return false;
  if (earlier.size == later.size) return proof.empty() && earlier.root == later.root;
  if (earlier.size == 0) return proof.empty() && earlier.root == sha256("");
  auto nodes = proof;
  if (std::has_single_bit(static_cast<std::uint64_t>(earlier.size)))
    nodes.insert(nodes.begin(), earlier.root);
  if (nodes.empty()) return false;
  auto first = earlier.size - 1, second = later.size - 1;
  for (; first % 2 == 1; first /= 2) second /= 2;
  Digest was = nodes.front(), is = nodes.front();
  for (auto node = std::next(nodes.begin()); node != nodes.end(); ++node) {
    if (second == 0) return false;
    if (first % 2 == 1 || first == second) {
      was = node_of(*node, was);
      is = node_of(*node, is);
      for (; first % 2 == 0 && first != 0; first /= 2) second /= 2;
    } else {
      is = node_of(is, *node);
    }
    first /= 2;
    second /= 2;
  }
  return second == 0 && was == earlier.root && is == later.root;
}

}  // namespace trimwright
