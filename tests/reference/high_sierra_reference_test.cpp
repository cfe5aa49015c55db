// High Sierra volumes against others. No maker and hardly a reader is left: the structure tables
// are compared with the Linux header iso_fs.h, and libblkid has to recognise what we write.
#include <linux/iso_fs.h>

#include <cstddef>
#include <map>
#include <string>

#include <catch2/catch.hpp>

#include "filesystem/high_sierra_structures.h"
#include "filesystem/iso9660_structures.h"
#include "formats.h"
#include "reference/blkid_probe.h"
#include "support/hexfile.h"
#include "support/survey.h"
#include "writers/iso9660_sketch.h"

namespace platter::test {
namespace {

namespace hs = filesystem::high_sierra;

TEST_CASE("the High Sierra tables agree with linux/iso_fs.h") {
  struct Place {
    const char* field;
    std::size_t offset;
    std::size_t bytes;
  };
#define PLACE(name, member)                                                              \
  Place {                                                                                \
    name, offsetof(hs_primary_descriptor, member), sizeof(hs_primary_descriptor::member) \
  }
  const Place places[] = {PLACE("block", foo),
                          PLACE("type", type),
                          PLACE("standard_id", id),
                          PLACE("version", version),
                          PLACE("system_id", system_id),
                          PLACE("volume_id", volume_id),
                          PLACE("blocks", volume_space_size),
                          PLACE("set_size", volume_set_size),
                          PLACE("sequence_number", volume_sequence_number),
                          PLACE("block_bytes", logical_block_size),
                          PLACE("path_table_bytes", path_table_size)};
#undef PLACE
  for (const Place& place : places) {
    INFO(place.field);
    const Field* field = hs::kVolumeDescriptor.find(place.field);
    REQUIRE(field != nullptr);
    CHECK(field->offset == place.offset);
    CHECK(field->bytes() == place.bytes);
  }
  CHECK(hs::kVolumeDescriptor.find("path_table_l")->offset ==
        offsetof(hs_primary_descriptor, type_l_path_table));
  CHECK(hs::kVolumeDescriptor.find("root")->offset ==
        offsetof(hs_primary_descriptor, root_directory_record));
  // "high sierra is identical to iso, except that the date is only 6 bytes, and there is an extra
  // reserved byte after the flags": the fields on both sides of these are where ISO 9660 has them.
  for (const char* same : {"length", "attribute_blocks", "extent", "bytes", "recorded",
                           "unit_blocks", "gap_blocks", "sequence_number", "identifier_length"}) {
    INFO(same);
    CHECK(hs::kDirectoryRecord.find(same)->offset ==
          filesystem::iso9660::kDirectoryRecord.find(same)->offset);
  }
  CHECK(hs::kDirectoryRecord.find("flags")->offset == offsetof(iso_directory_record, flags) - 1);
}

TEST_CASE("libblkid takes our High Sierra volumes for such") {
  const TemporaryDirectory scratch;
  fixtures::SketchOptions options;
  options.high_sierra = true;
  options.volume_id = "SIERRA_1";
  fixtures::IsoSketch sketch(options);
  sketch.root({{.identifier = "A.TXT;1", .block = 30, .bytes = 5}});
  const std::map<std::string, std::vector<std::byte>> images = {
      {"SIERRA_1", sketch.build()}, {"GANNET_HS", hex_fixture("filesystem/high-sierra/good.hex")}};
  for (const auto& [name, bytes] : images) {
    const std::string image = scratch.file(name);
    write_file(image, bytes);
    BlkidProbe probe(image);
    REQUIRE(probe.safe());
    CHECK(probe.value("TYPE") == "iso9660");
    CHECK(probe.value("VERSION") == "High Sierra");
    CHECK(probe.value("LABEL") == name);
    const Survey survey = survey_bytes(bytes);
    CHECK(fact(survey, "high-sierra", "volume_name") == probe.value("LABEL"));
  }
}

}  // namespace
}  // namespace platter::test
