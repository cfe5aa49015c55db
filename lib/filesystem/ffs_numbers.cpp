#include "filesystem/ffs_numbers.h"

#include <algorithm>
#include <array>
#include <bit>
#include <limits>

#include <fmt/format.h>

#include "core/numbers.h"
#include "filesystem/ffs_group.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kSmallestBlock = 4096;  // MINBSIZE
constexpr std::uint64_t kLargestBlock = 65536;  // MAXBSIZE
constexpr std::uint64_t kSmallestFragment = 512;
constexpr std::uint64_t kMostFragments = 8;      // MAXFRAG
constexpr std::uint64_t kSuperblockArea = 8192;  // SBSIZE
constexpr std::uint64_t kMostInodes = std::uint64_t{1} << 31U;

using Head = FieldReader<kFfsHead>;
using Body = FieldReader<kFfsBody>;

std::uint64_t power_of_two(std::uint64_t shift) {
  return shift < 32 ? std::uint64_t{1} << shift : 0;
}

// ~(n - 1) in 32 bits is 2^32 - n.
std::uint64_t size_of_mask(std::uint64_t mask) {
  return (std::uint64_t{1} << 32U) - mask;
}

// The value that most of the votes give, if it is a power of two in range and at least three do.
template <std::size_t N>
std::uint64_t majority(const std::array<std::uint64_t, N>& votes, std::uint64_t low,
                       std::uint64_t high) {
  for (const std::uint64_t vote : votes) {
    if (is_power_of_two_in(vote, low, high) && std::ranges::count(votes, vote) >= 3) return vote;
  }
  return 0;
}

struct Sizes {
  std::uint64_t block;
  std::uint64_t fragment;
  std::uint64_t address;  // bytes of a block address
  std::uint64_t inode;
};

std::optional<Sizes> sizes_of(const Head& head, bool ufs2) {
  Sizes sizes{};
  sizes.address = ufs2 ? 8 : 4;
  sizes.inode = ufs2 ? kUfs2InodeBytes : kFfsInodeBytes;
  sizes.block =
      majority(std::array{head.get<"bsize">(), power_of_two(head.get<"bshift">()),
                          size_of_mask(head.get<"bmask">()), head.get<"nindir">() * sizes.address,
                          head.get<"inopb">() * sizes.inode},
               kSmallestBlock, kLargestBlock);
  if (sizes.block == 0) return std::nullopt;
  const std::uint64_t parts = head.get<"frag">();
  sizes.fragment =
      majority(std::array{head.get<"fsize">(), power_of_two(head.get<"fshift">()),
                          size_of_mask(head.get<"fmask">()), parts == 0 ? 0 : sizes.block / parts},
               std::max(kSmallestFragment, sizes.block / kMostFragments), sizes.block);
  if (sizes.fragment == 0) return std::nullopt;
  return sizes;
}

std::uint64_t log2_of(std::uint64_t power) {
  return static_cast<std::uint64_t>(std::countr_zero(power));
}

// The wide structure over the same bytes.
FieldReader<kFfsWide> wide_view(const FfsRecord& superblock) {
  return {superblock.all().data(), superblock.order()};
}

// Places in `doubts` and the words for them.
class Checks {
 public:
  Checks(const FfsRecord& superblock, std::vector<FfsDoubt>& doubts)
      : head_(superblock.sub<"head">()),
        body_(superblock.sub<"body">()),
        wide_(wide_view(superblock)),
        start_(superblock.start()),
        doubts_(doubts) {}

  template <FieldName N>
  void head(bool holds, std::string_view relation, std::uint64_t value) {
    if (holds) return;
    add(FfsRecord::offset_of<"head">() + Head::offset_of<N>(), kFfsHead.find(N.view())->width,
        N.view(), number(head_.get<N>()), relation, value);
  }
  template <FieldName N>
  void body(bool holds, std::string_view relation, std::uint64_t value) {
    if (holds) return;
    add(FfsRecord::offset_of<"body">() + Body::offset_of<N>(), kFfsBody.find(N.view())->width,
        N.view(), number(body_.get<N>()), relation, value);
  }
  template <FieldName N>
  void wide(bool holds, std::string_view relation, std::uint64_t value) {
    if (holds) return;
    add(FieldReader<kFfsWide>::offset_of<N>(), kFfsWide.find(N.view())->width, N.view(),
        number(wide_.get<N>()), relation, value);
  }
  void totals(std::uint32_t bytes, const std::string& message) {
    doubts_.push_back(
        {start_ + FfsRecord::offset_of<"body">() + Body::offset_of<"cstotal">(), bytes, message});
  }

 private:
  static std::uint64_t number(std::uint64_t value) { return value; }
  static std::uint64_t number(std::int64_t value) { return static_cast<std::uint64_t>(value); }

