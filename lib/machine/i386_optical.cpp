#include "machine/i386_optical.h"

#include <algorithm>
#include <array>
#include <span>
#include <utility>

#include <fmt/format.h>

#include "boot/el_torito_catalog.h"
#include "boot/pc_boot_sector.h"
#include "core/checksum.h"
#include "label/mbr_label.h"
#include "machine/judging.h"
#include "machine/kept_record.h"

namespace platter::machine {
namespace {

using boot::kOpticalBlock;
using Entry = Kept<boot::kCatalogEntry>;

constexpr Condition kRecord{"boot-record", "block 17 is a boot record: type 0, CD001, version 1",
                            "El Torito specification 1.0, section 2.0; ECMA-119 8.2"};
constexpr Condition kIdentifier{"boot-record-identifier",
                                "the boot record names the El Torito specification",
                                "El Torito specification 1.0, figure 7", true, true};
constexpr Condition kCatalog{"catalog-in-image", "the boot catalog lies in the image",
                             "El Torito specification 1.0, section 2.0"};
constexpr Condition kHeader{"validation-header", "the validation entry begins with 01",
                            "El Torito specification 1.0, figure 2"};
constexpr Condition kKey{"validation-key", "the validation entry ends in 55 AA",
                         "El Torito specification 1.0, figure 2", true, true};
constexpr Condition kSum{"validation-checksum", "the words of the validation entry add up to 0",
                         "El Torito specification 1.0, figure 2"};
constexpr Condition kPlatform{"platform-i386", "the validation entry is for platform 0, i386",
                              "El Torito specification 1.0, figure 2"};
constexpr Condition kBootable{"default-entry-bootable", "the default entry is marked bootable, 88",
                              "El Torito specification 1.0, figure 3"};
constexpr Condition kMedia{"default-entry-media", "the default entry's media type is 0 to 4",
                           "El Torito specification 1.0, figure 3"};
constexpr Condition kInside{"boot-image-inside", "the boot image lies in the image",
                            "El Torito specification 1.0, figure 3"};
constexpr Condition kCount{"load-count-not-zero", "at least one sector is loaded",
                           "El Torito specification 1.0, figure 3"};
constexpr Condition kCode{"boot-image-not-empty", "what is loaded first is not all zero",
                          "common practice, no source"};
constexpr Condition kSegment{"load-segment-usual", "it is loaded to segment 7C0",
                             "common practice, no source", false};
constexpr Condition kWhole{"load-count-usual",
                           "without emulation a multiple of 4 sectors is loaded, with it one",
                           "genisoimage(1), -boot-load-size; El Torito 1.0, figure 3", false};
constexpr Condition kInfo{"boot-information-table",
                          "the boot image's information table names its own place and contents",
                          "genisoimage(1), EL TORITO BOOT INFORMATION TABLE", false};
constexpr Condition kSystem{"system-type", "the type byte is that of the emulated disk's slice",
                            "El Torito specification 1.0, figure 3", false};
constexpr Condition kEmulated{"emulated-boot-sector",
                              "the emulated medium's first sector ends in 55 AA",
                              "NetBSD sys/sys/bootblock.h", false};

constexpr std::array kFromRecord = {&kRecord, &kIdentifier};
constexpr std::array kFromCatalog = {&kHeader, &kKey,    &kSum,   &kPlatform, &kBootable,
                                     &kMedia,  &kInside, &kCount, &kCode};

constexpr std::string_view kRemaster = "master the disc again, with a boot image for a PC";

// What cannot be looked at because the way to it ends earlier.
void leave_open(Judging& judging, std::span<const Condition* const> conditions, std::uint64_t at,
                std::string_view why) {
  for (const Condition* condition : conditions) {
    judging.add(*condition, false, at, 0, std::string(why), std::string(kRemaster));
  }
}

struct Disc {
  const BootSubject& subject;
  const Layer& layer;  // the catalog's
  Judging& judging;
};

bool judge_record(const Disc& disc) {
  const auto record = *kept<boot::kElToritoRecord>(disc.layer);
  const std::uint64_t block = (record.start - disc.subject.image.start()) / kOpticalBlock;
  const bool head = record.get<"type">() == 0 && record.fields.text<"standard_id">() == "CD001" &&
                    record.get<"version">() == 1;
  disc.judging.add(kRecord, head && block == boot::kBootRecordBlock, record.start, 7,
                   fmt::format("block {}: type {}, version {}", block, record.get<"type">(),
                               record.get<"version">()),
                   "the boot record has to stand right behind the primary descriptor");
  const auto raw = record.fields.raw<"boot_system_id">();
  const std::string name = record.fields.text<"boot_system_id">();
  const auto padding = raw.subspan(std::min(raw.size(), name.size()));
  const bool exact = name == boot::kElToritoId &&
                     std::ranges::all_of(padding, [](std::byte b) { return b == std::byte{0}; });
  disc.judging.add(kIdentifier, exact, record.place_of<"boot_system_id">(), raw.size(),
                   fmt::format("found \"{}\"", printable(decode_text(name, Charset::ascii).utf8)),
                   "the field holds EL TORITO SPECIFICATION and zeros");
  const auto validation = kept<boot::kCatalogValidation>(disc.layer);
  return disc.judging.add(kCatalog, validation.has_value(), record.place_of<"catalog">(), 4,
                          fmt::format("it is to stand in block {} of {}", record.get<"catalog">(),
                                      disc.subject.image.bytes() / kOpticalBlock),
                          "get a complete copy of the disc");
}

// Whether a section offers what the default entry does not, for the platform's detail.
std::string_view other_platform(const Layer& catalog) {
  for (const Layer& image : catalog.layers) {
    if (image.facts.words("platform") == "EFI") return "; an EFI image is offered";
  }
  return "";
}

void judge_validation(const Disc& disc) {
  const auto entry = *kept<boot::kCatalogValidation>(disc.layer);
  disc.judging.add(kHeader, entry.get<"header_id">() == boot::kValidationHeader,
                   entry.place_of<"header_id">(), 1,
                   fmt::format("found 0x{:02X}", entry.get<"header_id">()), std::string(kRemaster));
  disc.judging.add(kKey, entry.get<"key">() == boot::kCatalogKey, entry.place_of<"key">(), 2,
                   fmt::format("found 0x{:04X}, read as little-endian", entry.get<"key">()),
                   std::string(kRemaster));
  const std::uint64_t sum = sum_of_words16(entry.fields.all(), ByteOrder::little) & 0xFFFFU;
  disc.judging.add(kSum, sum == 0, entry.start, boot::kCatalogEntryBytes,
                   fmt::format("the sum is 0x{:04X} with a checksum word of 0x{:04X}", sum,
                               entry.get<"checksum">()),
                   "compare with another copy; some firmware does not look at it");
  const std::uint64_t platform = entry.get<"platform">();
  disc.judging.add(
      kPlatform, platform == boot::kPlatformI386, entry.place_of<"platform">(), 1,
      fmt::format("platform 0x{:02X} ({}){}", platform,
                  name_of(boot::kBootPlatforms, platform, "unknown"), other_platform(disc.layer)),
      "the disc is made for other machines; its default entry has to be for a PC");
}

void judge_image(const Disc& disc, const Entry& entry, const Layer& image) {
  const View& bytes = disc.subject.image;
  const std::uint64_t offset = image.start - bytes.start();
  const bool inside = image.start >= bytes.start() && offset < bytes.bytes() &&
                      fits_within(offset, image.bytes, bytes.bytes());
  disc.judging.add(kInside, inside, entry.place_of<"image">(), 4,
                   fmt::format("{} bytes from block {} on, the image has {}", image.bytes,
                               entry.get<"image">(), bytes.bytes() / kOpticalBlock),
                   "get a complete copy of the disc");
  disc.judging.add(kCount, entry.get<"load_blocks">() != 0, entry.place_of<"load_blocks">(), 2,
                   fmt::format("{} sectors of 512 bytes", entry.get<"load_blocks">()),
                   std::string(kRemaster));
  disc.judging.add(kCode, inside && !all_zero(bytes, offset, boot::kVirtualSector), image.start,
                   boot::kVirtualSector,
                   inside ? "the first 512 bytes were looked at" : "the image is not there",
                   "get a complete copy of the disc");
}

void judge_entry(const Disc& disc) {
  const auto entry = *kept<boot::kCatalogEntry>(disc.layer);
  const std::uint64_t media = entry.get<"media">();
  disc.judging.add(kBootable, entry.get<"boot_indicator">() == boot::kBootable,
                   entry.place_of<"boot_indicator">(), 1,
                   fmt::format("found 0x{:02X}", entry.get<"boot_indicator">()),
                   std::string(kRemaster));
  disc.judging.add(kMedia, media <= boot::kMediaHardDisk, entry.place_of<"media">(), 1,
                   fmt::format("type {} ({})", media, name_of(boot::kBootMedia, media, "reserved")),
                   std::string(kRemaster));
  judge_image(disc, entry, disc.layer.layers.front());
}

void judge_information(const Disc& disc, const Layer& image) {
  const auto info =
      boot::read_boot_info(disc.subject.image, image.start - disc.subject.image.start());
  if (!info) return;
  disc.judging.add(
      kInfo, info->names_image && info->checksum_holds(), info->table.start(),
      boot::kBootInfo.bytes,
      fmt::format("block {}, {} bytes, checksum 0x{:08X}{}", info->table.get<"image">(),
                  info->table.get<"bytes">(), info->table.get<"checksum">(),
                  info->verified ? fmt::format(", computed 0x{:08X}", info->computed) : ""),
      "master the disc again with the table filled in; the loader reads it");
}

void judge_emulated(const Disc& disc, const Entry& entry, const Layer& image) {
  const std::uint64_t offset = image.start - disc.subject.image.start();
  const auto mbr = disc.subject.image.record<label::kMbr>(offset, ByteOrder::little);
  disc.judging.add(kEmulated, mbr.get<"signature">() == label::kMbrSignature,
                   mbr.place_of<"signature">(), 2,
                   fmt::format("found 0x{:04X}, read as little-endian", mbr.get<"signature">()),
                   "put a medium into the boot image that starts by itself");
  if (entry.get<"media">() != boot::kMediaHardDisk) return;
  const std::uint64_t type = mbr.sub<"entry">(0).get<"type">();
  disc.judging.add(kSystem, entry.get<"system_type">() == type, entry.place_of<"system_type">(), 1,
                   fmt::format("0x{:02X} in the catalog, 0x{:02X} in the emulated table",
                               entry.get<"system_type">(), type),
                   std::string(kRemaster));
}

void judge_custom(const Disc& disc) {
  const auto entry = *kept<boot::kCatalogEntry>(disc.layer);
  const Layer& image = disc.layer.layers.front();
  const std::uint64_t segment = entry.get<"load_segment">();
  disc.judging.add(
      kSegment, segment == 0 || segment == boot::kUsualSegment, entry.place_of<"load_segment">(), 2,
      fmt::format("segment 0x{:X}{}", segment, segment == 0 ? ", which stands for 7C0" : ""),
      "some firmware loads to 7C0 whatever stands here");
  const std::uint64_t count = entry.get<"load_blocks">();
  const bool emulates = entry.get<"media">() != boot::kMediaNone;
  disc.judging.add(kWhole, emulates ? count == 1 : count != 0 && count % 4 == 0,
                   entry.place_of<"load_blocks">(), 2, fmt::format("{} sectors", count),
                   "some firmware fails with other counts; 4 is what most discs have");
  if (emulates) {
    judge_emulated(disc, entry, image);
  } else {
    judge_information(disc, image);
  }
}

// A catalog belongs to the disc when its record stands among the disc's own descriptors.
const Layer* catalog_of(const BootSubject& subject) {
  constexpr std::uint64_t kDescriptorsEnd = 33 * kOpticalBlock;
  return first_layer(subject.layers, LayerKind::boot, "el-torito", [&](const Layer& layer) {
    const auto record = kept<boot::kElToritoRecord>(layer);
    return record && record->start - subject.image.start() < kDescriptorsEnd;
  });
}

}  // namespace

BootVerdict judge_i386_optical(const BootSubject& subject) {
  Judging judging("i386", BootAs::optical);
  const std::uint64_t place = subject.image.start() + boot::kBootRecordBlock * kOpticalBlock;
  const Layer* catalog = catalog_of(subject);
  if (catalog == nullptr) {
    leave_open(judging, kFromRecord, place, "no El Torito boot record was found");
    leave_open(judging, std::array{&kCatalog}, place, "no boot record leads to one");
    leave_open(judging, kFromCatalog, place, "there is no boot catalog");
    return std::move(judging).verdict();
  }
  const Disc disc{subject, *catalog, judging};
  if (!judge_record(disc) || catalog->layers.empty()) {
    leave_open(judging, kFromCatalog, place, "the boot catalog is not there");
    return std::move(judging).verdict();
  }
  judge_validation(disc);
  judge_entry(disc);
  judge_custom(disc);
  return std::move(judging).verdict();
}

}  // namespace platter::machine
