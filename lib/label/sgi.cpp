// SGI volume header: sector 0, big-endian, sixteen partitions and a small directory of files.
#include <algorithm>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/checksum.h"
#include "core/claim.h"
#include "label/sgi_label.h"
#include "label/slice_id.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kSlices = 16;
constexpr std::size_t kFiles = 15;
constexpr std::size_t kHeaderSlot = 8;
constexpr std::uint64_t kTypeHeader = 0;
constexpr std::uint64_t kTypeRaw = 3;
constexpr std::uint64_t kTypeVolume = 6;
constexpr std::uint64_t kTypeLinuxSwap = 0x82;

using Header = Record<kSgiHeader>;
using File = FieldReader<kSgiFile>;

std::uint32_t left_over(const Header& header) {
  return sum_of_words32(header.all(), ByteOrder::big);
}

// With a wrong checksum something else has to speak for it: a slice of a known type.
bool is_header(const Header& header) {
  if (!header.complete() || header.get<"magic">() != kSgiMagic) return false;
  if (left_over(header) == 0) return true;
  for (std::size_t i = 0; i < kSlices; ++i) {
    const auto slice = header.sub<"slice">(i);
    if (slice.get<"blocks">() != 0 && !name_of(kSgiTypes, slice.get<"type">()).empty()) return true;
  }
  return false;
}

SliceRole role_of(const Header& header, std::size_t index) {
  const std::uint64_t type = header.sub<"slice">(index).get<"type">();
  switch (type) {
    case kTypeHeader:
    case 1:  // replacement tracks and sectors belong to the label as well
    case 2:
      return SliceRole::metadata;
    case kTypeVolume:
      return SliceRole::whole_disk;
    case kTypeLinuxSwap:
      return SliceRole::swap;
    case kTypeRaw:
      return header.get<"swap">() == index ? SliceRole::swap : SliceRole::data;
    default:
      return SliceRole::data;
  }
}

void add_slices(Claim& claim, const Header& header, const View& view) {
  for (std::size_t i = 0; i < kSlices; ++i) {
    const auto entry = header.sub<"slice">(i);
    if (entry.get<"blocks">() == 0) continue;
    Slice slice;
    slice.id = std::to_string(i);
    slice.start = saturating_add(view.start(), entry.get<"first">() * kBlock);
    slice.bytes = entry.get<"blocks">() * kBlock;
    slice.role = role_of(header, i);
    slice.type = entry.get<"type">();
    slice.facts.set("name", slice.id)
        .set("type", *slice.type)
        .set("type_name", name_of(kSgiTypes, *slice.type, "unknown"));
    claim.slices.push_back(std::move(slice));
  }
}

void check_file(Claim& claim, const Header& header, std::uint32_t index) {
  const auto file = header.sub<"file">(index);
  const auto volume = header.sub<"slice">(kHeaderSlot);
  const std::uint64_t place = header.place_of<"file">(index) + File::offset_of<"first">();
  const std::string name = decode_text(file.text<"name">(), Charset::ascii).utf8;
  if (file.get<"first">() <= 0) {
    claim.find(Severity::caution, FindingCode::label_field, place, 4,
               fmt::format("file {} of the volume directory starts at block {}, which is no place "
                           "behind the header",
                           name, file.get<"first">()));
    return;
  }
  if (volume.get<"blocks">() == 0 || volume.get<"type">() != kTypeHeader) return;
  const auto first = static_cast<std::uint64_t>(file.get<"first">());
  const std::uint64_t blocks = divide_up(static_cast<std::uint64_t>(file.get<"length">()), kBlock);
  if (first >= volume.get<"first">() &&
      fits_within(first - volume.get<"first">(), blocks, volume.get<"blocks">())) {
    return;
  }
  claim.find(
      Severity::caution, FindingCode::label_field, place, 8,
      fmt::format("file {} of the volume directory covers blocks {} to {}, outside the "
                  "volume header slice of {} blocks from block {}",
                  name, first, first + blocks - 1, volume.get<"blocks">(), volume.get<"first">()));
}

