// ppc, pmax and SGI: what was spoiled, what the firmware was seen to do, what platter says.
#include <algorithm>
#include <stdexcept>

#include "boot/boot_case.h"
#include "boot/families.h"
#include "boot/spoil.h"
#include "writers/apm_writer.h"
#include "writers/sgi_writer.h"

namespace platter::test {
namespace {

// Puts another text of the same length in the place of the first one.
void replace(Bytes& image, std::string_view what, std::string_view with) {
  const std::string_view text(reinterpret_cast<const char*>(image.data()), image.size());
  const std::size_t at = text.find(what);
  if (at == std::string_view::npos || what.size() != with.size()) {
    throw std::logic_error("cannot be replaced: " + std::string(what));
  }
  std::ranges::transform(with, image.begin() + static_cast<std::ptrdiff_t>(at),
                         [](char c) { return static_cast<std::byte>(c); });
}

}  // namespace

using namespace family;  // NOLINT(google-build-using-namespace): the rows below read better

std::span<const BootCase> ppc_and_mips_boot_cases() {
  constexpr bool kQuick = true;
  static const BootCase kCases[] = {
      {"apm", apm_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"apm-driver-magic", apm_disk, "driver-map", Verdict::incomplete, Seen::refuses, false,
       "4552 at byte 0 is zero",
       [](Bytes& image) { big<label::kApmDriverMap>(image).set<"signature">(0); }},
      {"apm-old-map", apm_disk, "start-offered", Verdict::none, Seen::refuses, false,
       "5453 in place of 504D on both entries",
       [](Bytes& image) {
         for (const std::size_t i : {0, 1})
           apm_entry(image, i).set<"signature">(0x5453);
       }},
      {"apm-boot-size", apm_disk, "boot-code-size", Verdict::incomplete, Seen::refuses, kQuick,
       "length 0 of the start-up code",
       [](Bytes& image) { apm_entry(image, 1).set<"boot_bytes">(0); }},
      {"apm-code-sum", apm_disk, "boot-code-checksum", Verdict::ready, Seen::boots, false,
       "the checksum of the start-up code",
       [](Bytes& image) { apm_entry(image, 1).set<"boot_checksum">(0x1234); }},
      {"apm-status", apm_disk, "", Verdict::ready, Seen::boots, false,
       "no bit for start-up code in the status; the type says Bootstrap",
       [](Bytes& image) { apm_entry(image, 1).set<"status">(0x33); }},
      {"apm-type-free", apm_disk, "", Verdict::ready, Seen::boots, false,
       "nothing; the type says Free, the status and the processor are right",
       [](Bytes& image) { apm_entry(image, 1).set_text<"type">(fixtures::apm_type("Free")); }},
      {"apm-free-status", apm_disk, "boot-slice-status", Verdict::incomplete, Seen::refuses, false,
       "no bit for start-up code in the status; the type says Free",
       [](Bytes& image) {
         apm_entry(image, 1).set_text<"type">(fixtures::apm_type("Free")).set<"status">(0x33);
       }},
      {"apm-free-processor", apm_disk, "start-offered", Verdict::none, Seen::refuses, false,
       "the processor is 68000; the type says Free",
       [](Bytes& image) {
         apm_entry(image, 1)
             .set_text<"type">(fixtures::apm_type("Free"))
             .set_text<"processor">("68000");
       }},
      {"apm-no-code", apm_disk, "boot-code-not-empty", Verdict::incomplete, Seen::starts, false,
       "the start-up code is zero",
       [](Bytes& image) { wipe(image, kApmBootFirst * kBlock, kBlock); }},
      {"chrp", chrp_disc, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"chrp-lower-case", chrp_disc, "", Verdict::ready, Seen::boots, false,
       "nothing; the marker is in small letters",
       [](Bytes& image) { replace(image, "<CHRP-BOOT>", "<chrp-boot>"); }},
      {"chrp-marker", chrp_disc, "boot-script-element", Verdict::incomplete, Seen::refuses, kQuick,
       "a blank in front of the marker of the boot script",
       [](Bytes& image) { replace(image, "<CHRP-BOOT>\n", " <CHRP-BOOT>"); }},
      {"chrp-no-script", chrp_disc, "boot-script-commands", Verdict::incomplete, Seen::refuses,
       false, "no boot script element in bootinfo.txt",
       [](Bytes& image) { replace(image, "<BOOT-SCRIPT>", "<BOOT-SCRAPS>"); }},
      {"chrp-no-file", chrp_disc, "boot-code-size", Verdict::incomplete, Seen::refuses, false,
       "the file is called BOOTINFX.TXT",
       [](Bytes& image) { replace(image, "BOOTINFO.TXT", "BOOTINFX.TXT"); }},
      {"chrp-no-map", chrp_disc, "", Verdict::ready, Seen::refuses, false, "no APM on the disc",
       [](Bytes& image) { wipe(image, 0, 3 * kBlock); }},
      {"prep", prep_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"prep-no-signature", prep_disk, "boot-signature", Verdict::incomplete, Seen::refuses, kQuick,
       "55 AA at byte 510 is zero", [](Bytes& image) { mbr(image).set<"signature">(0); }},
      {"prep-type-6", prep_disk, "prep-slice", Verdict::incomplete, Seen::boots, false,
       "type 06 in place of 41", [](Bytes& image) { mbr(image).sub<"entry">(0).set<"type">(6); }},
      {"prep-type-0", prep_disk, "prep-slice", Verdict::none, Seen::refuses, false,
       "type 00 in place of 41", [](Bytes& image) { mbr(image).sub<"entry">(0).set<"type">(0); }},
      {"prep-not-active", prep_disk, "prep-slice-active", Verdict::ready, Seen::boots, false,
       "the slice is not active", [](Bytes& image) { mbr(image).sub<"entry">(0).set<"flag">(0); }},
      {"prep-third", prep_disk, "", Verdict::ready, Seen::refuses, false,
       "nothing; the slice is the third of the table",
       [](Bytes& image) {
         const auto first = mbr(image).sub<"entry">(0).raw<"flag">().data();
         std::swap_ranges(first, first + label::kMbrEntry.bytes,
                          first + 2 * label::kMbrEntry.bytes);
       }},
      {"prep-length", prep_disk, "load-length", Verdict::incomplete, Seen::refuses, false,
       "length 0 of the load image", [](Bytes& image) { prep(image).set<"length">(0); }},
      {"prep-entry-0", prep_disk, "entry-offset", Verdict::incomplete, Seen::starts, false,
       "entry 0", [](Bytes& image) { prep(image).set<"entry">(0); }},
      {"prep-big-endian", prep_disk, "load-length", Verdict::incomplete, Seen::starts, false,
       "entry and length are big-endian",
       [](Bytes& image) {
         for (const auto field : {prep(image).raw<"entry">(), prep(image).raw<"length">()}) {
           std::ranges::reverse(field);
         }
       }},
      {"pmax", pmax_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"pmax-no-magic", pmax_disk, "sector-magic", Verdict::incomplete, Seen::boots, kQuick,
       "0002757A at byte 8 is zero", [](Bytes& image) { pmax(image).set<"magic">(0); }},
      {"pmax-load-0", pmax_disk, "load-address", Verdict::incomplete, Seen::refuses, kQuick,
       "load address 0", [](Bytes& image) { pmax(image).set<"load">(0); }},
      {"pmax-mode-1", pmax_disk, "", Verdict::ready, Seen::boots, false,
       "nothing; mode 1, a list of extents", [](Bytes& image) { pmax(image).set<"mode">(1); }},
      {"pmax-no-extent", pmax_disk, "map-pieces", Verdict::incomplete, Seen::starts, false,
       "the list of extents is empty",
       [](Bytes& image) { pmax(image).sub<"extent">(0).set<"blocks">(0); }},
      {"pmax-extent-beyond", pmax_disk, "program-present", Verdict::incomplete, Seen::starts, false,
       "the extent lies past the end of the disk",
       [](Bytes& image) { pmax(image).sub<"extent">(0).set<"first">(0x100000); }},
      {"sgi", sgi_disk, "", Verdict::ready, Seen::boots, kQuick, "nothing"},
      {"sgi-no-magic", sgi_disk, "volume-header-magic", Verdict::incomplete, Seen::refuses, kQuick,
       "0BE5A941 at byte 0 is zero",
       [](Bytes& image) {
         sgi(image).set<"magic">(0);
         fixtures::seal_sgi_label(image);
       }},
      {"sgi-checksum", sgi_disk, "volume-header-checksum", Verdict::incomplete, Seen::boots, kQuick,
       "a field of the header, so that its sum is not 0",
       [](Bytes& image) { sgi(image).set<"swap">(2); }},
      {"sgi-no-sash", sgi_disk, "shell-present", Verdict::incomplete, Seen::refuses, false,
       "the file in the volume directory has another name",
       [](Bytes& image) {
         sgi(image).sub<"file">(0).set_text<"name">("other");
         fixtures::seal_sgi_label(image);
       }},
      {"sgi-sash-at-0", sgi_disk, "shell-present", Verdict::incomplete, Seen::refuses, false,
       "sash begins at block 0",
       [](Bytes& image) {
         sgi(image).sub<"file">(0).set<"first">(0);
         fixtures::seal_sgi_label(image);
       }},
      {"sgi-sash-short", sgi_disk, "", Verdict::ready, Seen::refuses, false, "sash has 256 bytes",
       [](Bytes& image) {
         sgi(image).sub<"file">(0).set<"length">(256);
         fixtures::seal_sgi_label(image);
       }},
      {"sgi-no-header-slice", sgi_disk, "header-slice", Verdict::incomplete, Seen::boots, false,
       "slice 8, the volume header, has no blocks",
       [](Bytes& image) {
         sgi(image).sub<"slice">(8).set<"blocks">(0);
         fixtures::seal_sgi_label(image);
       }},
  };
  return kCases;
}

}  // namespace platter::test
