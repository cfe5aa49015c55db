// Amiga rigid disk blocks: a block in the first sixteen with chains of slice, filesystem and
// bad-block blocks; big-endian, each block with a sum.
#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/amiga_chain.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kSearchStep = 512;
// Words that a sum must cover to guard what is read here.
constexpr std::uint64_t kFewestDiskLongs = 37;   // up to the blocks per cylinder
constexpr std::uint64_t kFewestSliceLongs = 43;  // up to the high cylinder
constexpr std::uint64_t kFewestOtherLongs = 5;   // up to the link

using Disk = Record<kAmigaDiskBlock>;
using SliceBlock = Record<kAmigaSliceBlock>;

struct Found {
  Disk disk;
  std::uint64_t place = 0;
  std::uint64_t block_bytes = 0;
  AmigaSum sum;
  bool overwritten = false;  // good but for the word that other systems write

  [[nodiscard]] bool good() const noexcept { return sum.good() || overwritten; }
};

std::uint64_t block_bytes_of(const Disk& disk) {
  const std::uint64_t stated = disk.get<"block_bytes">();
  return is_power_of_two_in(stated, 512, 32768) ? stated : 0;
}

// Linux tries again with the word at 220 taken as zero (block/partitions/amiga.c).
bool is_overwritten(const Disk& disk, const AmigaSum& sum) {
  constexpr std::uint64_t kWord = Disk::offset_of<"overwritten">() / 4;
  const auto word = decode_unsigned(disk.raw<"overwritten">(), ByteOrder::big);
  return sum.counted && sum.longs > kWord && sum.sum != 0 && sum.sum == word;
}

bool is_plausible(const Found& found) {
  const Disk& disk = found.disk;
  if (found.good()) return found.block_bytes != 0;
  return found.block_bytes != 0 && disk.get<"cylinders">() != 0 && disk.get<"heads">() != 0 &&
         disk.get<"sectors_per_track">() != 0 && disk.get<"heads">() <= 65536 &&
         disk.get<"sectors_per_track">() <= 65536;
}

std::optional<Found> find_disk_block(const View& view) {
  std::optional<Found> best;
  for (std::uint64_t i = 0; i < kAmigaSearched; ++i) {
    const std::uint64_t place = i * kSearchStep;
    if (!view.holds(place, "RDSK")) continue;
    Found found;
    found.disk = view.record<kAmigaDiskBlock>(place, ByteOrder::big);
    if (!found.disk.complete()) continue;
    found.place = place;
    found.block_bytes = block_bytes_of(found.disk);
    found.sum = amiga_sum(view, place, std::max(found.block_bytes, kSearchStep), kFewestDiskLongs);
    found.overwritten = is_overwritten(found.disk, found.sum);
    if (!is_plausible(found)) continue;
    if (found.good()) return found;
    if (!best) best = std::move(found);
  }
  return best;
}

// The letters and the number of a type: "DOS\1", "NBR\7", "RAID".
std::string type_words(std::uint64_t type) {
  std::string tag;
  for (const unsigned shift : {24U, 16U, 8U, 0U}) {
    const auto byte = static_cast<unsigned>(type >> shift & 0xFFU);
    tag += byte >= 0x20 && byte < 0x7F ? std::string(1, static_cast<char>(byte))
                                       : fmt::format("\\{}", byte);
  }
  std::string_view name = name_of(kAmigaTypes, type);
  if (name.empty()) name = name_of(kAmigaTypeFamilies, type >> 8U);
  return name.empty() ? tag : fmt::format("{} ({})", name, tag);
}

bool is_swap(std::uint64_t type) {
  return type >> 8U == 0x4E4253 || type >> 8U == 0x535750;
}

std::string name_of_slice(const SliceBlock& block) {
  const auto raw = block.raw<"name">();
  const std::size_t length = std::min<std::size_t>(block.get<"name_length">(), raw.size());
  return unpadded_text(raw.first(length));
}

/// Whether the environment has the word with that number.
bool has_word(const SliceBlock& block, std::uint64_t number) {
  return block.get<"environment_size">() >= number;
}

