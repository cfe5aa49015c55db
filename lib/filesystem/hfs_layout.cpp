#include "filesystem/hfs_layout.h"

#include <algorithm>
#include <array>

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::uint64_t kLargestBlock = std::uint64_t{1} << 28U;
constexpr std::uint64_t kFurthestSpare = 256;  // 512-byte blocks

bool extent_fits(const FieldReader<kHfsExtent>& extent, std::uint64_t blocks) {
  return fits_within(extent.get<"start">(), extent.get<"count">(), blocks);
}

// Rank of each character in a name (Linux fs/hfs/string.c, caseorder): equal ranks are equal in
// names.
constexpr std::array<std::uint8_t, 256> kRanks = {
    0,   1,   2,   3,   4,   5,   6,   7,   8,   9,   10,  11,  12,  13,  14,  15,  16,  17,  18,
    19,  20,  21,  22,  23,  24,  25,  26,  27,  28,  29,  30,  31,  32,  34,  35,  40,  41,  42,
    43,  44,  47,  48,  49,  50,  51,  52,  53,  54,  55,  56,  57,  58,  59,  60,  61,  62,  63,
    64,  65,  66,  67,  68,  69,  70,  71,  72,  87,  89,  93,  95,  102, 104, 106, 108, 114, 116,
    118, 120, 122, 126, 140, 142, 144, 146, 149, 151, 158, 160, 162, 164, 167, 169, 170, 171, 172,
    173, 78,  72,  87,  89,  93,  95,  102, 104, 106, 108, 114, 116, 118, 120, 122, 126, 140, 142,
    144, 146, 149, 151, 158, 160, 162, 164, 167, 175, 176, 177, 178, 179, 74,  76,  90,  96,  123,
    127, 152, 79,  73,  81,  74,  75,  76,  90,  96,  99,  100, 101, 110, 111, 112, 113, 123, 132,
    133, 134, 127, 128, 154, 155, 156, 152, 180, 181, 182, 183, 184, 185, 186, 148, 187, 188, 189,
    190, 191, 192, 77,  129, 193, 194, 195, 196, 197, 198, 199, 200, 201, 202, 203, 85,  138, 204,
    77,  129, 205, 206, 207, 208, 209, 210, 211, 38,  39,  212, 32,  73,  75,  128, 130, 130, 213,
    214, 36,  37,  45,  46,  215, 216, 166, 217, 218, 219, 220, 221, 222, 223, 224, 225, 226, 227,
    228, 229, 230, 231, 232, 233, 234, 235, 236, 237, 238, 239, 240, 241, 242, 243, 244, 245, 246,
    247, 248, 249, 250, 251, 252, 253, 254, 255};

std::uint8_t rank_of(char c) {
  return kRanks[static_cast<unsigned char>(c)];
}

}  // namespace

std::optional<HfsHeader> hfs_header_at(const View& view, std::uint64_t place) {
  if (view.number(place, 2, ByteOrder::big) != kHfsSignature) return std::nullopt;
  const auto header = view.record<kHfsHeader>(place, ByteOrder::big);
  const std::uint64_t blocks = header.get<"blocks">();
  const std::uint64_t block_bytes = header.get<"block_bytes">();
  const std::uint64_t bitmap_blocks = divide_up(blocks, 8 * kBlock);
  const std::uint64_t name = header.get<"name_length">();
  const auto catalog = header.sub<"catalog_extents">(0);
  const auto extents = header.sub<"extents_extents">(0);
  const bool sensible =
      header.complete() && blocks != 0 && block_bytes != 0 && block_bytes % kBlock == 0 &&
      block_bytes <= kLargestBlock && header.get<"bitmap_start">() >= 3 &&
      header.get<"bitmap_start">() + bitmap_blocks <= header.get<"first_block">() && name >= 1 &&
      name <= 27 && header.get<"free_blocks">() <= blocks &&
      header.get<"next_id">() >= kHfsFirstUserId && catalog.get<"count">() != 0 &&
      extents.get<"count">() != 0 && extent_fits(catalog, blocks) && extent_fits(extents, blocks) &&
      header.get<"catalog_bytes">() % kHfsNodeBytes == 0 && header.get<"catalog_bytes">() != 0 &&
      header.get<"extents_bytes">() % kHfsNodeBytes == 0 && header.get<"extents_bytes">() != 0;
  if (!sensible) return std::nullopt;
  return header;
}

std::uint64_t hfs_blocks_end(const HfsHeader& header) {
  return header.get<"first_block">() * kBlock +
         header.get<"blocks">() * header.get<"block_bytes">();
}

std::optional<HfsHeader> hfs_spare(const View& view, const HfsHeader& header) {
  const std::uint64_t end = hfs_blocks_end(header);
  const std::uint64_t steps = std::min(header.get<"block_bytes">() / kBlock, kFurthestSpare);
  for (std::uint64_t step = 0; step <= steps; ++step) {
    const auto spare = hfs_header_at(view, end + step * kBlock);
    if (spare && spare->get<"blocks">() == header.get<"blocks">() &&
        spare->get<"block_bytes">() == header.get<"block_bytes">()) {
      return spare;
    }
  }
  return std::nullopt;
}

std::optional<Timestamp> hfs_time(std::uint64_t seconds) {
  if (seconds == 0) return std::nullopt;
  return Timestamp{static_cast<std::int64_t>(seconds) - kHfsEpoch};
}

std::string_view hfs_name(std::uint64_t length, std::span<const std::byte> bytes) {
  const std::size_t count = std::min<std::size_t>(length, bytes.size());
  return {reinterpret_cast<const char*>(bytes.data()), count};
}

HfsCatalogKey hfs_catalog_key(std::span<const std::byte> record) {
  using Key = FieldReader<kHfsCatalogKey>;
  constexpr std::size_t kFixed = Key::offset_of<"name">();
  if (record.size() < kFixed) return {};
  // Short names leave out the end of the structure: what lies behind the key is no part of it.
  std::array<std::byte, kHfsCatalogKey.bytes> bytes{};
  std::copy_n(record.begin(), kFixed, bytes.begin());
  const Key key(bytes.data(), ByteOrder::big);
  const std::size_t length = 1 + key.get<"length">();
  if (length < kFixed || length > record.size()) return {};
  return {key.get<"parent">(),
          hfs_name(key.get<"name_length">(), record.subspan(kFixed, length - kFixed))};
}

int compare_hfs_names(std::string_view a, std::string_view b) {
  for (std::size_t i = 0; i < std::min(a.size(), b.size()); ++i) {
    const int difference = rank_of(a[i]) - rank_of(b[i]);
    if (difference != 0) return difference;
  }
  return static_cast<int>(a.size()) - static_cast<int>(b.size());
}

}  // namespace platter::filesystem
