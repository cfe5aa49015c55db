// Text from a disk: decoding by declared set, and escaping for terminals and JSON.
#include "core/charset.h"

#include <catch2/catch.hpp>

namespace platter {
namespace {

using namespace std::string_literals;

TEST_CASE("valid UTF-8 is told from bytes that only look like it") {
  CHECK(is_utf8("plain"));
  CHECK(is_utf8("\xC3\xA9t\xC3\xA9"));
  CHECK_FALSE(is_utf8("\xC0\xAF"));          // overlong, RFC 3629 section 3
  CHECK_FALSE(is_utf8("\xED\xA0\x80"));      // a surrogate
  CHECK_FALSE(is_utf8("\xF4\x90\x80\x80"));  // beyond U+10FFFF
  CHECK_FALSE(is_utf8("\xE2\x82"));          // cut short
}

TEST_CASE("bytes that are no UTF-8 are percent-escaped, the percent sign too") {
  const Decoded decoded = decode_text(
      "50%\xFF"
      "a",
      Charset::ascii);
  CHECK(decoded.utf8 == "50%25%FFa");
  CHECK_FALSE(decoded.exact);
  CHECK(decode_text("50%", Charset::ascii).utf8 == "50%");
}

TEST_CASE("declared character sets give readable text") {
  CHECK(decode_text("\xE9", Charset::latin1).utf8 == "\xC3\xA9");
  CHECK(decode_text("\x8E", Charset::hfs_roman).utf8 == "\xC3\xA9");
  CHECK(decode_text("\x82", Charset::cp437).utf8 == "\xC3\xA9");
  CHECK(decode_text("\x00\x41\x30\x42"s, Charset::ucs2_be).utf8 == "A\xE3\x81\x82");
  CHECK(decode_text("\x41\x00\x42\x30"s, Charset::utf16_le).utf8 == "A\xE3\x81\x82");
}

TEST_CASE("unpaired surrogates and odd lengths are replaced and said to be inexact") {
  const Decoded lone = decode_text("\xD8\x00\x00\x41"s, Charset::ucs2_be);
  CHECK(lone.utf8 ==
        "\xEF\xBF\xBD"
        "A");
  CHECK_FALSE(lone.exact);
  CHECK(decode_text("\xD8\x3D\xDC\xBE"s, Charset::ucs2_be).utf8 == "\xF0\x9F\x92\xBE");
  CHECK_FALSE(decode_text("\x00\x41\x42"s, Charset::ucs2_be).exact);
}

TEST_CASE("no text from a disk can steer a terminal") {
  CHECK(printable("a\x1B[31mb\nc\x7F") == "a\\x1b[31mb\\x0ac\\x7f");
  CHECK(printable("\xC2\x9B") == "\\x9b");  // C1: control sequence introducer
  CHECK(printable("\xE2\x80\xAE"
                  "abc") == "\\u{202e}abc");  // right-to-left override
  CHECK(printable("\xFFok") == "\\xffok");
  CHECK(printable("caf\xC3\xA9") == "caf\xC3\xA9");
}

TEST_CASE("columns count code points, hexadecimal is lower-case") {
  CHECK(columns_of("caf\xC3\xA9") == 4);
  CHECK(hex_of("\x00\xAB"s) == "00ab");
}

}  // namespace
}  // namespace platter
