// hppa, sparc and sparc64: what was spoiled, what the firmware was seen to do, what platter says.
#include "boot/boot_case.h"
#include "boot/families.h"
#include "boot/spoil.h"
#include "writers/sun_writer.h"

namespace platter::test {
namespace {

void no_boot_block(Bytes& image) {
  wipe(image, (kSunSliceFirst + 1) * kBlock, kBlock);
}

// One sector behind the last in which firmware looks.
void boot_block_too_far(Bytes& image) {
  move(image, (kSunSliceFirst + 1) * kBlock, (kSunSliceFirst + 16) * kBlock, kBlock);
}

template <std::size_t Slice>
void slice_undefined(Bytes& image) {
  sun(image).template sub<"map">(Slice).template set<"blocks">(0);
  fixtures::seal_sun_label(image);
}

// The sum stays right, so that nothing else is wrong.
void no_sun_magic(Bytes& image) {
  sun(image).set<"magic">(0);
  fixtures::seal_sun_label(image);
}

void wrong_sun_checksum(Bytes& image) {
  sun(image).set<"intrlv">(2);
}

// Slice a begins where the disk begins, so that its boot block is that of the whole disk, too.
void slice_a_at_0(Bytes& image) {
  move(image, (kSunSliceFirst + 1) * kBlock, kBlock, kBlock);
  sun(image).sub<"map">(0).set<"start">(0);
  fixtures::seal_sun_label(image);
}

void ipl_at_2200(Bytes& image) {
  constexpr std::size_t kPlace = 0x2200;
  move(image, kIplStart, kPlace, kIplBytes);
  lif(image).set<"ipl_start">(kPlace);
}

}  // namespace

using namespace family;  // NOLINT(google-build-using-namespace): the rows below read better

std::span<const BootCase> workstation_boot_cases() {
  constexpr bool kQuick = true;
  static const BootCase kCases[] = {
      {"hppa", hppa_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"hppa-no-magic", hppa_disk, "volume-magic", Verdict::incomplete, Seen::refuses, kQuick,
       "8000 at byte 0 is zero", [](Bytes& image) { lif(image).set<"id">(0); }},
      {"hppa-sum", hppa_disk, "ipl-checksum", Verdict::incomplete, Seen::boots, kQuick,
       "a word of the IPL, so that its sum is not 0",
       [](Bytes& image) { image[kIplStart + kIplBytes - 8] = std::byte{1}; }},
      {"hppa-ipl-at-0", hppa_disk, "ipl-start", Verdict::incomplete, Seen::starts, false,
       "IPL address 0", [](Bytes& image) { lif(image).set<"ipl_start">(0); }},
      {"hppa-ipl-empty", hppa_disk, "ipl-size", Verdict::incomplete, Seen::starts, false,
       "IPL size 0", [](Bytes& image) { lif(image).set<"ipl_bytes">(0); }},
      {"hppa-ipl-beyond", hppa_disk, "ipl-present", Verdict::incomplete, Seen::starts, false,
       "the IPL lies past the end of the disk",
       [](Bytes& image) { lif(image).set<"ipl_start">(0x10000000); }},
      {"hppa-ipl-large", hppa_disk, "ipl-limit", Verdict::incomplete, Seen::boots, false,
       "IPL size 512 KiB, above the limit of 256 KiB",
       [](Bytes& image) { lif(image).set<"ipl_bytes">(0x80000); }},
      {"hppa-ipl-odd-size", hppa_disk, "ipl-size", Verdict::incomplete, Seen::boots, false,
       "IPL size 2000 bytes, no multiple of 2 KiB",
       [](Bytes& image) { lif(image).set<"ipl_bytes">(2000); }},
      {"hppa-entry-beyond", hppa_disk, "ipl-entry", Verdict::incomplete, Seen::starts, false,
       "the entry lies behind the IPL",
       [](Bytes& image) { lif(image).set<"ipl_entry">(kIplBytes + 4096); }},
      {"hppa-entry-odd", hppa_disk, "ipl-entry", Verdict::incomplete, Seen::boots, false,
       "entry 2, not at a word", [](Bytes& image) { lif(image).set<"ipl_entry">(2); }},
      {"hppa-no-directory", hppa_disk, "", Verdict::ready, Seen::boots, false,
       "the LIF directory is zero", [](Bytes& image) { wipe(image, 2048, 256); }},
      {"hppa-unaligned", hppa_disk, "ipl-start", Verdict::incomplete, Seen::boots, false,
       "IPL address 0x2200, no multiple of 2 KiB", ipl_at_2200},
      {"hppa-disc", hppa_disc, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"hppa-disc-no-magic", hppa_disc, "volume-magic", Verdict::incomplete, Seen::refuses, false,
       "8000 at byte 0 is zero", [](Bytes& image) { lif(image).set<"id">(0); }},
      {"hppa-disc-unaligned", hppa_disc, "ipl-start", Verdict::incomplete, Seen::starts, false,
       "IPL address 0x2200, no multiple of 2 KiB", ipl_at_2200},
      {"sparc", sparc_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"sparc-no-magic", sparc_disk, "label-magic", Verdict::incomplete, Seen::refuses, kQuick,
       "DABE at byte 508 is zero, the sum right", no_sun_magic},
      {"sparc-checksum", sparc_disk, "label-checksum", Verdict::incomplete, Seen::refuses, kQuick,
       "a field of the label, so that its sum is not 0", wrong_sun_checksum},
      {"sparc-no-boot-block", sparc_disk, "boot-block-present", Verdict::incomplete, Seen::refuses,
       false, "sector 1 of slice a is zero", no_boot_block},
      {"sparc-boot-block-far", sparc_disk, "boot-block-present", Verdict::incomplete, Seen::refuses,
       false, "the boot block stands in sector 16 of slice a", boot_block_too_far},
      {"sparc-aout-magic", sparc_disk, "boot-block-format", Verdict::incomplete, Seen::refuses,
       false, "a.out magic 0411", [](Bytes& image) { aout(image).set<"midmag">(0x01030109); }},
      {"sparc-aout-machine", sparc_disk, "boot-block-format", Verdict::incomplete, Seen::boots,
       false, "machine 0 in the a.out header",
       [](Bytes& image) { aout(image).set<"midmag">(0x01000107); }},
      {"sparc-aout-size", sparc_disk, "boot-block-size", Verdict::ready, Seen::boots, false,
       "a.out text size of 16 MiB", [](Bytes& image) { aout(image).set<"text">(0x1000000); }},
      {"sparc-no-slice-a", sparc_disk, "boot-slice", Verdict::incomplete, Seen::refuses, false,
       "slice a has no blocks", slice_undefined<0>},
      {"sparc-a-at-0", sparc_disk, "", Verdict::ready, Seen::boots, false,
       "nothing; slice a begins at cylinder 0", slice_a_at_0},
      {"sparc-a-at-0-no-magic", sparc_disk, "label-magic", Verdict::incomplete, Seen::boots, false,
       "DABE at byte 508 is zero; slice a begins at cylinder 0",
       [](Bytes& image) {
         slice_a_at_0(image);
         no_sun_magic(image);
       }},
      {"sparc-disc", sparc_disc, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"sparc-disc-no-magic", sparc_disc, "label-magic", Verdict::incomplete, Seen::refuses, false,
       "DABE at byte 508 is zero, the sum right", no_sun_magic},
      {"sparc-disc-no-slice-d", sparc_disc, "boot-slice", Verdict::incomplete, Seen::refuses, false,
       "slice d has no blocks", slice_undefined<3>},
      {"sparc64", sparc64_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"sparc64-no-magic", sparc64_disk, "label-magic", Verdict::incomplete, Seen::refuses, kQuick,
       "DABE at byte 508 is zero, the sum right", no_sun_magic},
      {"sparc64-checksum", sparc64_disk, "label-checksum", Verdict::incomplete, Seen::refuses,
       false, "a field of the label, so that its sum is not 0", wrong_sun_checksum},
      {"sparc64-no-boot-block", sparc64_disk, "boot-block-present", Verdict::incomplete,
       Seen::refuses, false, "sector 1 of slice a is zero", no_boot_block},
      {"sparc64-boot-block-far", sparc64_disk, "boot-block-present", Verdict::incomplete,
       Seen::refuses, false, "the boot block stands in sector 16 of slice a", boot_block_too_far},
      {"sparc64-no-slice-a", sparc64_disk, "boot-slice", Verdict::incomplete, Seen::refuses, false,
       "slice a has no blocks", slice_undefined<0>},
      {"sparc64-version1", sparc64_disk, "", Verdict::ready, Seen::boots, false,
       "nothing; the program begins with FD (version1)",
       [](Bytes& image) { fcode(image).set<"start">(0xFD); }},
      {"sparc64-start-f4", sparc64_disk, "boot-block-format", Verdict::incomplete, Seen::refuses,
       false, "the program begins with F4", [](Bytes& image) { fcode(image).set<"start">(0xF4); }},
      {"sparc64-start-f0", sparc64_disk, "", Verdict::ready, Seen::unsteady, false,
       "the program begins with F0 (start0)",
       [](Bytes& image) { fcode(image).set<"start">(0xF0); }},
      {"sparc64-fcode-sum", sparc64_disk, "fcode-checksum", Verdict::incomplete, Seen::boots, false,
       "the checksum of the FCode program", [](Bytes& image) { fcode(image).set<"checksum">(0); }},
      {"sparc64-fcode-empty", sparc64_disk, "fcode-length", Verdict::incomplete, Seen::refuses,
       false, "length 0 of the FCode program", [](Bytes& image) { fcode(image).set<"length">(0); }},
      {"sparc64-fcode-long", sparc64_disk, "boot-block-format", Verdict::incomplete, Seen::boots,
       false, "length 16 MiB of the FCode program",
       [](Bytes& image) { fcode(image).set<"length">(0x1000000); }},
      {"sparc64-disc", sparc64_disc, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"sparc64-disc-no-magic", sparc64_disc, "label-magic", Verdict::incomplete, Seen::refuses,
       false, "DABE at byte 508 is zero, the sum right", no_sun_magic},
      {"sparc64-disc-no-slice-f", sparc64_disc, "boot-slice", Verdict::incomplete, Seen::refuses,
       false, "slice f has no blocks", slice_undefined<5>},
  };
  return kCases;
}

}  // namespace platter::test