  void add(std::uint32_t offset, std::uint32_t bytes, std::string_view name, std::uint64_t found,
           std::string_view relation, std::uint64_t value) {
    const std::string_view gap = relation.empty() ? "" : " ";
    doubts_.push_back({start_ + offset, bytes,
                       fmt::format("the superblock's {} is {}, expected {}{}{}", name, found,
                                   relation, gap, value)});
  }

  Head head_;
  Body body_;
  FieldReader<kFfsWide> wide_;
  std::uint64_t start_;
  std::vector<FfsDoubt>& doubts_;
};

void check_sizes(Checks& checks, const Head& head, const Sizes& sizes) {
  const std::uint64_t block = sizes.block;
  const std::uint64_t fragment = sizes.fragment;
  const std::uint64_t all = std::uint64_t{1} << 32U;
  checks.head<"bsize">(head.get<"bsize">() == block, "", block);
  checks.head<"fsize">(head.get<"fsize">() == fragment, "", fragment);
  checks.head<"frag">(head.get<"frag">() == block / fragment, "", block / fragment);
  checks.head<"bmask">(head.get<"bmask">() == all - block, "", all - block);
  checks.head<"fmask">(head.get<"fmask">() == all - fragment, "", all - fragment);
  checks.head<"bshift">(head.get<"bshift">() == log2_of(block), "", log2_of(block));
  checks.head<"fshift">(head.get<"fshift">() == log2_of(fragment), "", log2_of(fragment));
  checks.head<"fragshift">(head.get<"fragshift">() == log2_of(block / fragment), "",
                           log2_of(block / fragment));
  checks.head<"nindir">(head.get<"nindir">() == block / sizes.address, "", block / sizes.address);
  checks.head<"inopb">(head.get<"inopb">() == block / sizes.inode, "", block / sizes.inode);
  // A device block is never smaller than 512 bytes.
  const std::uint64_t deepest = log2_of(fragment / kSmallestFragment);
  checks.head<"fsbtodb">(head.get<"fsbtodb">() <= deepest, "at most", deepest);
  const std::uint64_t largest = std::max(kSuperblockArea, fragment);
  checks.head<"sbsize">(head.get<"sbsize">() >= kFfsSuperblock.bytes, "at least",
                        kFfsSuperblock.bytes);
  checks.head<"sbsize">(head.get<"sbsize">() <= largest, "at most", largest);
  checks.head<"minfree">(head.get<"minfree">() < 100, "below", 100);
}

void check_group_layout(Checks& checks, const Head& head, const Body& body, const Sizes& sizes,
                        std::uint64_t place) {
  // Every maker of this format leaves 8192 bytes for the superblock in use and starts its copy at
  // the next whole block.
  const std::uint64_t copy =
      divide_up(place + kSuperblockArea, sizes.block) * (sizes.block / sizes.fragment);
  checks.head<"sblkno">(head.get<"sblkno">() == copy, "", copy);
  const std::uint64_t inodes = body.get<"ipg">();
  const std::uint64_t inode_blocks = divide_up(inodes, sizes.block / sizes.inode);
  const std::uint64_t inode_fragments = inode_blocks * (sizes.block / sizes.fragment);
  checks.head<"cblkno">(head.get<"cblkno">() > copy, "more than", copy);
  checks.head<"iblkno">(head.get<"iblkno">() > head.get<"cblkno">(), "more than cblkno,",
                        head.get<"cblkno">());
  checks.head<"dblkno">(head.get<"dblkno">() >= head.get<"iblkno">() + inode_fragments, "at least",
                        head.get<"iblkno">() + inode_fragments);
  checks.head<"dblkno">(head.get<"dblkno">() <= body.get<"fpg">(), "at most fpg,",
                        body.get<"fpg">());
  checks.body<"ipg">(inodes != 0, "more than", 0);
  checks.body<"cgsize">(body.get<"cgsize">() <= sizes.block, "at most", sizes.block);
  checks.body<"cgsize">(body.get<"cgsize">() >= kFfsGroup.bytes, "at least", kFfsGroup.bytes);
}

