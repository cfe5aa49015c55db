// The boot filesystem of SVR4 systems: identification.
#include <memory>
#include <vector>

#include "core/claim.h"
#include "filesystem/bfs_volume.h"

namespace platter::filesystem {
namespace {

// The directory's inode is the first; without it nothing can be found.
bool has_root(const View& view, const Record<kBfsSuper>& super) {
  const auto root = view.record<kBfsInode>(kBfsBlock, super.order());
  return root.complete() && root.get<"number">() == kBfsRoot && root.get<"type">() == kBfsDirectory;
}

void add_facts(Claim& claim, const View& view, const Record<kBfsSuper>& super) {
  claim.facts.set("byte_order", byte_order_name(super.order()))
      .set("block_bytes", kBfsBlock)
      .set("volume_bytes", claim.bytes);
  claim.facts.set_text("volume_name", super.text<"volume">());
  const BfsVolume::Use use = BfsVolume(view, super, {}).use();
  const std::uint64_t used =
      saturating_add(super.get<"start">(), saturating_mul(use.blocks, kBfsBlock));
  if (used <= claim.bytes) {
    claim.facts.set("used_bytes", used).set("free_bytes", claim.bytes - used);
  }
  claim.facts.set("files", use.files).set("directories", std::uint64_t{1});
  claim.facts.set_text("filesystem_name", super.text<"name">());
  claim.facts.set("inodes", (super.get<"start">() - kBfsBlock) / kBfsInode.bytes)
      .set("clean", super.get<"from">() == kBfsIdle && super.get<"to">() == kBfsIdle ? "clean"
                                                                                     : "not clean");
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto super = bfs_superblock(view);
  if (!super) return {};
  Claim claim;
  claim.strength = Strength::sane;
  claim.start = view.start();
  claim.bytes = super->get<"end">() + 1;
  claim.title = "boot filesystem";
  if (!has_root(view, *super)) {
    claim.strength = Strength::magic;
    claim.find(Severity::fault, FindingCode::filesystem_damaged, view.start() + kBfsBlock,
               kBfsInode.bytes, "the first inode is no directory with the number 2, as expected");
  }
  add_facts(claim, view, *super);
  claim.records.push_back(super->keep());
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  const auto super = bfs_superblock(view);
  if (!super) return nullptr;
  return std::make_unique<BfsVolume>(view, *super, options.charset);
}

}  // namespace

std::optional<Record<kBfsSuper>> bfs_superblock(const View& view) {
  const bool little = view.number(0, 4, ByteOrder::little) == kBfsMagic;
  if (!little && view.number(0, 4, ByteOrder::big) != kBfsMagic) return std::nullopt;
  auto super = view.record<kBfsSuper>(0, little ? ByteOrder::little : ByteOrder::big);
  const std::uint64_t start = super.get<"start">();
  const std::uint64_t end = super.get<"end">();
  // Room for one inode, and whole ones; the last byte is a block's last.
  if (!super.complete() || start < kBfsBlock + kBfsInode.bytes ||
      (start - kBfsBlock) % kBfsInode.bytes != 0 || end < start || (end + 1) % kBfsBlock != 0) {
    return std::nullopt;
  }
  return super;
}

extern const Format bfs_format;
const Format bfs_format = {.id = "bfs",
                           .title = "boot filesystem",
                           .stage = Stage::filesystem,
                           .claims = claims,
                           .open = open};

}  // namespace platter::filesystem
