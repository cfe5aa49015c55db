#include "filesystem/s5_volume.h"

#include <array>

#include <fmt/format.h>

#include "filesystem/old_unix_volume.h"
#include "filesystem/s5_structures.h"

namespace platter::filesystem {
namespace {

constexpr std::size_t kHandful = 2;

Strength strength_of(const S5Found& found, const Disagreements& wrong) {
  if (!wrong.all.empty() || found.root == RootState::wrong) return Strength::magic;
  return found.root == RootState::sound ? Strength::proven : Strength::sane;
}

}  // namespace

void set_block_bytes(OldUnixShape& shape, std::uint64_t block_bytes) {
  shape.block_bytes = block_bytes;
  shape.inode_block = kS5InodeListBlock;
  shape.most_blocks = kS5LargestVolume;
  shape.root = kS5RootInode;
  shape.inode = &kS5Inode;
  const std::uint64_t list =
      shape.first_data > shape.inode_block ? shape.first_data - shape.inode_block : 0;
  shape.inodes = list * (block_bytes / kS5Inode.bytes);
}

void choose_block_bytes(const View& view, S5Found& found) {
  set_block_bytes(found.shape, found.stated_block_bytes);
  found.root = root_state(view, found.shape);
  if (found.root != RootState::wrong) return;
  for (const std::uint64_t other : {1024U, 512U, 2048U}) {
    OldUnixShape tried = found.shape;
    set_block_bytes(tried, other);
    if (root_state(view, tried) != RootState::sound) continue;
    found.shape = std::move(tried);
    found.root = RootState::sound;
    return;
  }
}

std::vector<Claim> s5_claim(const View& view, const S5Found& found) {
  const Disagreements wrong = disagreements(found.shape);
  if (!wrong.sizes || wrong.all.size() > kHandful) return {};
  // Neither the numbers nor the root directory speak for the magic.
  if (!wrong.all.empty() && found.root == RootState::wrong) return {};
  Claim claim;
  claim.strength = strength_of(found, wrong);
  claim.start = view.start();
  claim.bytes = found.shape.volume_bytes();
  claim.title = found.title;
  report(claim, view, found.shape, wrong);
  if (found.root == RootState::wrong && !found.long_names) {
    claim.find(Severity::caution, FindingCode::filesystem_damaged,
               view.start() + found.shape.inode_place(found.shape.root), kS5Inode.bytes,
               fmt::format("inode {} is no directory that begins with \".\" and \"..\", expected "
                           "the root directory",
                           found.shape.root));
  }
  add_old_unix_facts(claim, found.shape);
  claim.facts.set_text("volume_name", found.volume_name).set_text("pack_name", found.pack_name);
  if (!found.clean.empty()) claim.facts.set("clean", found.clean);
  if (found.has_clean_value) claim.facts.set("clean_value", found.clean_value);
  if (found.stated_block_bytes != found.shape.block_bytes) {
    claim.facts.set("stated_block_bytes", found.stated_block_bytes);
  }
  if (found.long_names) claim.facts.set("long_names", true);
  if (!found.shape.free_list_known) claim.facts.set("free_list", "a bitmap of unknown place");
  claim.records.push_back(found.record);
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open_s5(const View& view, const std::optional<S5Found>& found) {
  if (!found || found->long_names || found->root != RootState::sound) return nullptr;
  if (!disagreements(found->shape).sizes) return nullptr;
  return std::make_unique<OldUnixVolume>(view, found->shape);
}

}  // namespace platter::filesystem
