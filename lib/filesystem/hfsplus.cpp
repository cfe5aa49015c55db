// HFS+: identification by the volume header, plain or wrapped in an HFS volume.
#include <optional>
#include <string>
#include <vector>

#include "filesystem/field_checks.h"
#include "filesystem/hfs_layout.h"
#include "filesystem/hfsplus_structures.h"

namespace platter::filesystem {
namespace {

using Header = Record<kHfsPlusHeader>;

// Where the volume starts in the view: at its first byte, or inside an HFS volume that wraps it.
std::uint64_t start_of_volume(const View& view) {
  const auto wrapper = hfs_header_at(view, kHfsHeaderPlace);
  if (!wrapper || wrapper->get<"embedded_signature">() != kHfsPlusSignature) return 0;
  return wrapper->get<"first_block">() * 512 +
         wrapper->sub<"embedded">().get<"start">() * wrapper->get<"block_bytes">();
}

bool has_signature(const Header& header) {
  const std::uint64_t signature = header.get<"signature">();
  return header.complete() &&
         ((signature == kHfsPlusSignature && header.get<"version">() == 4) ||
          (signature == kHfsPlusCaseSignature && header.get<"version">() == 5));
}

// The volume's name is that of the root directory: the key of the catalog's first record, which
// belongs to the directory above the root.
std::optional<std::string> name_of(const View& volume, const Header& header) {
  const auto extent = header.sub<"catalog">().sub<"extents">(0);
  const std::uint64_t block_bytes = header.get<"block_bytes">();
  const std::uint64_t catalog = extent.get<"start">() * block_bytes;
  const auto tree = volume.record<kHfsTreeHeader>(catalog + kHfsNode.bytes, ByteOrder::big);
  const std::uint64_t node_bytes = tree.get<"node_bytes">();
  const std::uint64_t offset = saturating_mul(tree.get<"first_leaf">(), node_bytes);
  if (!is_power_of_two_in(node_bytes, 512, 32768) ||
      !fits_within(offset, node_bytes, extent.get<"count">() * block_bytes)) {
    return std::nullopt;
  }
  const std::uint64_t place = catalog + offset + kHfsNode.bytes;
  const auto key = volume.record<kHfsPlusKey>(place, ByteOrder::big);
  if (key.get<"parent">() != kHfsRootParent || key.get<"name_units">() > 255) return std::nullopt;
  const auto raw = volume.read_vector(place + kHfsPlusKey.bytes, key.get<"name_units">() * 2);
  return std::string(reinterpret_cast<const char*>(raw.data()), raw.size());
}

void add_time(Facts& facts, std::string_view name, std::uint64_t seconds) {
  if (const auto time = hfs_time(seconds)) facts.set(name, *time);
}

void check(Claim& claim, const Header& header) {
  FieldChecks checks(header, claim);
  const std::uint64_t blocks = header.get<"blocks">();
  checks.check<"free_blocks">(header.get<"free_blocks">() <= blocks, "at most blocks,", blocks);
  checks.check<"next_id">(header.get<"next_id">() >= kHfsFirstUserId, "at least", kHfsFirstUserId);
  const auto catalog = header.sub<"catalog">();
  const auto first = catalog.sub<"extents">(0);
  const bool fits = first.get<"count">() != 0 &&
                    fits_within(first.get<"start">(), first.get<"count">(), blocks) &&
                    first.get<"count">() <= catalog.get<"blocks">() &&
                    catalog.get<"length">() <=
                        saturating_mul(catalog.get<"blocks">(), header.get<"block_bytes">());
  if (!fits) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, header.place_of<"catalog">(),
               kHfsPlusFork.bytes,
               fmt::format("the catalog has {} bytes from block {} on, expected them inside {} "
                           "blocks",
                           catalog.get<"length">(), first.get<"start">(), blocks));
  }
}

std::vector<Claim> claims(const View& view, const Context&) {
  const std::uint64_t start = start_of_volume(view);
  const View volume = view.sub(start, view.bytes());
  const auto header = volume.record<kHfsPlusHeader>(kHfsPlusHeaderPlace, ByteOrder::big);
  const std::uint64_t block_bytes = header.get<"block_bytes">();
  const std::uint64_t blocks = header.get<"blocks">();
  if (!has_signature(header) || blocks == 0 ||
      !is_power_of_two_in(block_bytes, 512, std::uint64_t{1} << 31U)) {
    return {};
  }
  Claim claim;
  check(claim, header);
  claim.start = volume.start();
  claim.bytes = blocks * block_bytes;
  claim.title = "HFS+ volume";
  claim.records.push_back(header.keep());
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
      .set("journal", (header.get<"attributes">() & 0x2000U) != 0)
      .set_text("last_mounter", header.text<"last_mounter">());
  if (start != 0) facts.set("wrapped_in", "hfs");
  const auto copy = volume.record<kHfsPlusHeader>(claim.bytes - 1024, ByteOrder::big);
  if (claim.bytes >= 2048 && has_signature(copy)) claim.records.push_back(copy.keep("copy"));
  return settled(std::move(claim));
}

}  // namespace

extern const Format hfsplus_format;
const Format hfsplus_format = {
    .id = "hfsplus", .title = "HFS+ volume", .stage = Stage::filesystem, .claims = claims};

}  // namespace platter::filesystem