void report_sum(Claim& claim, const AmigaSum& sum, std::uint64_t start, std::string_view what,
                std::uint64_t stored) {
  if (sum.good()) return;
  if (!sum.counted) {
    claim.find(Severity::fault, FindingCode::label_checksum, start + 4, 4,
               fmt::format("{} states a checksum over {} words, which its block cannot have", what,
                           sum.longs));
    return;
  }
  const auto computed = static_cast<std::uint32_t>(stored) - sum.sum;
  claim.find(Severity::fault, FindingCode::label_checksum, start + 8, 4,
             fmt::format("{} stores checksum 0x{:08X}, its content gives 0x{:08X}", what, stored,
                         computed));
}

// What the geometry of a slice makes impossible; false when there is no slice to speak of.
bool check_geometry(Claim& claim, const SliceBlock& block, const std::string& id) {
  const auto refuse = [&](std::uint64_t at, std::string message) {
    claim.find(Severity::fault, FindingCode::label_field, at, 4,
               fmt::format("slice {} of the Amiga label {}", id, message));
    return false;
  };
  constexpr std::uint64_t kHighWord = 10;
  if (!has_word(block, kHighWord)) {
    return refuse(block.place_of<"environment_size">(),
                  fmt::format("has {} words of geometry, expected {} or more",
                              block.get<"environment_size">(), kHighWord));
  }
  if (block.get<"heads">() == 0) return refuse(block.place_of<"heads">(), "has no heads");
  if (block.get<"track_blocks">() == 0) {
    return refuse(block.place_of<"track_blocks">(), "has no blocks on a track");
  }
  if (block.get<"high_cylinder">() < block.get<"low_cylinder">()) {
    return refuse(block.place_of<"high_cylinder">(),
                  fmt::format("ends at cylinder {}, before its start at cylinder {}",
                              block.get<"high_cylinder">(), block.get<"low_cylinder">()));
  }
  return true;
}

void compare_with_disk(Claim& claim, const SliceBlock& block, const Disk& disk,
                       const std::string& id) {
  const std::uint64_t cylinder = saturating_mul(block.get<"heads">(), block.get<"track_blocks">());
  if (cylinder == disk.get<"cylinder_blocks">()) {
    if (block.get<"low_cylinder">() >= disk.get<"low_cylinder">() &&
        block.get<"high_cylinder">() <= disk.get<"high_cylinder">()) {
      return;
    }
    claim.find(Severity::caution, FindingCode::label_field, block.place_of<"low_cylinder">(), 8,
               fmt::format("slice {} of the Amiga label covers cylinders {} to {}, the disk gives "
                           "slices {} to {}",
                           id, block.get<"low_cylinder">(), block.get<"high_cylinder">(),
                           disk.get<"low_cylinder">(), disk.get<"high_cylinder">()));
  } else if (disk.get<"cylinder_blocks">() != 0) {
    claim.find(
        Severity::note, FindingCode::geometry_differs, block.place_of<"heads">(), 12,
        fmt::format("slice {} of the Amiga label has {} blocks per cylinder, the disk {}; the "
                    "slice's own number counts",
                    id, cylinder, disk.get<"cylinder_blocks">()));
  }
}

void add_slice(Claim& claim, const View& view, const Found& found, std::uint64_t place,
               std::size_t number) {
  const auto block = view.record<kAmigaSliceBlock>(place, ByteOrder::big);
  const std::string id = std::to_string(number);
  claim.records.push_back(block.keep("slice " + id));
  const AmigaSum sum = amiga_sum(view, place, found.block_bytes, kFewestSliceLongs);
  report_sum(claim, sum, block.start(), fmt::format("the block of slice {}", id),
             block.get<"checksum">());
  if (!check_geometry(claim, block, id)) return;
  const std::uint64_t cylinder =
      saturating_mul(block.get<"heads">(), block.get<"track_blocks">(), found.block_bytes);
  const std::uint64_t low = block.get<"low_cylinder">();
  Slice slice;
  slice.id = id;
  slice.start = saturating_add(view.start(), saturating_mul(low, cylinder));
  slice.bytes = saturating_mul(block.get<"high_cylinder">() - low + 1, cylinder);
  slice.facts.set_text("name", name_of_slice(block), Charset::latin1);
  constexpr std::uint64_t kPriorityWord = 15;
  constexpr std::uint64_t kTypeWord = 16;
  if (has_word(block, kTypeWord)) {
    slice.type = block.get<"dos_type">();
    if (is_swap(*slice.type)) slice.role = SliceRole::swap;
    slice.facts.set("type", *slice.type).set("type_name", type_words(*slice.type));
  }
  slice.facts.set("bootable", (block.get<"flags">() & 1U) != 0);
  if (has_word(block, kPriorityWord)) {
    slice.facts.set("boot_priority", block.get<"boot_priority">());
  }
  slice.facts.set("reserved_blocks", block.get<"reserved_blocks">());
  claim.slices.push_back(std::move(slice));
  compare_with_disk(claim, block, found.disk, id);
}

