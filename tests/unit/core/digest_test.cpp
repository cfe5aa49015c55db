#include "core/digest.h"

#include <string>
#include <string_view>

#include <catch2/catch.hpp>

namespace {

using platter::Sha256;

std::span<const std::byte> bytes_of(std::string_view text) {
  return {reinterpret_cast<const std::byte*>(text.data()), text.size()};
}

std::string digest_of(std::string_view text) {
  Sha256 digest;
  digest.update(bytes_of(text));
  return digest.finish();
}

// The examples that NIST publishes with FIPS 180-4 ("abc", the 448-bit message, a million letters).
TEST_CASE("SHA-256: the published examples") {
  CHECK(digest_of("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  CHECK(digest_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(digest_of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(digest_of(std::string(1000000, 'a')) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("SHA-256: in pieces it is the same") {
  Sha256 digest;
  for (int i = 0; i < 1000; ++i)
    digest.update(bytes_of(std::string(1000, 'a')));
  CHECK(digest.finish() == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

}  // namespace
