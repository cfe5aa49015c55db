// The tables against bytes typed from the standards' own layouts, and against their byte positions.
#include "filesystem/iso9660_structures.h"

#include <catch2/catch.hpp>

#include "core/record.h"
#include "filesystem/iso9660_susp.h"
#include "support/hexfile.h"

using namespace platter;
using namespace platter::filesystem::iso9660;
using platter::test::hex_text;

namespace {

template <const Structure& S>
FieldReader<S> reader(const std::vector<std::byte>& bytes, ByteOrder order = ByteOrder::little) {
  REQUIRE(bytes.size() >= S.bytes);
  return FieldReader<S>(bytes.data(), order);
}

// Byte position as ECMA-119 counts, from 1.
std::uint32_t position(const Structure& structure, std::string_view field) {
  const Field* found = structure.find(field);
  INFO(field);
  REQUIRE(found != nullptr);
  return found->offset + 1;
}

}  // namespace

TEST_CASE("the fields of a volume descriptor stand where ECMA-119 table 6 puts them") {
  const Structure& d = kVolumeDescriptor;
  CHECK(position(d, "type") == 1);
  CHECK(position(d, "standard_id") == 2);
  CHECK(position(d, "version") == 7);
  CHECK(position(d, "flags") == 8);
  CHECK(position(d, "system_id") == 9);
  CHECK(position(d, "volume_id") == 41);
  CHECK(position(d, "blocks") == 81);
  CHECK(position(d, "escape_sequences") == 89);
  CHECK(position(d, "set_size") == 121);
  CHECK(position(d, "sequence_number") == 125);
  CHECK(position(d, "block_bytes") == 129);
  CHECK(position(d, "path_table_bytes") == 133);
  CHECK(position(d, "path_table_l") == 141);
  CHECK(position(d, "optional_path_table_l") == 145);
  CHECK(position(d, "path_table_m") == 149);
  CHECK(position(d, "optional_path_table_m") == 153);
  CHECK(position(d, "root") == 157);
  CHECK(position(d, "volume_set_id") == 191);
  CHECK(position(d, "publisher_id") == 319);
  CHECK(position(d, "preparer_id") == 447);
  CHECK(position(d, "application_id") == 575);
  CHECK(position(d, "copyright_file") == 703);
  CHECK(position(d, "abstract_file") == 740);
  CHECK(position(d, "bibliographic_file") == 777);
  CHECK(position(d, "created") == 814);
  CHECK(position(d, "modified") == 831);
  CHECK(position(d, "expires") == 848);
  CHECK(position(d, "effective") == 865);
  CHECK(position(d, "structure_version") == 882);
  CHECK(position(d, "application_use") == 884);
}

TEST_CASE("the fields of the other descriptors stand where ECMA-119 8.2 and 8.6 put them") {
  CHECK(position(kBootRecord, "boot_system_id") == 8);
  CHECK(position(kBootRecord, "boot_id") == 40);
  CHECK(position(kBootRecord, "system_use") == 72);
  CHECK(position(kPartitionDescriptor, "system_id") == 9);
  CHECK(position(kPartitionDescriptor, "partition_id") == 41);
  CHECK(position(kPartitionDescriptor, "extent") == 73);
  CHECK(position(kPartitionDescriptor, "blocks") == 81);
  CHECK(position(kPartitionDescriptor, "system_use") == 89);
  // El Torito 1.0, figure 7: the absolute pointer to the catalog is at offset 47h
  CHECK(kElToritoRecord.find("catalog")->offset == 0x47);
}

TEST_CASE("a directory record is read as its bytes say") {
  // The root record of a volume that a usual mastering library made.
  const auto bytes = hex_text(
      "22 00 14 00 00 00 00 00 00 14 00 08 00 00 00 00 08 00 7E 0B 19 0A 0A 30 00 02 00 00 01 00 "
      "00 "
      "01 01 00",
      "root record");
  const auto record = reader<kDirectoryRecord>(bytes);
  CHECK(record.get<"length">() == 34);
  CHECK(record.get<"attribute_blocks">() == 0);
  CHECK(record.get<"extent">() == 20);
  CHECK(record.big_half<"extent">() == 20);
  CHECK(record.get<"bytes">() == 2048);
  CHECK(record.get<"flags">() == kDirectoryFlag);
  CHECK(record.get<"unit_blocks">() == 0);
  CHECK(record.get<"gap_blocks">() == 0);
  CHECK(record.get<"sequence_number">() == 1);
  CHECK(record.get<"identifier_length">() == 1);
  const auto recorded = record.sub<"recorded">();
  CHECK(recorded.get<"year">() == 126);
  CHECK(recorded.get<"month">() == 11);
  CHECK(recorded.get<"day">() == 25);
  CHECK(recorded.get<"hour">() == 10);
  CHECK(recorded.get<"minute">() == 10);
  CHECK(recorded.get<"second">() == 48);
  CHECK(recorded.get<"zone">() == 0);
}

