// i386: what was spoiled, what SeaBIOS was seen to do, what platter says.
#include "boot/boot_case.h"
#include "boot/families.h"
#include "boot/spoil.h"
#include "writers/mbr_writer.h"

namespace platter::test {

using namespace family;  // NOLINT(google-build-using-namespace): the rows below read better

std::span<const BootCase> pc_boot_cases() {
  constexpr bool kQuick = true;
  static const BootCase kCases[] = {
      {"i386", i386_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"i386-no-signature", i386_disk, "boot-signature", Verdict::incomplete, Seen::refuses, kQuick,
       "55 AA at byte 510 is zero", [](Bytes& image) { mbr(image).set<"signature">(0); }},
      {"i386-swapped-signature", i386_disk, "boot-signature", Verdict::incomplete, Seen::refuses,
       false, "AA 55 at byte 510 instead of 55 AA",
       [](Bytes& image) { mbr(image).set<"signature">(0x55AA); }},
      {"i386-cut", i386_disk, "boot-signature", Verdict::none, Seen::refuses, false,
       "the image ends after 510 bytes", [](Bytes& image) { image.resize(510); }},
      {"i386-sector", i386_disk, "", Verdict::ready, Seen::boots, false,
       "the image ends after the first sector", [](Bytes& image) { image.resize(kBlock); }},
      {"i386-not-active", i386_disk, "one-active-entry", Verdict::ready, Seen::boots, false,
       "no slice is active", [](Bytes& image) { mbr(image).sub<"entry">(0).set<"flag">(0); }},
      {"i386-empty-table", i386_disk, "", Verdict::ready, Seen::boots, false,
       "the partition table is empty",
       [](Bytes& image) { std::ranges::fill(mbr(image).raw<"entry">(), std::byte{0}); }},
      {"i386-no-code", i386_disk, "boot-code-present", Verdict::incomplete, Seen::starts, false,
       "the code area is zero",
       [](Bytes& image) { std::ranges::fill(mbr(image).raw<"boot_code">(), std::byte{0}); }},
      {"floppy", i386_floppy, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"floppy-no-signature", i386_floppy, "boot-signature", Verdict::none, Seen::refuses, false,
       "55 AA at byte 510 is zero", [](Bytes& image) { mbr(image).set<"signature">(0); }},

      {"eltorito", el_torito_none, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"eltorito-floppy", el_torito_floppy, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"eltorito-disk", el_torito_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"eltorito-moved-record", el_torito_none, "boot-record", Verdict::incomplete, Seen::refuses,
       false, "the boot record stands in block 18, the set terminator in block 17",
       [](Bytes& disc) {
         const std::size_t sector = filesystem::iso9660::kSectorBytes;
         const auto record = disc.begin() + static_cast<std::ptrdiff_t>(kElToritoRecordAt);
         std::swap_ranges(record, record + static_cast<std::ptrdiff_t>(sector),
                          record + static_cast<std::ptrdiff_t>(sector));
       }},
      {"eltorito-no-standard-id", el_torito_none, "boot-record", Verdict::incomplete, Seen::refuses,
       false, "CD001 in block 17 is XX001",
       [](Bytes& disc) { torito_record(disc).set_text<"standard_id">("XX001"); }},
      {"eltorito-other-system", el_torito_none, "boot-record-identifier", Verdict::incomplete,
       Seen::refuses, false, "another boot system in block 17",
       [](Bytes& disc) { torito_record(disc).set_text<"boot_system_id">("CORVID BOOT"); }},
      {"eltorito-longer-system", el_torito_none, "boot-record-identifier", Verdict::incomplete,
       Seen::refuses, false, "a digit behind the name of the boot system in block 17",
       [](Bytes& disc) {
         torito_record(disc).set_text<"boot_system_id">("EL TORITO SPECIFICATION1");
       }},
      {"eltorito-catalog-beyond", el_torito_none, "catalog-in-image", Verdict::incomplete,
       Seen::refuses, false, "the catalog's block lies past the end of the disc",
       [](Bytes& disc) { torito_record(disc).set<"catalog">(0x100000); }},
      {"eltorito-header-id", el_torito_none, "validation-header", Verdict::incomplete,
       Seen::refuses, false, "header id 0 in the validation entry",
       [](Bytes& disc) { validation_entry(disc).set<"header_id">(0); }},
      {"eltorito-platform", el_torito_none, "platform-i386", Verdict::incomplete, Seen::refuses,
       false, "platform 1 (ppc) in the validation entry",
       [](Bytes& disc) { validation_entry(disc).set<"platform">(1); }},
      {"eltorito-key", el_torito_none, "validation-key", Verdict::incomplete, Seen::refuses, kQuick,
       "the key bytes 55 AA of the catalog are zero",
       [](Bytes& disc) { validation_entry(disc).set<"key">(0); }},
      {"eltorito-checksum", el_torito_none, "validation-checksum", Verdict::incomplete, Seen::boots,
       kQuick, "the checksum of the validation entry",
       [](Bytes& disc) { validation_entry(disc).set<"checksum">(0x1234); }},
      {"eltorito-not-bootable", el_torito_none, "default-entry-bootable", Verdict::incomplete,
       Seen::refuses, false, "boot indicator 00 in the default entry",
       [](Bytes& disc) { default_entry(disc).set<"boot_indicator">(0); }},
      {"eltorito-media-7", el_torito_disk, "default-entry-media", Verdict::incomplete, Seen::boots,
       false, "the undefined medium 7 in the default entry",
       [](Bytes& disc) { default_entry(disc).set<"media">(7); }},
      {"eltorito-nothing-loaded", el_torito_none, "load-count-not-zero", Verdict::incomplete,
       Seen::starts, false, "0 blocks to be loaded",
       [](Bytes& disc) { default_entry(disc).set<"load_blocks">(0); }},
      {"eltorito-image-beyond", el_torito_none, "boot-image-inside", Verdict::incomplete,
       Seen::refuses, false, "the boot image lies past the end of the disc",
       [](Bytes& disc) { default_entry(disc).set<"image">(0x100000); }},
      {"eltorito-floppy-no-signature", el_torito_floppy, "emulated-boot-sector", Verdict::ready,
       Seen::boots, false, "55 AA in the emulated boot sector",
       [](Bytes& disc) {
         const std::size_t sector = filesystem::iso9660::kSectorBytes;
         const FieldReader<filesystem::iso9660::kCatalogEntry> entry(
             disc.data() + catalog_of(disc) + filesystem::iso9660::kCatalogEntryBytes,
             ByteOrder::little);
         little<label::kMbr>(disc, entry.get<"image">() * sector).set<"signature">(0);
       }},
      {"eltorito-no-volume", el_torito_none, "boot-record", Verdict::none, Seen::boots, false,
       "the volume descriptor in block 16 is zero",
       [](Bytes& disc) {
         const std::size_t sector = filesystem::iso9660::kSectorBytes;
         wipe(disc, filesystem::iso9660::kFirstDescriptor * sector, sector);
       }},
      {"eltorito-none", el_torito_none, "boot-record", Verdict::none, Seen::refuses, false,
       "no boot record; a boot sector with code in block 0 instead",
       [](Bytes& disc) {
         wipe(disc, kElToritoRecordAt, filesystem::iso9660::kSectorBytes);
         const Bytes sector = make_i386_floppy();
         put(disc, 0, Bytes(sector.begin(), sector.begin() + kBlock));
       }},
  };
  return kCases;
}

}  // namespace platter::test
