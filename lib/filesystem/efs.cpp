// Extent File System: identification by the superblock in block 1.
#include <bit>

#include <fmt/format.h>

#include "core/claim.h"
#include "core/numbers.h"
#include "filesystem/efs_volume.h"

namespace platter::filesystem {
namespace {

using Super = Record<kEfsSuperblock>;
constexpr std::size_t kHandful = 3;

bool has_magic(const Super& super) {
  const std::uint64_t magic = super.get<"magic">();
  return super.complete() && (magic == kEfsMagic || magic == kEfsGrownMagic);
}

class Checks {
 public:
  Checks(const Super& super, Claim& claim) : super_(super), claim_(claim) {}

  template <FieldName N>
  void check(bool holds, std::string_view expected, std::uint64_t limit) {
    if (holds) return;
    claim_.find(Severity::fault, FindingCode::filesystem_damaged, super_.template place_of<N>(),
                kEfsSuperblock.find(N.view())->width,
                fmt::format("the superblock's {} is {}, expected {} {}", N.view(),
                            super_.template get<N>(), expected, limit));
  }

 private:
  const Super& super_;
  Claim& claim_;
};

bool within(std::int64_t value, std::uint64_t limit) {
  return value >= 0 && static_cast<std::uint64_t>(value) <= limit;
}

void check_numbers(Claim& claim, const Super& super, const EfsShape& shape) {
  Checks checks(super, claim);
  checks.check<"tfree">(within(super.get<"tfree">(), shape.data_blocks()), "at most",
                        shape.data_blocks());
  checks.check<"tinode">(within(super.get<"tinode">(), shape.inodes()), "at most", shape.inodes());
  const std::uint64_t needed = divide_up(shape.end(), 8);
  checks.check<"bmsize">(shape.bitmap_bytes >= needed, "at least", needed);
  const std::uint64_t bitmap_blocks = divide_up(shape.bitmap_bytes, kEfsBlock);
  // The first bitmap lies before the groups; that of a grown volume anywhere behind them.
  const std::uint64_t limit = shape.bitmap < shape.first_group ? shape.first_group : shape.size;
  checks.check<"bmblock">(fits_within(shape.bitmap, bitmap_blocks, limit),
                          "a place for the bitmap before block", limit);
  checks.check<"replsb">(super.get<"replsb">() >= 0 && shape.copy < shape.size, "less than",
                         shape.size);
}

bool checksum_holds(const Super& super) {
  const EfsChecksums sums = efs_checksums(super.all());
  const std::uint64_t stored = super.get<"checksum">();
  return stored == sums.rotated || stored == sums.shifted;
}

void report_checksum(Claim& claim, const Super& super) {
  claim.find(Severity::caution, FindingCode::filesystem_damaged, super.place_of<"checksum">(), 4,
             fmt::format("the superblock stores checksum 0x{:08X}, its content gives 0x{:08X}",
                         super.get<"checksum">(), efs_checksums(super.all()).rotated));
}

void add_facts(Claim& claim, const Super& super, const EfsShape& shape, bool sum_holds) {
  claim.facts.set("byte_order", "big")
      .set("block_bytes", kEfsBlock)
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name", super.text<"fname">())
      .set_text("pack_name", super.text<"fpack">());
  if (shape.stated_free <= shape.size) {
    claim.facts.set("used_bytes", (shape.size - shape.stated_free) * kEfsBlock)
        .set("free_bytes", shape.stated_free * kEfsBlock);
  }
  if (super.get<"time">() != 0) claim.facts.set("modified", Timestamp{super.get<"time">()});
  claim.facts.set("clean", shape.clean ? "clean" : "not clean")
      .set("clean_value", super.get<"dirty">())
      .set("checksum", sum_holds ? "good" : "bad")
      .set("groups", shape.groups)
      .set("inodes", shape.inodes())
      .set("free_inodes", shape.stated_free_inodes);
}

// The root directory: an inode that says so and a first block with the directory magic.
bool has_root(const View& view, const EfsShape& shape) {
  const auto root = view.record<kEfsInode>(shape.inode_place(kEfsRootInode), ByteOrder::big);
  if ((root.get<"mode">() & 0170000U) != 0040000 || root.get<"numextents">() < 1) return false;
  std::uint64_t block = root.sub<"extents">().get<"block">();
  if (root.get<"numextents">() > kEfsDirectExtents) {
    block = view.number(block * kEfsBlock + FieldReader<kEfsExtent>::offset_of<"block">(), 3,
                        ByteOrder::big);
  }
  return view.number(block * kEfsBlock, 2, ByteOrder::big) == kEfsDirectoryMagic;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto super = view.record<kEfsSuperblock>(kEfsSuperblockPlace, ByteOrder::big);
  if (!has_magic(super)) return {};
  const auto shape = efs_shape(super);
  if (!shape) return {};
  Claim claim;
  check_numbers(claim, super, *shape);
  if (claim.findings.size() > kHandful) return {};
  const bool numbers_agree = claim.findings.empty();
  const bool sum_holds = checksum_holds(super);
  const bool root = has_root(view, *shape);
  if (!numbers_agree && !sum_holds && !root) return {};
  if (!sum_holds) report_checksum(claim, super);
  claim.strength = !numbers_agree      ? Strength::magic
                   : sum_holds && root ? Strength::proven
                                       : Strength::sane;
  claim.start = view.start();
  claim.bytes = shape->size * kEfsBlock;
  claim.title = "Extent File System";
  add_facts(claim, super, *shape, sum_holds);
  claim.records.push_back(super.keep());
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  (void)options;
  const auto super = view.record<kEfsSuperblock>(kEfsSuperblockPlace, ByteOrder::big);
  if (!has_magic(super)) return nullptr;
  const auto shape = efs_shape(super);
  if (!shape) return nullptr;
  return std::make_unique<EfsVolume>(view, *shape);
}

}  // namespace

std::optional<EfsShape> efs_shape(const Record<kEfsSuperblock>& super) {
  const auto unsigned_of = [](std::int64_t value) {
    return value < 0 ? std::uint64_t{0} : static_cast<std::uint64_t>(value);
  };
  EfsShape shape;
  shape.size = unsigned_of(super.get<"size">());
  shape.first_group = unsigned_of(super.get<"firstcg">());
  shape.group_size = unsigned_of(super.get<"cgfsize">());
  shape.inode_blocks = unsigned_of(super.get<"cgisize">());
  shape.groups = unsigned_of(super.get<"ncg">());
  const std::uint64_t bitmap = unsigned_of(super.get<"bmblock">());
  shape.bitmap = bitmap == 0 ? kEfsBitmapBlock : bitmap;
  shape.bitmap_bytes = unsigned_of(super.get<"bmsize">());
  shape.stated_free = unsigned_of(super.get<"tfree">());
  shape.stated_free_inodes = unsigned_of(super.get<"tinode">());
  shape.copy = unsigned_of(super.get<"replsb">());
  shape.clean = super.get<"dirty">() == 0;
  const bool sound = shape.size <= kEfsLargestVolume && shape.first_group > kEfsBitmapBlock &&
                     shape.inode_blocks > 0 && shape.group_size > shape.inode_blocks &&
                     shape.groups > 0 && shape.group_size <= shape.size &&
                     shape.first_group < shape.size && shape.end() <= shape.size;
  if (!sound) return std::nullopt;
  return shape;
}

EfsChecksums efs_checksums(std::span<const std::byte> superblock) {
  EfsChecksums sums;
  const std::size_t end = FieldReader<kEfsSuperblock>::offset_of<"checksum">();
  for (std::size_t i = 0; i < end; i += 2) {
    const auto word =
        static_cast<std::uint32_t>(decode_unsigned(superblock.subspan(i, 2), ByteOrder::big));
    sums.rotated = std::rotl(sums.rotated ^ word, 1);
    sums.shifted = (sums.shifted ^ word) << 1U;
  }
  return sums;
}

extern const Format efs_format;
const Format efs_format = {.id = "efs",
                           .title = "Extent File System",
                           .stage = Stage::filesystem,
                           .claims = claims,
                           .open = open};

}  // namespace platter::filesystem
