// XFS: identification by the superblock at byte 0, and opening.
#include <memory>
#include <string>
#include <vector>

#include "filesystem/ext2_uuid.h"
#include "filesystem/field_checks.h"
#include "filesystem/xfs_log.h"
#include "filesystem/xfs_superblock.h"
#include "filesystem/xfs_volume.h"

namespace platter::filesystem {
namespace {

using Super = XfsSuper;

bool is_power(std::uint64_t log, std::uint64_t value) {
  return log < 32 && std::uint64_t{1} << log == value;
}

void check(Claim& claim, const Super& super) {
  FieldChecks checks(super, claim);
  const auto get_power = [](std::uint64_t log) { return std::uint64_t{1} << (log & 31U); };
  checks.check<"block_bytes">(is_power(super.get<"block_log">(), super.get<"block_bytes">()), "",
                              get_power(super.get<"block_log">()));
  checks.check<"sector_bytes">(is_power(super.get<"sector_log">(), super.get<"sector_bytes">()), "",
                               get_power(super.get<"sector_log">()));
  checks.check<"inode_bytes">(is_power(super.get<"inode_log">(), super.get<"inode_bytes">()), "",
                              get_power(super.get<"inode_log">()));
  const std::uint64_t inodes =
      super.get<"inode_bytes">() == 0 ? 0 : super.get<"block_bytes">() / super.get<"inode_bytes">();
  checks.check<"inodes_per_block">(super.get<"inodes_per_block">() == inodes, "", inodes);
  const std::uint64_t room = saturating_mul(super.get<"groups">(), super.get<"group_blocks">());
  const std::uint64_t below =
      room < super.get<"group_blocks">() ? 0 : room - super.get<"group_blocks">();
  checks.check<"data_blocks">(super.get<"data_blocks">() <= room, "at most groups * group_blocks,",
                              room);
  checks.check<"data_blocks">(super.get<"data_blocks">() > below,
                              "more than (groups - 1) * group_blocks,", below);
  checks.check<"free_blocks">(super.get<"free_blocks">() <= super.get<"data_blocks">(),
                              "at most data_blocks,", super.get<"data_blocks">());
  checks.check<"free_inodes">(super.get<"free_inodes">() <= super.get<"inodes">(),
                              "at most inodes,", super.get<"inodes">());
}

std::vector<Claim> claims(const View& view, const Context&) {
  if (view.number(0, 4, ByteOrder::big) != kXfsMagic) return {};
  const auto super = view.record<kXfsSuperblock>(0, ByteOrder::big);
  const std::uint64_t version = super.get<"version">() & kXfsVersionMask;
  const std::uint64_t block_bytes = super.get<"block_bytes">();
  if (!super.complete() || version == 0 || version > 5 ||
      !is_power_of_two_in(block_bytes, 512, 65536) || super.get<"groups">() == 0 ||
      super.get<"group_blocks">() == 0) {
    return {};
  }
  Claim claim;
  check(claim, super);
  claim.start = view.start();
  claim.bytes = saturating_mul(super.get<"data_blocks">(), block_bytes);
  claim.title = "XFS filesystem";
  claim.records.push_back(super.keep());
  // Every group begins with a copy; its own values may be older.
  const std::uint64_t second = super.get<"group_blocks">() * block_bytes;
  if (super.get<"groups">() > 1 && second < view.bytes()) {
    const auto copy = view.record<kXfsSuperblock>(second, ByteOrder::big);
    if (copy.get<"magic">() == kXfsMagic) {
      claim.records.push_back(copy.keep("copy in group 1"));
    } else {
      claim.find(Severity::fault, FindingCode::filesystem_damaged, copy.start(), 4,
                 fmt::format("allocation group 1 begins with {:#010x}, expected a copy of the "
                             "superblock, {:#010x}",
                             copy.get<"magic">(), kXfsMagic));
    }
  }
  Facts& facts = claim.facts;
  facts.set("byte_order", "big")
      .set("version", version)
      .set("block_bytes", block_bytes)
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name", super.text<"volume_name">());
  if (super.get<"free_blocks">() <= super.get<"data_blocks">()) {
    facts
        .set("used_bytes",
             saturating_mul(super.get<"data_blocks">() - super.get<"free_blocks">(), block_bytes))
        .set("free_bytes", saturating_mul(super.get<"free_blocks">(), block_bytes));
  }
  facts.set("uuid", uuid_text(super.raw<"uuid">()))
      .set("groups", super.get<"groups">())
      .set("group_blocks", super.get<"group_blocks">())
      .set("sector_bytes", super.get<"sector_bytes">())
      .set("inode_bytes", super.get<"inode_bytes">())
      .set("inodes", super.get<"inodes">())
      .set("free_inodes", super.get<"free_inodes">())
      .set("log_blocks", super.get<"log_blocks">())
      .set("features", super.get<"version">() & ~kXfsVersionMask);
  if (const auto shape = xfs_shape(view, super)) {
    facts.set("clean", xfs_log_word(xfs_log_state(view, super, *shape)));
  }
  if (super.get<"in_progress">() != 0) {
    claim.find(
        Severity::fault, FindingCode::filesystem_damaged, super.place_of<"in_progress">(), 1,
        fmt::format("in_progress of the XFS superblock is {}, expected 0: its making was not "
                    "finished",
                    super.get<"in_progress">()));
  }
  return settled(std::move(claim));
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  if (view.number(0, 4, ByteOrder::big) != kXfsMagic) return nullptr;
  const auto super = view.record<kXfsSuperblock>(0, ByteOrder::big);
  const auto shape = xfs_shape(view, super);
  if (!super.complete() || !shape) return nullptr;
  return std::make_unique<XfsVolume>(view, super, *shape, options.charset);
}

}  // namespace

extern const Format xfs_format;
const Format xfs_format = {.id = "xfs",
                           .title = "XFS filesystem",
                           .stage = Stage::filesystem,
                           .claims = claims,
                           .open = open};

}  // namespace platter::filesystem
