// HFS: identification by the master directory block at byte 1024.
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "filesystem/hfs_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kBlock = 512;

struct Found {
  HfsHeader header;
  std::optional<HfsHeader> spare;
  bool damaged = false;  // the header is beyond use, the spare copy stands for it
};

// A spare copy is looked for only when the header's signature is there: a copy alone is what is
// left of an older volume.
std::optional<Found> find_header(const View& view) {
  if (view.number(kHfsHeaderPlace, 2, ByteOrder::big) != kHfsSignature) return std::nullopt;
  if (auto header = hfs_header_at(view, kHfsHeaderPlace)) {
    return Found{*header, hfs_spare(view, *header), false};
  }
  if (view.bytes() < kHfsHeaderPlace + 2 * kBlock) return std::nullopt;
  const auto spare = hfs_header_at(view, view.bytes() / kBlock * kBlock - 2 * kBlock);
  if (!spare || hfs_blocks_end(*spare) > view.bytes()) return std::nullopt;
  return Found{*spare, spare, true};
}

void add_time(Facts& facts, std::string_view name, std::uint64_t seconds) {
  if (const auto time = hfs_time(seconds)) facts.set(name, *time);
}

void add_facts(Claim& claim, const HfsHeader& header) {
  const std::uint64_t block_bytes = header.get<"block_bytes">();
  const std::uint64_t blocks = header.get<"blocks">();
  const std::uint64_t free = header.get<"free_blocks">();
  Facts& facts = claim.facts;
  facts.set("byte_order", "big")
      .set("block_bytes", block_bytes)
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name",
                std::string(hfs_name(header.get<"name_length">(), header.raw<"name">())),
                Charset::hfs_roman)
      .set("used_bytes", (blocks - free) * block_bytes)
      .set("free_bytes", free * block_bytes)
      .set("files", header.get<"files">())
      .set("directories", header.get<"directories">());
  add_time(facts, "created", header.get<"created">());
  add_time(facts, "modified", header.get<"modified">());
  add_time(facts, "backed_up", header.get<"backed_up">());
  facts.set("clean", (header.get<"attributes">() & kHfsUnmounted) != 0 ? "clean" : "not clean")
      .set("blocks", blocks);
  if (header.get<"embedded_signature">() == kHfsEmbedded) facts.set("wraps", "hfsplus");
}

std::vector<Claim> claims(const View& view, const Context&) {
  const auto found = find_header(view);
  if (!found) return {};
  const HfsHeader& header = found->header;
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = found->damaged ? Strength::magic : Strength::sane;
  claim.start = view.start();
  claim.bytes =
      found->spare ? found->spare->start() - view.start() + 2 * kBlock : hfs_blocks_end(header);
  claim.title = "HFS volume";
  add_facts(claim, header);
  if (found->damaged) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, view.start() + kHfsHeaderPlace,
               kHfsHeader.bytes,
               "the fields of the header contradict one another; its spare copy is used");
    claim.records.push_back(view.record<kHfsHeader>(kHfsHeaderPlace, ByteOrder::big).keep());
  } else {
    claim.records.push_back(header.keep());
  }
  if (found->spare) claim.records.push_back(found->spare->keep("copy"));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  const auto found = find_header(view);
  if (!found) return nullptr;
  return std::make_unique<HfsVolume>(view, found->header, options);
}

}  // namespace

extern const Format hfs_format;
const Format hfs_format = {
    .id = "hfs", .title = "HFS volume", .stage = Stage::filesystem, .claims = claims, .open = open};

}  // namespace platter::filesystem
