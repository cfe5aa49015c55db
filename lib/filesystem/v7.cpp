// Seventh Edition filesystem: no magic. Recognised when the superblock's numbers and the root
// directory agree in exactly one byte order: the PDP-11's, or that of a port.
#include <fmt/format.h>

#include "filesystem/old_unix_volume.h"
#include "filesystem/s5_structures.h"
#include "filesystem/s5_volume.h"

namespace platter::filesystem {
namespace {

OldUnixShape shape_in(const View& view, ByteOrder order) {
  const auto super = view.record<kV7Superblock>(kS5SuperblockPlace, order);
  OldUnixShape shape = shape_of<kV7Superblock>(super, kS5SuperblockPlace);
  shape.chain = &kV7Chain;
  shape.clean = false;  // nothing on the disk says that it is
  set_block_bytes(shape, 512);
  return shape;
}

// Locks and marks of a superblock that is on a disk are 0 or 1.
bool flags_are_sound(const View& view) {
  const auto super = view.record<kV7Superblock>(kS5SuperblockPlace, ByteOrder::little);
  return super.get<"flock">() <= 1 && super.get<"ilock">() <= 1 && super.get<"fmod">() <= 1 &&
         super.get<"ronly">() <= 1;
}

// A quick look: whether inode 2 is a directory in any byte order. Nearly nothing else passes.
bool could_be(const View& view) {
  const std::uint64_t place =
      kS5InodeListBlock * 512 + kS5Inode.bytes + FieldReader<kS5Inode>::offset_of<"mode">();
  const std::uint64_t big = view.number(place, 2, ByteOrder::big);
  const std::uint64_t little = view.number(place, 2, ByteOrder::little);
  return (big & 0170000U) == 0040000 || (little & 0170000U) == 0040000;
}

bool hints_are_sound(const OldUnixShape& shape) {
  for (const std::uint32_t inode : shape.free_inodes) {
    if (inode == 0 || inode > shape.inodes) return false;
  }
  return true;
}

std::optional<OldUnixShape> find_v7(const View& view) {
  // Without the root directory there is nothing to tell it by.
  if (view.bytes() < 4 * kS5SuperblockPlace || !could_be(view) || !flags_are_sound(view)) {
    return std::nullopt;
  }
  std::optional<OldUnixShape> found;
  for (const ByteOrder order : {ByteOrder::pdp, ByteOrder::little, ByteOrder::big}) {
    OldUnixShape shape = shape_in(view, order);
    if (!disagreements(shape).all.empty() || !hints_are_sound(shape)) continue;
    if (view.bytes() < shape.first_data * shape.block_bytes) continue;
    if (root_state(view, shape) != RootState::sound) continue;
    if (found) return std::nullopt;
    found = std::move(shape);
  }
  return found;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto shape = find_v7(view);
  if (!shape) return {};
  const auto super = view.record<kV7Superblock>(kS5SuperblockPlace, shape->order);
  Claim claim;
  claim.strength = Strength::shape;
  claim.start = view.start();
  claim.bytes = shape->volume_bytes();
  claim.title = "Seventh Edition filesystem";
  add_old_unix_facts(claim, *shape);
  const std::string name = super.text<"fname">();
  if (!name.empty()) claim.facts.set_text("volume_name", name);
  claim.records.push_back(super.keep());
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  (void)options;
  auto shape = find_v7(view);
  if (!shape) return nullptr;
  return std::make_unique<OldUnixVolume>(view, std::move(*shape));
}

}  // namespace

extern const Format v7_format;
const Format v7_format = {.id = "v7",
                          .title = "Seventh Edition filesystem",
                          .stage = Stage::filesystem,
                          .claims = claims,
                          .open = open};

}  // namespace platter::filesystem
