// VxFS: identification by the superblock at byte 1024 (little-endian) or 8192 (big-endian).
#include <optional>
#include <string>
#include <vector>

#include "filesystem/field_checks.h"
#include "filesystem/vxfs_superblock.h"

namespace platter::filesystem {
namespace {

using Super = Record<kVxfsSuperblock>;

// Linux fs/freevxfs/vxfs_super.c looks in these places, in these orders.
std::optional<Super> superblock_of(const View& view) {
  struct Place {
    std::uint64_t at;
    ByteOrder order;
  };
  for (const Place& place : {Place{1024, ByteOrder::little}, {8192, ByteOrder::big}}) {
    if (view.number(place.at, 4, place.order) != kVxfsMagic) continue;
    const auto super = view.record<kVxfsSuperblock>(place.at, place.order);
    if (super.complete()) return super;
  }
  return std::nullopt;
}

std::vector<Claim> claims(const View& view, const Context&) {
  const auto super = superblock_of(view);
  if (!super) return {};
  const std::uint64_t block_bytes = super->get<"block_bytes">();
  const std::uint64_t version = super->get<"version">();
  const std::uint64_t blocks = super->get<"blocks">();
  if (!is_power_of_two_in(block_bytes, 512, 65536) || blocks == 0 || version == 0 || version > 32) {
    return {};
  }
  Claim claim;
  FieldChecks checks(*super, claim);
  checks.check<"data_blocks">(super->get<"data_blocks">() <= blocks, "at most blocks,", blocks);
  checks.check<"free_blocks">(super->get<"free_blocks">() <= blocks, "at most blocks,", blocks);
  const std::uint64_t log = super->get<"block_log">();
  checks.check<"block_log">(log < 32 && std::uint64_t{1} << log == block_bytes, "the logarithm of",
                            block_bytes);
  checks.check<"offset_mask">(super->get<"offset_mask">() == block_bytes - 1, "", block_bytes - 1);
  const std::uint64_t mask = ~(block_bytes - 1) & 0xFFFFFFFFU;
  checks.check<"block_mask">(super->get<"block_mask">() == mask, "", mask);
  claim.start = view.start();
  claim.bytes = blocks * block_bytes;
  claim.title = "VxFS filesystem";
  claim.records.push_back(super->keep());
  Facts& facts = claim.facts;
  facts.set("byte_order", byte_order_name(super->order()))
      .set("version", version)
      .set("block_bytes", block_bytes)
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name", super->text<"volume_name">())
      .set_text("filesystem_name", super->text<"name">());
  if (super->get<"free_blocks">() <= blocks) {
    facts.set("used_bytes", (blocks - super->get<"free_blocks">()) * block_bytes)
        .set("free_bytes", super->get<"free_blocks">() * block_bytes);
  }
  add_unix_time(facts, "created", super->get<"created">());
  add_unix_time(facts, "modified", super->get<"modified">());
  return settled(std::move(claim));
}

}  // namespace

extern const Format vxfs_format;
const Format vxfs_format = {
    .id = "vxfs", .title = "VxFS filesystem", .stage = Stage::filesystem, .claims = claims};

}  // namespace platter::filesystem