TEST_CASE("path table records are read in both orders") {
  const auto l = hex_text("03 00 16 00 00 00 01 00", "table L");
  const auto m = hex_text("03 00 00 00 00 16 00 01", "table M");
  for (const auto& [bytes, order] :
       {std::pair(l, ByteOrder::little), std::pair(m, ByteOrder::big)}) {
    const auto record = reader<kPathRecord>(bytes, order);
    CHECK(record.get<"identifier_length">() == 3);
    CHECK(record.get<"attribute_blocks">() == 0);
    CHECK(record.get<"extent">() == 22);
    CHECK(record.get<"parent">() == 1);
  }
}

TEST_CASE("both halves of path table size and places are read") {
  auto bytes = hex_text(
      "@132 16 00 00 00 00 00 00 16 17 00 00 00 00 00 00 00 00 00 00 18 00 00 00 00 size 2048",
      "descriptor");
  const auto d = reader<kVolumeDescriptor>(bytes);
  CHECK(d.get<"path_table_bytes">() == 22);
  CHECK(d.big_half<"path_table_bytes">() == 22);
  CHECK(d.get<"path_table_l">() == 23);
  CHECK(d.get<"path_table_m">() == 24);
}

TEST_CASE("a boot catalog's entries are read") {
  const auto bytes =
      hex_text("01 *27 00 AA 55 55 AA 88 02 00 00 00 00 01 00 22 00 00 00 size 64", "catalog");
  const auto validation = reader<kCatalogValidation>(bytes);
  CHECK(validation.get<"header_id">() == 1);
  CHECK(validation.get<"checksum">() == 0x55AA);
  CHECK(validation.get<"key">() == kCatalogKey);
  const FieldReader<kCatalogEntry> entry(bytes.data() + kCatalogEntryBytes, ByteOrder::little);
  CHECK(entry.get<"boot_indicator">() == 0x88);
  CHECK(name_of(kBootMedia, entry.get<"media">()) == "1.44 MB diskette");
  CHECK(entry.get<"load_blocks">() == 1);
  CHECK(entry.get<"image">() == 34);
}

TEST_CASE("system use entries are read") {
  const auto sp = hex_text("53 50 07 01 BE EF 00", "SP");
  CHECK(reader<kSuspStart>(sp).text<"signature">() == "SP");
  CHECK(reader<kSuspStart>(sp).get<"check">() == kSuspCheck);
  CHECK(reader<kSuspStart>(sp).get<"skip">() == 0);

  const auto ce = hex_text(
      "43 45 1C 01 15 00 00 00 00 00 00 15 04 00 00 00 00 00 00 04 ED 00 00 00 00 00 00 ED", "CE");
  CHECK(reader<kSuspContinuation>(ce).get<"length">() == 28);
  CHECK(reader<kSuspContinuation>(ce).get<"extent">() == 21);
  CHECK(reader<kSuspContinuation>(ce).get<"offset">() == 4);
  CHECK(reader<kSuspContinuation>(ce).get<"bytes">() == 237);

  const auto px = hex_text(
      "50 58 24 01 A4 81 00 00 00 00 81 A4 01 00 00 00 00 00 00 01 07 00 00 00 00 00 00 07 "
      "09 00 00 00 00 00 00 09",
      "PX");
  CHECK(reader<kRockMode>(px).get<"mode">() == 0100644);
  CHECK(reader<kRockMode>(px).get<"links">() == 1);
  CHECK(reader<kRockMode>(px).get<"uid">() == 7);
  CHECK(reader<kRockMode>(px).get<"gid">() == 9);
}
