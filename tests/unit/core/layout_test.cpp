// Structure tables and the readers that work from them.
#include "core/layout.h"

#include <catch2/catch.hpp>

#include "core/record.h"
#include "core/view.h"
#include "support/hexfile.h"
#include "support/survey.h"

namespace platter {
namespace {

constexpr Field kPairFields[] = {
    u16("first", 0, "first half"),
    s16("second", 2, "second half"),
};
constexpr Structure kPair = structure("pair", "this test", 4, kPairFields);

constexpr Name kColours[] = {{1, "red"}, {2, "green"}};

constexpr Field kSampleFields[] = {
    u8("small", 0, "one byte", unit::none, kColours),
    u24("odd", 1, "three bytes"),
    le32("always_little", 4, "fixed order"),
    both32("twice", 8, "ECMA-119 7.3.3"),
    text("words", 16, 8, "text"),
    records("pairs", 24, 2, kPair, "two pairs"),
    array_of(3, u16("list", 32, "three numbers")),
    reserved(38, 2),
    u64("large", 40, "eight bytes"),
};
constexpr Structure kSample = structure("sample", "this test", 48, kSampleFields);

// Typed by hand, not written through the table.
const char* const kSampleBytes =
    "02  01 02 03  0d 0c 0b 0a  04 03 02 01 01 02 03 05"
    " \"ab c\" 00 20 20 00  00 07 ff fe  00 08 80 00  00 01 00 02 00 03  ee ee"
    " 01 02 03 04 05 06 07 08";

Record<kSample> sample(ByteOrder order) {
  return test::view_of(test::hex_text(kSampleBytes, "sample")).record<kSample>(0, order);
}

TEST_CASE("fields are read at their offset, in their order and with their sign") {
  const auto record = sample(ByteOrder::big);
  REQUIRE(record.complete());
  CHECK(record.get<"small">() == 2);
  CHECK(record.get<"odd">() == 0x010203);
  CHECK(record.get<"always_little">() == 0x0A0B0C0D);
  CHECK(record.get<"twice">() == 0x01020304);
  CHECK(record.big_half<"twice">() == 0x01020305);
  CHECK(record.text<"words">() == "ab c");
  CHECK(record.sub<"pairs">(0).get<"first">() == 7);
  CHECK(record.sub<"pairs">(0).get<"second">() == -2);
  CHECK(record.sub<"pairs">(1).get<"second">() == -32768);
  CHECK(record.get<"list">(2) == 3);
  CHECK(record.get<"large">() == 0x0102030405060708);
  CHECK(record.place_of<"list">(1) == 34);
}

TEST_CASE("the order in which a structure is read decides where a field does not") {
  const auto record = sample(ByteOrder::little);
  CHECK(record.get<"odd">() == 0x030201);
  CHECK(record.get<"always_little">() == 0x0A0B0C0D);
  CHECK(record.get<"large">() == 0x0807060504030201);
  CHECK(record.sub<"pairs">(0).get<"first">() == 0x0700);
}

TEST_CASE("PDP-11 order keeps the high word first and swaps the bytes of each word") {
  // The example of the filesystem sheet, section 0.2: 0x0A0B0C0D is stored 0B 0A 0D 0C.
  const auto bytes = test::hex_text("0b 0a 0d 0c", "pdp");
  CHECK(decode_unsigned(bytes, ByteOrder::pdp) == 0x0A0B0C0D);
}

TEST_CASE("encoding is the inverse of decoding in every order and width") {
  for (const ByteOrder order : {ByteOrder::big, ByteOrder::little, ByteOrder::pdp}) {
    for (const std::size_t width : {1U, 2U, 4U, 8U}) {
      std::vector<std::byte> bytes(width);
      const std::uint64_t value = 0x1122334455667788 >> (64 - 8 * width);
      encode_unsigned(bytes, value, order);
      CHECK(decode_unsigned(bytes, order) == value);
    }
  }
}

TEST_CASE("a structure that is cut short reads as zero behind the cut and says so") {
  auto bytes = test::hex_text(kSampleBytes, "sample");
  bytes.resize(33);
  const auto record = test::view_of(bytes).record<kSample>(0, ByteOrder::big);
  CHECK_FALSE(record.complete());
  CHECK(record.present() == 33);
  CHECK(record.sub<"pairs">(0).get<"first">() == 7);
  CHECK(record.get<"large">() == 0);
}

TEST_CASE("a copied record owns its bytes") {
  Record<kSample> copy;
  {
    const auto record = sample(ByteOrder::big);
    copy = record;
  }
  CHECK(copy.get<"odd">() == 0x010203);
  CHECK(copy.keep("second").role == "second");
}

TEST_CASE("writers and readers of one table agree") {
  std::vector<std::byte> bytes(kSample.bytes);
  FieldWriter<kSample> writer(bytes.data(), ByteOrder::big);
  writer.set<"odd">(0x010203).set<"twice">(0x0A0B0C0D).set_text<"words">("abc", ' ');
  writer.sub<"pairs">(1).set<"first">(99);
  const auto record = test::view_of(bytes).record<kSample>(0, ByteOrder::big);
  CHECK(record.get<"odd">() == 0x010203);
  CHECK(record.get<"twice">() == record.big_half<"twice">());
  CHECK(record.text<"words">() == "abc");
  CHECK(record.sub<"pairs">(1).get<"first">() == 99);
}

TEST_CASE("names of values come from the table") {
  CHECK(name_of(kSample.find("small")->names, 2) == "green");
  CHECK(name_of(kSample.find("small")->names, 9, "unknown") == "unknown");
  CHECK(kSample.find("nothing") == nullptr);
}

TEST_CASE("a view never reaches outside its parent, whatever is asked of it") {
  const View whole = test::view_of(std::vector<std::byte>(100, std::byte{7}));
  const View part = whole.sub(90, 50);
  CHECK(part.start() == 90);
  CHECK(part.bytes() == 10);
  CHECK(whole.sub(kLargest, kLargest).bytes() == 0);
  CHECK(part.sub(5, kLargest).bytes() == 5);
  std::vector<std::byte> out(20, std::byte{1});
  CHECK(part.read(4, out) == 6);
  CHECK(out[5] == std::byte{7});
  CHECK(out[6] == std::byte{0});
  CHECK(part.read(kLargest, out) == 0);
  CHECK(part.read_vector(3, kLargest).size() == 7);
}

TEST_CASE("arithmetic on numbers from disks saturates instead of wrapping") {
  CHECK(saturating_add(kLargest, 1) == kLargest);
  CHECK(saturating_mul(std::uint64_t{1} << 40, std::uint64_t{1} << 40) == kLargest);
  CHECK(saturating_mul(kLargest, 0) == 0);
  CHECK(saturating_mul(3, 4, 5, 6) == 360);
  CHECK(divide_up(kLargest, 512) == (std::uint64_t{1} << 55));
  CHECK_FALSE(fits_within(kLargest, 2, kLargest));
  CHECK(fits_within(10, 0, 10));
  CHECK_FALSE(is_power_of_two_in(0, 0, 8));
}

}  // namespace
}  // namespace platter