void add_files(Claim& claim, const Header& header, const View& view) {
  for (std::uint32_t i = 0; i < kFiles; ++i) {
    const auto file = header.sub<"file">(i);
    const std::string name = file.text<"name">();
    if (name.empty() || file.get<"length">() <= 0) continue;
    Slice slice;
    slice.id = slice_id(claim.slices, name, fmt::format("file{}", i));
    const auto first = static_cast<std::uint64_t>(std::max<std::int64_t>(file.get<"first">(), 0));
    slice.start = saturating_add(view.start(), first * kBlock);
    slice.bytes = static_cast<std::uint64_t>(file.get<"length">());
    slice.role = SliceRole::file;
    slice.facts.set_text("name", name);
    claim.slices.push_back(std::move(slice));
    check_file(claim, header, i);
  }
}

// The slice of type "whole volume" tells the size; the geometry is made up on many disks and
// serves only when it covers every slice.
std::uint64_t disk_bytes(const Header& header, const Claim& claim, const View& view) {
  std::uint64_t end = 0;
  for (const Slice& slice : claim.slices) {
    const std::uint64_t slice_end = saturating_add(slice.start - view.start(), slice.bytes);
    if (slice.role == SliceRole::whole_disk) return slice_end;
    end = std::max(end, slice_end);
  }
  const std::uint64_t bytes =
      header.get<"cylinders">() * header.get<"tracks">() * header.get<"sectors">() * kBlock;
  return bytes >= end ? bytes : 0;
}

void check_fields(Claim& claim, const Header& header) {
  const std::uint64_t sector_bytes = header.get<"sector_bytes">();
  if (sector_bytes != 0 && sector_bytes != kBlock) {
    claim.find(
        Severity::caution, FindingCode::label_field, header.place_of<"sector_bytes">(), 2,
        fmt::format("the volume header gives {} bytes per sector; its block numbers are read "
                    "as 512-byte blocks all the same",
                    sector_bytes));
  }
  const auto check_number = [&](std::string_view what, std::uint64_t number, std::uint64_t at) {
    constexpr std::uint64_t kNone = 0xFFFF;
    if (number < kSlices || number == kNone) return;
    claim.find(Severity::caution, FindingCode::label_field, at, 2,
               fmt::format("the {} slice is number {}, there are only 0 to {}", what, number,
                           kSlices - 1));
  };
  check_number("root", header.get<"root">(), header.place_of<"root">());
  check_number("swap", header.get<"swap">(), header.place_of<"swap">());
  const auto volume = header.sub<"slice">(kHeaderSlot);
  if (volume.get<"blocks">() != 0 && volume.get<"type">() == kTypeHeader &&
      volume.get<"first">() != 0) {
    claim.find(Severity::caution, FindingCode::label_field, header.place_of<"slice">(kHeaderSlot),
               kSgiSlice.bytes,
               fmt::format("the volume header slice starts at block {} instead of 0",
                           volume.get<"first">()));
  }
}

void report_checksum(Claim& claim, const Header& header) {
  const auto stored = static_cast<std::uint32_t>(header.get<"checksum">());
  const std::uint32_t computed = stored - left_over(header);
  if (stored == computed) return;
  claim.find(
      Severity::fault, FindingCode::label_checksum, header.place_of<"checksum">(), 4,
      fmt::format("the SGI volume header stores checksum 0x{:08X}, its content gives 0x{:08X}",
                  stored, computed));
}

void set_facts(Claim& claim, const Header& header) {
  claim.facts.set("byte_order", "big")
      .set("checksum", left_over(header) == 0 ? "good" : "bad")
      .set("cylinders", header.get<"cylinders">())
      .set("heads", header.get<"tracks">())
      .set("sectors_per_track", header.get<"sectors">())
      .set("sector_bytes", header.get<"sector_bytes">())
      .set_text("bootfile", header.text<"bootfile">())
      .set("root_slice", header.get<"root">())
      .set("swap_slice", header.get<"swap">());
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto header = view.record<kSgiHeader>(0, ByteOrder::big);
  if (!is_header(header)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = left_over(header) == 0 ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.title = "SGI volume header";
  set_facts(claim, header);
  claim.records.push_back(header.keep());
  report_checksum(claim, header);
  check_fields(claim, header);
  add_slices(claim, header, view);
  claim.bytes = disk_bytes(header, claim, view);
  add_files(claim, header, view);
  return result;
}

}  // namespace

extern const Format sgi_format;
const Format sgi_format = {
    .id = "sgi", .title = "SGI volume header", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
