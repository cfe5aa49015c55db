// PC firmware: the first sector of a disk, or the default entry of an El Torito catalog.
#include <utility>

#include <fmt/format.h>

#include "boot/el_torito_catalog.h"
#include "boot/pc_boot_sector.h"
#include "boot/prep_boot.h"
#include "label/mbr_label.h"
#include "machine/i386_optical.h"
#include "machine/judging.h"
#include "machine/kept_record.h"

namespace platter::machine {
namespace {

using Mbr = Record<label::kMbr>;

constexpr Condition kSignature{"boot-signature", "the first sector ends in 55 AA",
                               "NetBSD sys/sys/bootblock.h", true, true};
constexpr Condition kCode{"boot-code-present", "the first sector holds code that is not all zero",
                          "common practice, no source"};
constexpr Condition kNoFile{"no-program-file",
                            "the first sector is no head of a program or kernel file",
                            "Linux Documentation/arch/x86/boot.rst, real-mode kernel header"};
constexpr Condition kPlausible{
    "boot-code-plausible",
    "the sector is laid out as boot sectors are: with a table, parameters, text or padding",
    "common practice, no source"};
constexpr Condition kLayout{"table-or-parameters",
                            "the sector has a partition table or the parameters of a FAT volume",
                            "NetBSD sys/sys/bootblock.h; ECMA-107 clause 9", false, true};
constexpr Condition kActive{"one-active-entry", "exactly one entry of the table is active",
                            "NetBSD sys/sys/bootblock.h; common practice", false};
constexpr Condition kActiveSector{"active-slice-boot-sector",
                                  "the active slice begins with a boot sector of its own",
                                  "common practice, no source", false};

const Layer* partition_table(const BootSubject& subject) {
  return first_layer(subject.layers, LayerKind::label, "mbr",
                     [&](const Layer& layer) { return layer.start == subject.image.start(); });
}

// A table that makes sense entry by entry; it tells a PC's disk whose signature was lost.
bool is_sensible_table(const Mbr& mbr, const View& image) {
  const std::uint64_t sectors = image.bytes() / boot::kPcSector;
  std::uint64_t end = 1;
  bool any = false;
  for (std::size_t i = 0; i < Mbr::count_of<"entry">(); ++i) {
    const auto entry = mbr.sub<"entry">(i);
    const std::uint64_t type = entry.get<"type">();
    if ((entry.get<"flag">() & 0x7FU) != 0) return false;
    if (type == 0 && entry.get<"sectors">() == 0) continue;
    const std::uint64_t first = entry.get<"first">();
    if (name_of(label::kMbrTypes, type).empty() || entry.get<"sectors">() == 0 || first < end ||
        first >= sectors) {
      return false;
    }
    end = first + entry.get<"sectors">();
    any = true;
  }
  return any;
}

// Floppies for PReP have entry and length of their image in both of the first two sectors.
bool is_prep_head(const View& image, const boot::PcBootSector& sector) {
  using Head = FieldReader<boot::kPrepHeader>;
  constexpr std::uint64_t kHeadBytes = Head::offset_of<"flags">();
  return sector.code_bytes != 0 && sector.entry + sector.code_bytes <= kHeadBytes &&
         image.number(0, kHeadBytes, ByteOrder::little) ==
             image.number(boot::kPrepHeaderPlace, kHeadBytes, ByteOrder::little);
}

void judge_active(Judging& judging, const View& image, const Mbr& mbr) {
  std::size_t active = 0;
  std::uint32_t last = 0;
  for (std::uint32_t i = 0; i < Mbr::count_of<"entry">(); ++i) {
    if (mbr.sub<"entry">(i).get<"flag">() != 0x80) continue;
    ++active;
    last = i;
  }
  const bool one = judging.add(
      kActive, active == 1, mbr.place_of<"entry">(),
      Mbr::count_of<"entry">() * label::kMbrEntry.bytes, fmt::format("{} active entries", active),
      "mark the slice to start from, and no other, as active; some loaders do without");
  if (!one) return;
  const std::uint64_t offset =
      saturating_mul(mbr.sub<"entry">(last).get<"first">(), boot::kPcSector);
  const auto sector = boot::examine_boot_sector(image, offset, boot::kPcSector - 2);
  judging.add(kActiveSector, sector.is_signed() && sector.code_bytes != 0, image.start() + offset,
              boot::kPcSector,
              offset >= image.bytes()
                  ? fmt::format("slice {} starts past the end of the image", last + 1)
                  : fmt::format("slice {} begins with a sector that ends in 0x{:04X} and holds {} "
                                "bytes of code",
                                last + 1, sector.signature, sector.code_bytes),
              "install the slice's boot sector; loaders that read files do without");
}

BootVerdict judge_disk(const BootSubject& subject) {
  const View& image = subject.image;
  Judging judging("i386", BootAs::disk);
  const bool table = partition_table(subject) != nullptr;
  const auto mbr = image.record<label::kMbr>(0, ByteOrder::little);
  const std::uint64_t code_end =
      table ? Mbr::offset_of<"disk_id">() : Mbr::offset_of<"signature">();
  const auto sector = boot::examine_boot_sector(image, 0, code_end);
  judging.add(kSignature, sector.is_signed(), mbr.place_of<"signature">(), 2,
              fmt::format("found 0x{:04X}, read as little-endian, expected 0x{:04X}",
                          sector.signature, boot::kPcSignature),
              "write a boot record into the first sector");
  const bool prep = is_prep_head(image, sector);
  judging.add(
      kCode, sector.code_bytes != 0 && !prep, image.start() + sector.entry, code_end - sector.entry,
      prep ? "it holds entry and length of a PReP image"
           : fmt::format("{} bytes of code from byte {} on", sector.code_bytes, sector.entry),
      "write boot code into the first sector and keep the table");
  judging.add(kNoFile, !sector.is_program, image.start(), 2 * boot::kPcSector,
              sector.is_program  ? "it is the head of a program or kernel file"
              : sector.is_kernel ? "a kernel's setup header follows, and code stands before it"
                                 : "it is none",
              "such a file is loaded by a boot loader; put it on a disk together with one");
  if (sector.is_program) judging.rule_out();
  const bool sensible = is_sensible_table(mbr, image);
  const bool plausible = sensible || table || sector.has_parameters || sector.is_laid_out;
  judging.add(kPlausible, plausible, image.start(), boot::kPcSector,
              plausible ? "it is" : "the bytes read like noise", "look for another copy");
  if (!plausible) judging.rule_out();
  if (sensible || sector.has_parameters) {
    judging.add(kLayout, true, sensible ? mbr.place_of<"entry">() : image.start(), 64,
                sensible ? "a table of slices" : "a parameter block");
  }
  if (table) judge_active(judging, image, mbr);
  return std::move(judging).verdict();
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  return as == BootAs::disk ? judge_disk(subject) : judge_i386_optical(subject);
}

}  // namespace

extern const Machine i386;
const Machine i386 = {"i386", "PC firmware (BIOS)", judge};

}  // namespace platter::machine