void check_extent(Checks& checks, const Body& body, const FfsReading& reading) {
  const FfsGeometry& geometry = reading.geometry;
  const std::uint64_t groups = geometry.groups;
  const std::uint64_t capacity = groups * geometry.group_fragments;  // 32 bits each
  const std::uint64_t before_last = groups == 0 ? 0 : capacity - geometry.group_fragments;
  const std::uint64_t size = geometry.fragments;
  checks.head<"ncg">(groups != 0, "more than", 0);
  if (reading.dialect == FfsDialect::ufs2) {
    checks.wide<"wide_size">(size > before_last, "(ncg groups of fpg) more than", before_last);
    checks.wide<"wide_size">(size <= capacity, "(ncg groups of fpg) at most", capacity);
    checks.wide<"wide_dsize">(geometry.data_fragments < size, "below the size,", size);
  } else {
    checks.head<"size">(size > before_last, "(ncg groups of fpg) more than", before_last);
    checks.head<"size">(size <= capacity, "(ncg groups of fpg) at most", capacity);
    checks.head<"dsize">(geometry.data_fragments < size, "below the size,", size);
    checks.body<"csaddr">(body.get<"csaddr">() < size, "below the size,", size);
  }
  const std::uint64_t most = groups == 0 ? 0 : kMostInodes / groups;
  checks.body<"ipg">(geometry.group_inodes <= most, "(ncg times) at most", most);
  const std::uint64_t summaries = groups * kFfsSummary.bytes;
  checks.body<"cssize">(body.get<"cssize">() >= summaries, "at least", summaries);
}

void check_wide(Checks& checks, const FfsRecord& superblock, const FfsReading& reading,
                std::uint64_t place) {
  const auto wide = wide_view(superblock);
  const FfsGeometry& geometry = reading.geometry;
  checks.wide<"sblockloc">(wide.get<"sblockloc">() == place, "", place);
  checks.wide<"wide_csaddr">(wide.get<"wide_csaddr">() < geometry.fragments, "below the size,",
                             geometry.fragments);
  if (reading.dialect == FfsDialect::ufs2) return;
  checks.wide<"wide_size">(wide.get<"wide_size">() == geometry.fragments, "as size,",
                           geometry.fragments);
  checks.wide<"wide_dsize">(wide.get<"wide_dsize">() == geometry.data_fragments, "as dsize,",
                            geometry.data_fragments);
}

bool within(std::int64_t value, std::uint64_t most) {
  return value >= 0 && static_cast<std::uint64_t>(value) <= most;
}

void check_totals(Checks& checks, const FfsReading& reading) {
  const FfsGeometry& geometry = reading.geometry;
  const FfsTotals& totals = reading.totals;
  const std::uint64_t inodes = geometry.groups * geometry.group_inodes;
  const std::uint64_t parts = geometry.block_bytes / geometry.fragment_bytes;
  const bool blocks_fit = within(totals.free_blocks, geometry.data_fragments / parts) &&
                          within(totals.free_fragments, geometry.data_fragments);
  if (!blocks_fit || static_cast<std::uint64_t>(totals.free_blocks) * parts +
                             static_cast<std::uint64_t>(totals.free_fragments) >
                         geometry.data_fragments) {
    checks.totals(kFfsSummary.bytes,
                  fmt::format("the superblock counts {} free blocks and {} free fragments, "
                              "expected at most {} fragments together",
                              totals.free_blocks, totals.free_fragments, geometry.data_fragments));
  }
  if (!within(totals.free_inodes, inodes) || !within(totals.directories, inodes)) {
    checks.totals(kFfsSummary.bytes,
                  fmt::format("the superblock counts {} free inodes and {} directories, expected "
                              "at most {} each",
                              totals.free_inodes, totals.directories, inodes));
  }
}

bool is_dialect_v(const FfsRecord& superblock) {
  switch (superblock.get<"magic">()) {
    case kFfsLongNamesMagic:
    case kFfsSecureMagic:
    case kFfsFeatureMagic:
    case kFfsLargeMagic:
      return true;
    default:
      return false;
  }
}

// A dump whose groups of four bytes were reversed keeps every number of 32 bits (in the other
// order), but not the text and not the order of words in numbers of 64 bits.
bool words_look_reversed(const FfsRecord& superblock, const FfsReading& reading) {
  const std::uint64_t mask = reading.geometry.block_bytes - 1;
  const FieldReader<kFfs44> bsd(superblock.all().data(), superblock.order());
  const FieldReader<kFfsSvr4Big> svr4(superblock.all().data(), superblock.order());
  const auto tail = bsd.sub<"tail">();
  const auto mount_point = superblock.raw<"union_212">();
  constexpr auto kSlash = std::byte{'/'};
  if (mount_point[0] != kSlash && mount_point[3] == kSlash) return true;
  if (reading.dialect == FfsDialect::classic) {
    return tail.get<"qbmask">() == mask << 32U || svr4.get<"qbmask">() == mask << 32U;
  }
  // A reversed big-endian 4.4BSD superblock has its masks where the SVR4 line has them.
  return reading.dialect == FfsDialect::svr4 && superblock.order() == ByteOrder::little &&
         tail.get<"maxsymlinklen">() == 60 && tail.get<"inodefmt">() == kFfs44InodeFormat;
}

