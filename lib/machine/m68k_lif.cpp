// m68k machines with a LIF volume: the ROM looks for a start-up program in the directory.
#include <optional>

#include <fmt/format.h>

#include "boot/sector_layouts.h"
#include "core/charset.h"
#include "label/lif_label.h"
#include "machine/judging.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

using label::kLifEntry;
using label::kLifSector;
using Volume = Record<label::kLifVolume>;
using Entry = Record<kLifEntry>;
constexpr std::uint64_t kStartUpType = 0xE942;
constexpr std::uint64_t kDirectoryFirst = 2;
constexpr std::uint64_t kMostEntries = 4096;
constexpr std::string_view kHeader = "NetBSD sys/sys/bootblock.h, m68k LIF structures";

constexpr Condition kMagic{"volume-magic", "the image starts with 0x8000", kHeader};
constexpr Condition kDirectory{
    "directory-place", "the volume header puts the directory at byte 512", kHeader, true, true};
constexpr Condition kFile{"start-up-file", "the directory has a file of type 0xE942", kHeader, true,
                          true};
constexpr Condition kName{"start-up-name", "its name starts with SYS",
                          "the boot installer of NetBSD's m68k LIF port (stand/mkboot) names its "
                          "files so; that the ROM demands it is from memory",
                          false};
constexpr Condition kInside{"start-up-inside", "that file is in the image and holds something",
                            "common practice, no source"};
constexpr Condition kLoad{"start-up-header",
                          "the file starts with a load address and a length that it can hold",
                          "the boot installer of NetBSD's m68k LIF port (stand/mkboot)"};

std::optional<Entry> find_start_up(const Volume& volume, const View& image) {
  const std::uint64_t sectors = volume.get<"directory_sectors">();
  for (std::uint64_t i = 0; i < kMostEntries && i < sectors * kLifSector / kLifEntry.bytes; ++i) {
    auto entry = image.record<kLifEntry>(
        volume.get<"directory_first">() * kLifSector + i * kLifEntry.bytes, ByteOrder::big);
    if (!entry.complete() || entry.get<"type">() == label::kLifEnd) break;
    if (entry.get<"type">() == kStartUpType && entry.get<"sectors">() != 0) return entry;
  }
  return std::nullopt;
}

void judge_file(Judging& judging, const Entry& entry, const View& image) {
  const std::string name = decode_text(entry.text<"name">(), Charset::ascii).utf8;
  judging.add(kName, name.rfind("SYS", 0) == 0, entry.start(), 10, name,
              "give the file a name that starts with SYS");
  const std::uint64_t at = entry.get<"first">() * kLifSector;
  const std::uint64_t bytes = entry.get<"sectors">() * kLifSector;
  const std::uint64_t place = saturating_add(image.start(), at);
  const bool inside = at != 0 && fits_within(at, bytes, image.bytes());
  const bool empty = !inside || all_zero(image, at, bytes);
  judging.add(kInside, inside && !empty, place, bytes,
              inside ? (empty ? "nothing but zeros" : fmt::format("{} bytes", bytes))
                     : fmt::format("{} bytes from byte {} on; the image ends at byte {}", bytes,
                                   place, image.start() + image.bytes()),
              "get a complete image, or write the file again");
  const auto load = image.record<boot::kLifLoad>(at, ByteOrder::big);
  const std::uint64_t length = load.get<"length">();
  judging.add(kLoad,
              load.complete() && length != 0 && length <= bytes - boot::kLifLoad.bytes &&
                  load.get<"address">() % 2 == 0,
              place, boot::kLifLoad.bytes,
              fmt::format("{} bytes to address 0x{:X}", length, load.get<"address">()),
              "let a boot installer write the file");
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("m68k-lif", as);
  const View& image = subject.image;
  const auto volume = image.record<label::kLifVolume>(0, ByteOrder::big);
  const std::uint64_t magic = volume.get<"id">();
  const bool is_volume = volume.complete() && magic == label::kLifMagic;
  judging.add(kMagic, is_volume, volume.start(), 2, fmt::format("0x{:04X} stands there", magic),
              "write a volume header");
  const std::uint64_t first = volume.get<"directory_first">();
  judging.add(kDirectory,
              is_volume && first == kDirectoryFirst && volume.get<"octal">() == label::kLifOctal,
              volume.place_of<"directory_first">(), 4,
              fmt::format("{} sectors from byte {} on", volume.get<"directory_sectors">(),
                          first * kLifSector),
              "move the directory to byte 512");
  const auto entry = find_start_up(volume, image);
  judging.add(kFile, entry.has_value(),
              entry ? entry->start() : volume.place_of<"directory_first">(),
              entry ? kLifEntry.bytes : 4, entry ? "found" : "no such file in the directory",
              "put a start-up program into the directory");
  if (entry) judge_file(judging, *entry, image);
  if (as == BootAs::optical) {
    add_block_size(judging, image.start() + kDirectoryFirst * kLifSector, kLifSector);
  }
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine m68k_lif;
const Machine m68k_lif{"m68k-lif", "boot ROM of m68k workstations with a LIF volume", judge};

}  // namespace platter::machine
