// Structures that are put together from shared runs of fields.
#include "core/field_list.h"

#include <catch2/catch.hpp>

#include "core/record.h"
#include "core/view.h"
#include "support/hexfile.h"
#include "support/survey.h"

namespace platter {
namespace {

constexpr FieldList kNameFields = {
    text("fname", 0, 2, "first name"),
    text("fpack", 2, 2, "second name"),
};
constexpr Field kBlocksField = u32("blocks", 0, "whole volume", unit::blocks);

// A list in a list moves with it.
consteval auto volume_fields(std::uint32_t word) {
  return FieldList{
      unsigned_field("first", 0, word, "first data", unit::bytes),
      at(word, kNameFields),
      at(word + 4, kBlocksField),
  };
}
constexpr FieldList kNarrowFields = volume_fields(2);
constexpr Structure kNarrow = structure("narrow", "this test", 10, kNarrowFields);
constexpr FieldList kWideFields = {
    u16("magic", 0, "before the rest"),
    at(2, volume_fields(8)),
};
constexpr Structure kWide = structure("wide", "this test", 18, kWideFields);

TEST_CASE("a shared run of fields is read where each structure has it") {
  // Typed by hand: first, names, blocks.
  const auto narrow = test::view_of(test::hex_text("01 02 \"abcd\" 00 00 00 07", "narrow"))
                          .record<kNarrow>(0, ByteOrder::big);
  CHECK(narrow.get<"first">() == 0x0102);
  CHECK(narrow.text<"fname">() == "ab");
  CHECK(narrow.text<"fpack">() == "cd");
  CHECK(narrow.get<"blocks">() == 7);

  const auto wide =
      test::view_of(test::hex_text("12 34 08 07 06 05 04 03 02 01 \"efgh\" 09 00 00 00", "wide"))
          .record<kWide>(0, ByteOrder::little);
  CHECK(wide.get<"magic">() == 0x3412);
  CHECK(wide.get<"first">() == 0x0102030405060708);
  CHECK(wide.text<"fpack">() == "gh");
  CHECK(wide.get<"blocks">() == 9);
  CHECK(wide.place_of<"blocks">() == 14);
}

TEST_CASE("what a shared field means comes with it") {
  const Field* blocks = kWide.find("blocks");
  REQUIRE(blocks != nullptr);
  CHECK(blocks->unit == unit::blocks);
  CHECK(blocks->meaning == "whole volume");
  CHECK(kWide.fields().size() == 5);
  CHECK(kNameFields.fields[0].offset == 0);  // moving makes a copy
}

}  // namespace
}  // namespace platter