// The masks of 64 bits tell the younger dialects apart: nothing else holds them by chance.
FfsDialect dialect_of(const FfsRecord& superblock, std::uint64_t block_bytes, bool ufs2) {
  if (ufs2) return FfsDialect::ufs2;
  if (is_dialect_v(superblock)) return FfsDialect::dialect_v;
  const FieldReader<kFfs44> bsd(superblock.all().data(), superblock.order());
  const FieldReader<kFfsSvr4Big> svr4(superblock.all().data(), superblock.order());
  const auto tail = bsd.sub<"tail">();
  if (tail.get<"qbmask">() == block_bytes - 1) {
    const bool old_inodes = tail.get<"inodefmt">() == kFfs42InodeFormat;
    return old_inodes ? FfsDialect::bsd44_old : FfsDialect::bsd44;
  }
  if (svr4.get<"qbmask">() == block_bytes - 1) return FfsDialect::svr4;
  // The magic of short names is everybody's; these states of the clean byte are dialect V's.
  const std::uint64_t clean = superblock.sub<"body">().get<"clean">();
  const bool states_of_v = clean == 0x17 || clean == 0x53 || clean == 0x31;
  return states_of_v ? FfsDialect::dialect_v : FfsDialect::classic;
}

// A kernel that does not know the wide fields leaves them alone; one that does sets maxbsize.
bool has_wide_fields(const FfsRecord& superblock, const FfsReading& reading) {
  if (reading.dialect == FfsDialect::ufs2) return true;
  if (reading.dialect != FfsDialect::bsd44) return false;
  const std::uint64_t run = wide_view(superblock).get<"maxbsize">();
  return (superblock.sub<"body">().get<"flags">() & kFfsWideFlag) != 0 &&
         run >= reading.geometry.block_bytes && std::has_single_bit(run);
}

FfsGeometry geometry_of(const FfsRecord& superblock, const Sizes& sizes, bool ufs2) {
  const auto head = superblock.sub<"head">();
  const auto body = superblock.sub<"body">();
  const auto wide = wide_view(superblock);
  return {.block_bytes = sizes.block,
          .fragment_bytes = sizes.fragment,
          .fragments = ufs2 ? wide.get<"wide_size">() : head.get<"size">(),
          .data_fragments = ufs2 ? wide.get<"wide_dsize">() : head.get<"dsize">(),
          .groups = head.get<"ncg">(),
          .group_fragments = body.get<"fpg">(),
          .group_inodes = body.get<"ipg">(),
          .copy_fragment = head.get<"sblkno">(),
          .group_block_fragment = head.get<"cblkno">()};
}

FfsTotals totals_of(const FfsRecord& superblock, bool ufs2) {
  if (ufs2) {
    const auto wide = wide_view(superblock);
    return {wide.get<"wide_directories">(), wide.get<"wide_free_blocks">(),
            wide.get<"wide_free_inodes">(), wide.get<"wide_free_fragments">()};
  }
  const auto totals = superblock.sub<"body">().sub<"cstotal">();
  return {totals.get<"directories">(), totals.get<"free_blocks">(), totals.get<"free_inodes">(),
          totals.get<"free_fragments">()};
}

}  // namespace

bool is_ffs_magic(std::uint64_t magic, bool ufs2) noexcept {
  switch (magic) {
    case kUfs2Magic:
      return ufs2;
    case kFfsUnfinishedMagic:
      return true;
    case kFfsMagic:
    case kFfsLongNamesMagic:
    case kFfsSecureMagic:
    case kFfsFeatureMagic:
    case kFfsLargeMagic:
      return !ufs2;
    default:
      return false;
  }
}

std::optional<FfsReading> read_ffs(const FfsRecord& superblock, std::uint64_t place, bool ufs2) {
  if (!superblock.complete()) return std::nullopt;
  const auto head = superblock.sub<"head">();
  const auto body = superblock.sub<"body">();
  const auto sizes = sizes_of(head, ufs2);
  if (!sizes) return std::nullopt;
  FfsReading reading;
  reading.geometry = geometry_of(superblock, *sizes, ufs2);
  reading.totals = totals_of(superblock, ufs2);
  reading.dialect = dialect_of(superblock, sizes->block, ufs2);
  reading.wide = has_wide_fields(superblock, reading);
  reading.words_reversed = words_look_reversed(superblock, reading);
  Checks checks(superblock, reading.doubts);
  check_sizes(checks, head, *sizes);
  check_group_layout(checks, head, body, *sizes, place);
  check_extent(checks, body, reading);
  check_totals(checks, reading);
  if (reading.wide) check_wide(checks, superblock, reading, place);
  return reading;
}

}  // namespace platter::filesystem
