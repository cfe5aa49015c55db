#include "filesystem/hfsplus_layout.h"

#include <algorithm>

#include "filesystem/field_checks.h"
#include "filesystem/hfs_layout.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kSector = 512;
constexpr std::uint64_t kCopyFromEnd = 1024;
constexpr std::uint64_t kFurthestCopy = 256;  // sectors

bool fits(const FieldReader<kHfsPlusFork>& fork, std::uint64_t blocks, std::uint64_t block_bytes) {
  const auto first = fork.sub<"extents">(0);
  return first.get<"count">() != 0 &&
         fits_within(first.get<"start">(), first.get<"count">(), blocks) &&
         first.get<"count">() <= fork.get<"blocks">() &&
         fork.get<"length">() <= saturating_mul(fork.get<"blocks">(), block_bytes);
}

std::optional<HfsPlusHeader> header_at(const View& volume, std::uint64_t place) {
  const auto header = volume.record<kHfsPlusHeader>(place, ByteOrder::big);
  if (!is_hfsplus_header(header)) return std::nullopt;
  return header;
}

// The last header of the view, when a volume of its size ends there.
std::optional<HfsPlusHeader> last_header(const View& volume) {
  const std::uint64_t end = volume.bytes() / kSector * kSector;
  if (end < 2 * kCopyFromEnd) return std::nullopt;
  auto copy = header_at(volume, end - kCopyFromEnd);
  if (!copy || !hfsplus_contradictions(*copy).empty()) return std::nullopt;
  const std::uint64_t blocks_end = hfsplus_blocks_end(*copy);
  if (blocks_end > end || end - blocks_end >= copy->get<"block_bytes">()) return std::nullopt;
  return copy;
}

}  // namespace

HfsPlusPlace hfsplus_place(const View& view) {
  const auto wrapper = hfs_header_at(view, kHfsHeaderPlace);
  if (!wrapper || wrapper->get<"embedded_signature">() != kHfsEmbedded) return {view, 0};
  const auto embedded = wrapper->sub<"embedded">();
  const std::uint64_t block_bytes = wrapper->get<"block_bytes">();
  const std::uint64_t start =
      wrapper->get<"first_block">() * kSector + embedded.get<"start">() * block_bytes;
  return {view.sub(start, view.bytes()), embedded.get<"count">() * block_bytes};
}

bool is_hfsplus_header(const HfsPlusHeader& header) {
  const std::uint64_t signature = header.get<"signature">();
  const std::uint64_t version = header.get<"version">();
  return header.complete() &&
         ((signature == kHfsPlusSignature && version == 4) ||
          (signature == kHfsPlusCaseSignature && version == 5)) &&
         header.get<"blocks">() != 0 &&
         is_power_of_two_in(header.get<"block_bytes">(), kSector, std::uint64_t{1} << 31U);
}

std::vector<Finding> hfsplus_contradictions(const HfsPlusHeader& header) {
  Claim claim;
  FieldChecks checks(header, claim);
  const std::uint64_t blocks = header.get<"blocks">();
  checks.check<"free_blocks">(header.get<"free_blocks">() <= blocks, "at most blocks,", blocks);
  checks.check<"next_id">(header.get<"next_id">() >= kHfsFirstUserId, "at least", kHfsFirstUserId);
  const auto catalog = header.sub<"catalog">();
  if (!fits(catalog, blocks, header.get<"block_bytes">())) {
    claim.find(
        Severity::fault, FindingCode::filesystem_damaged, header.place_of<"catalog">(),
        kHfsPlusFork.bytes,
        fmt::format("the catalog has {} bytes from block {} on, expected them inside {} "
                    "blocks",
                    catalog.get<"length">(), catalog.sub<"extents">(0).get<"start">(), blocks));
  }
  return std::move(claim.findings);
}

std::optional<HfsPlusFound> find_hfsplus(const View& volume) {
  const std::uint64_t signature = volume.number(kHfsPlusHeaderPlace, 2, ByteOrder::big);
  if (signature != kHfsPlusSignature && signature != kHfsPlusCaseSignature) return std::nullopt;
  const auto header = header_at(volume, kHfsPlusHeaderPlace);
  if (header) {
    const auto copy = hfsplus_copy(volume, *header);
    if (hfsplus_contradictions(*header).empty()) return HfsPlusFound{*header, copy, false};
    if (copy && hfsplus_contradictions(*copy).empty()) return HfsPlusFound{*copy, copy, true};
    return HfsPlusFound{*header, copy, false};
  }
  const auto copy = last_header(volume);
  if (!copy) return std::nullopt;
  return HfsPlusFound{*copy, copy, true};
}

std::uint64_t hfsplus_blocks_end(const HfsPlusHeader& header) {
  return header.get<"blocks">() * header.get<"block_bytes">();
}

std::optional<HfsPlusHeader> hfsplus_copy(const View& volume, const HfsPlusHeader& header) {
  const std::uint64_t end = hfsplus_blocks_end(header);
  if (end < 2 * kCopyFromEnd) return std::nullopt;
  const std::uint64_t steps = std::min(header.get<"block_bytes">() / kSector, kFurthestCopy);
  for (std::uint64_t step = 0; step < steps; ++step) {
    const std::uint64_t place = end - kCopyFromEnd + step * kSector;
    if (place >= volume.bytes()) break;
    const auto copy = header_at(volume, place);
    if (copy && copy->get<"blocks">() == header.get<"blocks">() &&
        copy->get<"block_bytes">() == header.get<"block_bytes">()) {
      return copy;
    }
  }
  return std::nullopt;
}

std::optional<HfsTreeForm> hfsplus_tree_form(const View& volume, std::uint64_t place) {
  constexpr std::uint64_t kHeaderNode = 1;
  const auto node = volume.record<kHfsNode>(place, ByteOrder::big);
  const auto tree = volume.record<kHfsTreeHeader>(place + kHfsNode.bytes, ByteOrder::big);
  const std::uint64_t node_bytes = tree.get<"node_bytes">();
  if (!tree.complete() || node.get<"kind">() != kHeaderNode ||
      !is_power_of_two_in(node_bytes, kHfsPlusSmallestNode, kHfsPlusLargestNode)) {
    return std::nullopt;
  }
  const bool variable = (tree.get<"tree_attributes">() & kHfsPlusVariableKeys) != 0;
  return HfsTreeForm{.node_bytes = static_cast<std::size_t>(node_bytes),
                     .key_width = 2,
                     .index_key_bytes = variable ? 0 : tree.get<"most_key_bytes">()};
}

HfsPlusCatalogKey hfsplus_catalog_key(std::span<const std::byte> record) {
  using Key = FieldReader<kHfsPlusKey>;
  constexpr std::size_t kWidth = Key::offset_of<"parent">();
  if (record.size() < kHfsPlusKey.bytes) return {};
  const Key key(record.data(), ByteOrder::big);
  const std::size_t end = kWidth + key.get<"length">();
  if (end < kHfsPlusKey.bytes || end > record.size()) return {};
  const std::uint64_t most = std::min<std::uint64_t>(key.get<"name_units">(), kHfsPlusMostUnits);
  return {key.get<"parent">(),
          hfs_name(2 * most, record.subspan(kHfsPlusKey.bytes, (end - kHfsPlusKey.bytes) / 2 * 2))};
}

std::uint64_t hfsplus_kind(std::span<const std::byte> data) {
  constexpr std::size_t kKindBytes = 2;
  if (data.size() < kKindBytes) return 0;
  return decode_unsigned(data.first(kKindBytes), ByteOrder::big);
}

}  // namespace platter::filesystem
