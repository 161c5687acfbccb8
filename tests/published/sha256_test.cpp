#include <doctest/doctest.h>

#include <fstream>
#include <sstream>
#include <string>

#include "project_folder.hpp"
#include "trimwright/records.hpp"

using namespace trimwright;

// The examples of FIPS 180-2, appendix B, which FIPS 180-4 refers to (NIST's page of example values), and the
// empty message. From memory.
TEST_CASE("SHA-256 gives the digests published with the standard") {
  CHECK(hex(sha256("")) == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  CHECK(hex(sha256("abc")) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(hex(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")) ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(hex(sha256(std::string(1000000, 'a'))) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("SHA-256 gives the digests of NIST's test vectors") {
  std::ifstream file(trimwright::testing::in_project("tests/published/sha256_vectors.txt"));
  int checked = 0;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with('#')) continue;
    std::istringstream fields(line);
    std::size_t bits = 0;
    std::string message, digest, bytes;
    REQUIRE(static_cast<bool>(fields >> bits >> message >> digest));
    for (std::size_t i = 0; i < bits / 8; ++i)
      bytes += static_cast<char>(std::stoi(message.substr(2 * i, 2), nullptr, 16));
    CHECK(hex(sha256(bytes)) == digest);
    ++checked;
  }
  CHECK(checked == 70);
}

TEST_CASE("A message fed in parts has the digest of the whole, and a hash can be used again") {
  Sha256 hash;
  for (int round = 0; round < 2; ++round) {
    hash.feed("a");
    hash.feed("b");
    hash.feed("c");
    CHECK(hash.finish() == sha256("abc"));
  }
}
