// HFS+: identification by the volume header, plain or wrapped in an HFS volume.
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "filesystem/field_checks.h"
#include "filesystem/hfs_layout.h"
#include "filesystem/hfsplus_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kCopyBytes = 1024;  // the copy and the 512 bytes behind it

// The volume's name is that of the root directory: the key of the catalog's first record, which
// belongs to the directory above the root.
std::optional<std::string> name_of(const View& volume, const HfsPlusHeader& header) {
  const auto extent = header.sub<"catalog">().sub<"extents">(0);
  const std::uint64_t block_bytes = header.get<"block_bytes">();
  const std::uint64_t catalog = extent.get<"start">() * block_bytes;
  const auto form = hfsplus_tree_form(volume, catalog);
  if (!form) return std::nullopt;
  const HfsTree tree(volume, {{catalog, extent.get<"count">() * block_bytes}}, *form);
  HfsTreeNode node;
  if (!tree.read(tree.header().get<"first_leaf">(), node)) return std::nullopt;
  const HfsPlusCatalogKey key = hfsplus_catalog_key(node.record(0));
  if (key.parent != kHfsRootParent) return std::nullopt;
  return std::string(key.name);
}

void add_time(Facts& facts, std::string_view name, std::uint64_t seconds) {
  if (const auto time = hfs_time(seconds)) facts.set(name, *time);
}

void add_facts(Claim& claim, const View& volume, const HfsPlusHeader& header) {
  const std::uint64_t block_bytes = header.get<"block_bytes">();
  const std::uint64_t blocks = header.get<"blocks">();
  const bool by_case = header.get<"signature">() == kHfsPlusCaseSignature;
  Facts& facts = claim.facts;
  facts.set("byte_order", "big")
      .set("variant", by_case ? "case-sensitive" : "plain")
      .set("block_bytes", block_bytes)
      .set("volume_bytes", claim.bytes);
  if (const auto name = name_of(volume, header)) {
    facts.set_text("volume_name", *name, Charset::ucs2_be);
  }
  if (header.get<"free_blocks">() <= blocks) {
    facts.set("used_bytes", (blocks - header.get<"free_blocks">()) * block_bytes)
        .set("free_bytes", header.get<"free_blocks">() * block_bytes);
  }
  facts.set("files", header.get<"files">()).set("directories", header.get<"directories">());
  add_time(facts, "created", header.get<"created">());
  add_time(facts, "modified", header.get<"modified">());
  add_time(facts, "checked", header.get<"checked">());
  facts.set("clean", (header.get<"attributes">() & kHfsUnmounted) != 0 ? "clean" : "not clean")
      .set("journal", (header.get<"attributes">() & kHfsPlusJournal) != 0)
      .set_text("last_mounter", header.text<"last_mounter">());
}

std::vector<Claim> claims(const View& view, const Context&) {
  const HfsPlusPlace place = hfsplus_place(view);
  const View& volume = place.volume;
  const auto found = find_hfsplus(volume);
  if (!found) return {};
  const HfsPlusHeader& header = found->header;
  Claim claim;
  claim.start = volume.start();
  claim.bytes = hfsplus_blocks_end(header);
  if (found->copy) {
    claim.bytes = std::max(claim.bytes, found->copy->start() - volume.start() + kCopyBytes);
  }
  claim.title = "HFS+ volume";
  if (found->damaged) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged,
               volume.start() + kHfsPlusHeaderPlace, kHfsPlusHeader.bytes,
               "the fields of the header contradict one another; its copy is used");
    claim.records.push_back(
        volume.record<kHfsPlusHeader>(kHfsPlusHeaderPlace, ByteOrder::big).keep());
  } else {
    claim.findings = hfsplus_contradictions(header);
    claim.records.push_back(header.keep());
  }
  if (place.wrapped != 0 && hfsplus_blocks_end(header) > place.wrapped) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, header.place_of<"blocks">(), 4,
               fmt::format("the volume has {} bytes, expected at most the {} that the HFS volume "
                           "around it gives it",
                           hfsplus_blocks_end(header), place.wrapped));
  }
  add_facts(claim, volume, header);
  if (place.wrapped != 0) claim.facts.set("wrapped_in", "hfs");
  if (found->copy) claim.records.push_back(found->copy->keep("copy"));
  return settled(std::move(claim));
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions&) {
  const HfsPlusPlace place = hfsplus_place(view);
  const auto found = find_hfsplus(place.volume);
  if (!found) return nullptr;
  return std::make_unique<HfsPlusVolume>(place.volume, place.volume.start() - view.start(),
                                         found->header);
}

}  // namespace

extern const Format hfsplus_format;
const Format hfsplus_format = {.id = "hfsplus",
                               .title = "HFS+ volume",
                               .stage = Stage::filesystem,
                               .claims = claims,
                               .open = open};

}  // namespace platter::filesystem
