#include "trimwright/records.hpp"

#include <openssl/evp.h>

#include <cassert>

namespace trimwright {

struct Sha256::Context {
  EVP_MD* algorithm = EVP_MD_fetch(nullptr, "SHA256", nullptr);
  EVP_MD_CTX* state = EVP_MD_CTX_new();

  Context() { begin(); }
  Context(const Context&) = delete;
  Context& operator=(const Context&) = delete;
  ~Context() {
    EVP_MD_CTX_free(state);
    EVP_MD_free(algorithm);
  }
  void begin() {
    [[maybe_unused]] const int done = EVP_DigestInit_ex2(state, algorithm, nullptr);
    assert(done == 1);
  }
};

Sha256::Sha256() : context_(std::make_unique<Context>()) {}
Sha256::~Sha256() = default;

void Sha256::feed(std::string_view bytes) {
  [[maybe_unused]] const int done = EVP_DigestUpdate(context_->state, bytes.data(), bytes.size());
  assert(done == 1);
}

void Sha256::feed_number(std::uint64_t number) {
  std::array<char, 8> bytes{};
  for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<char>((number >> (8 * i)) & 0xff);
  feed({bytes.data(), bytes.size()});
}

void Sha256::feed_field(std::string_view field) {
  feed_number(field.size());
  feed(field);
}

Digest Sha256::finish() {
  Digest digest{};
  [[maybe_unused]] const int done = EVP_DigestFinal_ex(context_->state, digest.data(), nullptr);
  assert(done == 1);
  context_->begin();
  return digest;
}

Digest sha256(std::string_view bytes) {
  Sha256 hash;
  hash.feed(bytes);
  return hash.finish();
}

std::string hex(const Digest& digest) {
  constexpr const char* digits = "0123456789abcdef";
  std::string text;
  for (const std::uint8_t byte : digest) {
    text += digits[byte >> 4];
    text += digits[byte & 15];
  }
  return text;
}

std::optional<Digest> digest_from_hex(std::string_view text) {
  Digest digest{};
  std::size_t n = 0;
  for (const char c : text) {
    if (c == ' ') continue;
    const int value = c >= '0' && c <= '9'   ? c - '0'
                      : c >= 'a' && c <= 'f' ? c - 'a' + 10
                      : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                             : -1;
    if (value < 0 || n == 64) return std::nullopt;
    digest[n / 2] = static_cast<std::uint8_t>(n % 2 == 0 ? value << 4 : digest[n / 2] | value);
    ++n;
  }
  return n == 64 ? std::optional(digest) : std::nullopt;
}

}  // namespace trimwright
