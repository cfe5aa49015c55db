#include <algorithm>
#include <array>

#include "filesystem/hfs_layout.h"
#include "formats.h"
#include "framing/frame_layout.h"
#include "framing/sector_code.h"
#include "fuzz/seeds.h"
#include "support/hexfile.h"
#include "writers/fat_writer.h"
#include "writers/hfs_writer.h"
#include "writers/iso9660_sketch.h"

namespace platter::fuzz {
namespace {

using Bytes = std::vector<std::byte>;
using sector_code::Frame;
using sector_code::FrameKind;

constexpr std::size_t kDamaged = 3;  // the frame that is, of a run

enum class Kind : std::uint8_t { mode1, form1, form2 };

Frame frame_of(Kind kind, std::int32_t block) {
  std::array<std::byte, sector_code::user_bytes> user{};
  std::array<std::byte, sector_code::form2_user_bytes> wide{};
  for (std::size_t i = 0; i < user.size(); ++i)
    user[i] = wide[i] = static_cast<std::byte>(i * 7 + static_cast<std::size_t>(block));
  constexpr sector_code::Subheader kSubheader{};
  switch (kind) {
    case Kind::mode1:
      return *sector_code::encode_mode1(user, block);
    case Kind::form1:
      return *sector_code::encode_form1(user, kSubheader, block);
    case Kind::form2:
      break;
  }
  return *sector_code::encode_form2(wide, kSubheader, block, true);
}

// Ten frames, one of them damaged, at a distance with or without sub-channel bytes.
Bytes dump(Kind kind, std::size_t distance) {
  Bytes all;
  for (std::size_t i = 0; i < 10; ++i) {
    Frame frame = frame_of(kind, static_cast<std::int32_t>(i));
    if (i == kDamaged) std::fill_n(frame.begin() + 100, 40, std::byte{0x55});
    const std::size_t head = distance < frame.size() ? frame.size() - distance : 0;
    const std::size_t start = all.size();
    all.insert(all.end(), frame.begin() + static_cast<std::ptrdiff_t>(head), frame.end());
    all.resize(start + distance);
  }
  return all;
}

Bytes swapped(Bytes bytes) {
  for (std::size_t i = 0; i + 1 < bytes.size(); i += 2)
    std::swap(bytes[i], bytes[i + 1]);
  return bytes;
}

void write_frame_seeds(SeedWriter& writer) {
  for (const Kind kind : {Kind::mode1, Kind::form1, Kind::form2}) {
    Frame frame = frame_of(kind, 1234);
    writer.add("frame_fuzz", "sound", frame);
    frame[700] ^= std::byte{0x10};
    writer.add("frame_fuzz", "one byte", frame);
    std::fill_n(frame.begin() + 1000, 90, std::byte{0xAA});
    writer.add("frame_fuzz", "burst", frame);
    std::fill_n(frame.begin(), 16, std::byte{0});
    writer.add("frame_fuzz", "no sync", frame);
    for (const std::uint32_t distance : framing::kFrameDistances) {
      if (kind == Kind::mode1 && distance == framing::kHeadlessFrame) continue;
      writer.add_image("frames_fuzz", "dump", dump(kind, distance));
      if (distance == sector_code::frame_bytes) {
        Bytes cut = dump(kind, distance);
        cut.erase(cut.begin(), cut.begin() + 1000);
        writer.add_image("frames_fuzz", "dump that begins inside a frame", cut);
        writer.add_image("frames_fuzz", "swapped dump", swapped(dump(kind, distance)));
      }
    }
  }
  Bytes mixed = dump(Kind::mode1, sector_code::frame_bytes);
  mixed.resize(mixed.size() + 5 * sector_code::frame_bytes, std::byte{0x21});  // taken for audio
  writer.add_image("frames_fuzz", "data and audio", mixed);
}

// The target's volume begins with the directory, so blocks count from there.
void write_rock_ridge_seeds(SeedWriter& writer) {
  using namespace fixtures::iso9660;  // NOLINT(google-build-using-namespace): the entries
  constexpr std::uint64_t kRoot = fixtures::IsoSketch::kRoot;
  fixtures::IsoSketch sketch({.blocks = 32});
  sketch.root(
      {{.identifier = "A.;1",
        .block = 30,
        .bytes = 100,
        .system_use = joined(
            {name_entry(0, "name"), mode_entry(0100644, 2, 70000, 12), long_time_entry(-86400)})},
       {.identifier = "B.;1",
        .system_use = joined({mode_entry(0120777, 1, 0, 0), continuation_entry(1, 0, 400)})},
       {.identifier = "C.;1",
        .system_use =
            joined({serial_entry(0100644, 2, 77), sparse_entry(100000), compressed_entry(5000)})},
       {.identifier = "D.;1", .system_use = joined({device_entry(3, 7), times_entry(1)})},
       {.identifier = "E",
        .flags = 0x02,
        .system_use = joined({place_entry("CL", 3), mark_entry("RE"), mark_entry("ST")})},
       {.identifier = "F.;1", .system_use = joined({continuation_entry(1, 600, 300)})}},
      true);
  Bytes area = joined({link_entry(1, {{0, "usr"}, {1, "b"}}),
                       link_entry(0, {{0, "in"}, {2}, {4}, {8}}), continuation_entry(1, 600, 300)});
  sketch.put(kRoot + 1, area);
  area.clear();
  for (const Bytes& entry : name_entries(std::string(250, 'n')))
    append(area, entry);
  sketch.put(kRoot + 1, area, 600);
  const Bytes volume = sketch.build();
  const auto blocks = std::span(volume).subspan(kRoot * 2048, 2 * 2048);
  writer.add_image("rock_ridge_fuzz", "with area", blocks, {0x00});
  writer.add_image("rock_ridge_fuzz", "skipping", blocks, {0x40});
  fixtures::IsoSketch old({.high_sierra = true, .blocks = 32});
  old.root({{.identifier = "A.;1", .block = 30, .bytes = 100}});
  const Bytes old_volume = old.build();
  writer.add_image("rock_ridge_fuzz", "high sierra",
                   std::span(old_volume).subspan(kRoot * 2048, 2048), {0x01});
}

void write_fat_seeds(SeedWriter& writer) {
  fixtures::FatWriter volume;
  volume.add_file("A.TXT", "a")
      .add_file("a long name of three parts.text", "b")
      .add_file(std::string(255, 'n'), "c")
      .add_directory("Sub");
  const View view(std::make_shared<MemorySource>(volume.build()));
  for (const Format* format : formats_of(Stage::filesystem, true)) {
    const Context context{.image = view};
    if (format->claims(view, context).empty()) continue;
    const std::unique_ptr<Volume> open = format->open(view, {});
    if (open == nullptr) continue;
    open->each_extent(open->root(), [&](const Extent& extent) {
      writer.add("fat_names_fuzz", "directory",
                 view.read_vector(extent.start, std::min<std::uint64_t>(extent.bytes, 2048)));
      return true;
    });
  }
}

void write_hfs_seeds(SeedWriter& writer) {
  fixtures::HfsWriter hfs({.blocks = 300});
  hfs.add_directory("Folder");
  for (int i = 0; i < 60; ++i)
    hfs.add_file("Folder/number " + std::to_string(i), {std::to_string(i)});
  const View view(std::make_shared<MemorySource>(hfs.build()));
  const auto header = filesystem::hfs_header_at(view, 1024);
  if (!header) throw std::runtime_error("the writer's HFS volume has no header");
  for (const auto& extent :
       {header->sub<"catalog_extents">(0), header->sub<"extents_extents">(0)}) {
    const std::uint64_t block = header->get<"block_bytes">();
    const Bytes tree =
        view.read_vector(header->get<"first_block">() * 512 + extent.get<"start">() * block,
                         extent.get<"count">() * block);
    writer.add_image("hfs_tree_fuzz", "tree", tree, {0});
    writer.add_image("hfs_tree_fuzz", "tree in two runs", tree, {2});
  }
}

// A file of five letters, packed by gzip, bzip2, xz and a writer of zip archives.
void write_container_seeds(SeedWriter& writer) {
  for (const char* packed :
       {"1f8b0800000000000003cb48cdc9c9070086a6103605000000",
        "425a68393141592653591931653d00000081000244a000219a68334d07338bb9229c28480c98b29e80",
        "fd377a585a000004e6d6b4460200210116000000742fe5a301000468656c6c6f00000000b137b9dbe5da1e9b"
        "00011d05b82d80af1fb6f37d010000000004595a",
        "504b03041400000000000000210086a610360500000005000000010000006168656c6c6f"
        "504b010214031400000000000000210086a6103605000000050000000100000000000000000000008001000000"
        "00"
        "61504b050600000000010001002f000000240000000000"}) {
    writer.add("packed_fuzz", "container", test::hex_text(packed, "container"));
  }
}

}  // namespace

void write_part_seeds(SeedWriter& writer) {
  write_frame_seeds(writer);
  write_rock_ridge_seeds(writer);
  write_fat_seeds(writer);
  write_hfs_seeds(writer);
  write_container_seeds(writer);
}

}  // namespace platter::fuzz