void add_slices(Claim& claim, const View& view, const Found& found) {
  std::size_t number = 0;
  walk_amiga_chain(claim, view,
                   {"slice", kAmigaSlice, found.disk.get<"slice_list">(),
                    found.disk.place_of<"slice_list">(), found.block_bytes},
                   [&](std::uint64_t place) { add_slice(claim, view, found, place, ++number); });
}

void add_filesystems(Claim& claim, const View& view, const Found& found) {
  std::string words;
  walk_amiga_chain(claim, view,
                   {"filesystem", kAmigaFilesystem, found.disk.get<"filesystem_list">(),
                    found.disk.place_of<"filesystem_list">(), found.block_bytes},
                   [&](std::uint64_t place) {
                     const auto block = view.record<kAmigaFilesystemBlock>(place, ByteOrder::big);
                     claim.records.push_back(block.keep());
                     report_sum(claim, amiga_sum(view, place, found.block_bytes, kFewestOtherLongs),
                                block.start(), "a filesystem block", block.get<"checksum">());
                     const std::uint64_t version = block.get<"version">();
                     words += fmt::format("{}{} {}.{}", words.empty() ? "" : "; ",
                                          type_words(block.get<"dos_type">()), version >> 16U,
                                          version & 0xFFFFU);
                   });
  if (!words.empty()) claim.facts.set("filesystem_code", words);
}

void add_bad_blocks(Claim& claim, const View& view, const Found& found) {
  std::uint64_t lists = 0;
  walk_amiga_chain(claim, view,
                   {"bad-block", kAmigaBadBlocks, found.disk.get<"bad_block_list">(),
                    found.disk.place_of<"bad_block_list">(), found.block_bytes},
                   [&](std::uint64_t place) {
                     const auto head = view.record<kAmigaBlockHead>(place, ByteOrder::big);
                     claim.records.push_back(head.keep("bad blocks"));
                     report_sum(claim, amiga_sum(view, place, found.block_bytes, kFewestOtherLongs),
                                head.start(), "a bad-block block", head.get<"checksum">());
                     ++lists;
                   });
  if (lists != 0) claim.facts.set("bad_block_lists", lists);
}

void set_facts(Claim& claim, const Found& found) {
  const Disk& disk = found.disk;
  const std::string vendor = disk.text<"disk_vendor">();
  const std::string product = disk.text<"disk_product">();
  claim.facts.set("byte_order", "big")
      .set("checksum", found.good() ? "good" : "bad")
      .set_text("name", vendor.empty() ? product : vendor + " " + product, Charset::latin1)
      .set("cylinders", disk.get<"cylinders">())
      .set("heads", disk.get<"heads">())
      .set("sectors_per_track", disk.get<"sectors_per_track">())
      .set("sector_bytes", found.block_bytes)
      .set("label_start", disk.start());
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto found = find_disk_block(view);
  if (!found) return {};
  const Disk& disk = found->disk;
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = found->good() ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.bytes = saturating_mul(disk.get<"cylinders">(), disk.get<"heads">(),
                               disk.get<"sectors_per_track">(), found->block_bytes);
  claim.title = "Amiga rigid disk block";
  set_facts(claim, *found);
  claim.records.push_back(disk.keep());
  if (found->overwritten) {
    claim.find(Severity::note, FindingCode::label_field, disk.place_of<"overwritten">(), 4,
               "another system wrote 4 bytes into the rigid disk block; its checksum holds without "
               "them");
  } else {
    report_sum(claim, found->sum, disk.start(), "the rigid disk block", disk.get<"checksum">());
  }
  add_slices(claim, view, *found);
  add_filesystems(claim, view, *found);
  add_bad_blocks(claim, view, *found);
  return result;
}

}  // namespace

extern const Format amiga_format;
const Format amiga_format = {
    .id = "amiga", .title = "Amiga rigid disk block", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
