#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace trimwright {

/// A SHA-256 message digest (FIPS 180-4).
using Digest = std::array<std::uint8_t, 32>;

/// Digests what it is fed; a field is fed with its length before it, so that no two rows of fields give the
/// same bytes.
class Sha256 {
 public:
  Sha256();
  ~Sha256();
  Sha256(const Sha256&) = delete;
  Sha256& operator=(const Sha256&) = delete;

  void feed(std::string_view bytes);
  void feed_number(std::uint64_t number);  ///< eight bytes, the lowest first
  void feed_field(std::string_view field);
  /// The digest; the next feeding begins anew.
  [[nodiscard]] Digest finish();

 private:
  struct Context;
  std::unique_ptr<Context> context_;
};

[[nodiscard]] Digest sha256(std::string_view bytes);

/// 64 hexadecimal digits, small letters.
[[nodiscard]] std::string hex(const Digest& digest);
/// The inverse; blanks between the digits are passed over (a sheet prints groups). Empty when it is none.
[[nodiscard]] std::optional<Digest> digest_from_hex(std::string_view text);

}  // namespace trimwright
