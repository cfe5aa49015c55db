// Sixth Edition filesystem: no magic. Recognised when the superblock's numbers and the root
// directory agree. Always in the PDP-11's byte order.
#include "filesystem/old_unix_volume.h"
#include "filesystem/s5_structures.h"
#include "filesystem/v6_structures.h"

namespace platter::filesystem {
namespace {

// A quick look: whether inode 1 is a directory.
bool could_be(const View& view) {
  const std::uint64_t mode = view.number(
      kV6InodeListBlock * kV6Block + FieldReader<kV6Inode>::offset_of<"mode">(), 2, ByteOrder::pdp);
  return (mode & (kV6Allocated | kV6TypeMask)) == (kV6Allocated | kV6Directory);
}

std::optional<OldUnixShape> find_v6(const View& view) {
  if (!could_be(view)) return std::nullopt;
  const auto super = view.record<kV6Superblock>(kV6SuperblockPlace, ByteOrder::pdp);
  if (!super.complete() || super.get<"flock">() > 1 || super.get<"ilock">() > 1) {
    return std::nullopt;
  }
  OldUnixShape shape = shape_of<kV6Superblock>(super, kV6SuperblockPlace);
  shape.inode = &kV6Inode;
  shape.chain = &kV6Chain;
  shape.inode_block = kV6InodeListBlock;
  shape.most_blocks = 0xFFFF;
  shape.root = kV6RootInode;
  shape.inodes = shape.first_data * (kV6Block / kV6Inode.bytes);
  shape.first_data += kV6InodeListBlock;  // isize counts blocks here
  shape.clean = false;                    // nothing on the disk says that it is
  if (!disagreements(shape).all.empty()) return std::nullopt;
  if (view.bytes() < shape.first_data * kV6Block) return std::nullopt;
  for (const std::uint32_t inode : shape.free_inodes) {
    if (inode == 0 || inode > shape.inodes) return std::nullopt;
  }
  if (root_state(view, shape) != RootState::sound) return std::nullopt;
  return shape;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto shape = find_v6(view);
  if (!shape) return {};
  Claim claim;
  claim.strength = Strength::shape;
  claim.start = view.start();
  claim.bytes = shape->volume_bytes();
  claim.title = "Sixth Edition filesystem";
  add_old_unix_facts(claim, *shape);
  claim.records.push_back(view.record<kV6Superblock>(kV6SuperblockPlace, ByteOrder::pdp).keep());
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  (void)options;
  auto shape = find_v6(view);
  if (!shape) return nullptr;
  return std::make_unique<OldUnixVolume>(view, std::move(*shape));
}

}  // namespace

extern const Format v6_format;
const Format v6_format = {.id = "v6",
                          .title = "Sixth Edition filesystem",
                          .stage = Stage::filesystem,
                          .claims = claims,
                          .open = open};

}  // namespace platter::filesystem
