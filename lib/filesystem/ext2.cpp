// ext2, ext3, ext4: identification by the superblock at byte 1024.
//
// Not checked here: group descriptors and bitmaps (Volume::check_records() does that), the journal,
// checksums of later kernels.
#include <bit>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "core/numbers.h"
#include "filesystem/ext2_numbers.h"
#include "filesystem/ext2_structures.h"
#include "filesystem/ext2_uuid.h"
#include "filesystem/ext2_volume.h"

namespace platter::filesystem {
namespace {

using Super = Ext2Super;
using Numbers = Ext2Numbers;

constexpr std::size_t kHandful = 3;
// Groups whose descriptors are summed up for the facts.
constexpr std::uint64_t kMostSummed = 65536;

// Adds a finding for every field that cannot be right.
class Checks {
 public:
  Checks(const Super& super, Claim& claim) : super_(super), claim_(claim) {}

  template <FieldName N>
  void check(bool holds, std::string_view relation, std::uint64_t value) {
    if (holds) return;
    const std::string_view gap = relation.empty() ? "" : " ";
    claim_.find(Severity::fault, FindingCode::filesystem_damaged, super_.template place_of<N>(),
                kExt2Superblock.find(N.view())->width,
                fmt::format("the superblock's {} is {}, expected {}{}{}", N.view(),
                            super_.template get<N>(), relation, gap, value));
  }

 private:
  const Super& super_;
  Claim& claim_;
};

void check_geometry(Checks& checks, const Super& super, const Numbers& numbers) {
  // The superblock in use lies in block 1 of 1024 bytes, or inside block 0.
  const std::uint64_t first = numbers.block_bytes == 1024 ? 1 : 0;
  const std::uint64_t found = super.get<"first_data_block">();
  checks.check<"first_data_block">(found == first || (numbers.clusters && found == 0), "", first);
  // A bitmap is one block: so many bits it has.
  const std::uint64_t bits = numbers.block_bytes * 8;
  const std::uint64_t units = super.get<"clusters_per_group">();
  if (numbers.clusters) {
    checks.check<"clusters_per_group">(units != 0 && units <= bits, "from 1 to", bits);
    checks.check<"blocks_per_group">(units != 0 && super.get<"blocks_per_group">() % units == 0,
                                     "a multiple of", units);
  } else {
    checks.check<"blocks_per_group">(super.get<"blocks_per_group">() <= bits, "at most", bits);
    checks.check<"clusters_per_group">(units == super.get<"blocks_per_group">(),
                                       "as blocks_per_group,", super.get<"blocks_per_group">());
    checks.check<"log_cluster_size">(
        super.get<"log_cluster_size">() == super.get<"log_block_size">(), "as log_block_size,",
        super.get<"log_block_size">());
  }
  const std::uint64_t group_inodes = super.get<"inodes_per_group">();
  checks.check<"inodes_per_group">(group_inodes != 0 && group_inodes <= bits, "from 1 to", bits);
  const std::uint64_t inodes = saturating_mul(numbers.groups, group_inodes);
  checks.check<"inodes_count">(super.get<"inodes_count">() == inodes,
                               "(groups times inodes_per_group)", inodes);
}

void check_counts(Checks& checks, const Super& super, const Numbers& numbers) {
  checks.check<"free_blocks_count">(numbers.free_blocks <= numbers.blocks, "at most blocks_count,",
                                    numbers.blocks);
  checks.check<"r_blocks_count">(numbers.reserved_blocks <= numbers.blocks, "at most blocks_count,",
                                 numbers.blocks);
  checks.check<"free_inodes_count">(super.get<"free_inodes_count">() <= super.get<"inodes_count">(),
                                    "at most inodes_count,", super.get<"inodes_count">());
  checks.check<"rev_level">(super.get<"rev_level">() <= 1, "at most", 1);
  if (!numbers.dynamic) return;
  const std::uint64_t inode = super.get<"inode_size">();
  checks.check<"inode_size">(is_power_of_two_in(inode, 128, numbers.block_bytes),
                             "a power of two from 128 to", numbers.block_bytes);
  checks.check<"first_ino">(super.get<"first_ino">() <= super.get<"inodes_count">(),
                            "at most inodes_count,", super.get<"inodes_count">());
  // A copy of the superblock names its group; the one in use is in group 0.
  checks.check<"block_group_nr">(super.get<"block_group_nr">() == 0, "", 0);
}

// Which driver is needed: the features that only the younger ones know decide.
std::string_view variant_of(const Super& super, const Numbers& numbers) {
  if (!numbers.dynamic) return "ext2";
  const std::uint64_t incompat = super.get<"feature_incompat">();
  const std::uint64_t read_only = super.get<"feature_ro_compat">();
  constexpr std::uint64_t kOldIncompat = kExt2IncompatCompression | kExt2IncompatTypes |
                                         kExt2IncompatRecovery | kExt2IncompatMetaGroups;
  constexpr std::uint64_t kOldReadOnly =
      kExt2ReadOnlySparse | kExt2ReadOnlyLargeFiles | kExt2ReadOnlyTrees;
  if ((incompat & ~kOldIncompat) != 0 || (read_only & ~kOldReadOnly) != 0) return "ext4";
  return (super.get<"feature_compat">() & kExt2CompatJournal) != 0 ? "ext3" : "ext2";
}

std::string_view clean_word(const Super& super, const Numbers& numbers) {
  constexpr std::uint64_t kValid = 1;
  if (numbers.dynamic && (super.get<"feature_incompat">() & kExt2IncompatRecovery) != 0) {
    return "not clean";  // the journal holds changes that are not in their places yet
  }
  return super.get<"state">() == kValid ? "clean" : "not clean";
}

void add_time(Facts& facts, std::string_view name, std::uint64_t seconds) {
  if (seconds != 0) facts.set(name, Timestamp{static_cast<std::int64_t>(seconds)});
}

// Directories as the groups count them; nothing when the descriptors are not all there or have more
// than the inodes that are in use.
std::optional<std::uint64_t> directories_of(const View& view, const Super& super,
                                            const Numbers& numbers) {
  if (numbers.groups > kMostSummed) return std::nullopt;
  const Ext2Layout layout(super, numbers);
  PieceCache window(view);
  std::uint64_t sum = 0;
  for (std::uint64_t group = 0; group < numbers.groups; ++group) {
    const auto bytes = window.at(layout.descriptor_place(group),
                                 static_cast<std::size_t>(numbers.descriptor_bytes));
    if (bytes.empty()) return std::nullopt;
    sum += FieldReader<kExt2Group>(bytes.data(), super.order()).get<"used_dirs">();
  }
  if (sum == 0 || sum > super.get<"inodes_count">()) return std::nullopt;
  return sum;
}

void add_facts(Claim& claim, const Super& super, const Numbers& numbers,
               std::optional<std::uint64_t> directories) {
  claim.facts.set("byte_order", byte_order_name(super.order()))
      .set("variant", variant_of(super, numbers))
      .set("block_bytes", numbers.block_bytes)
      .set("volume_bytes", claim.bytes);
  if (numbers.dynamic) claim.facts.set_text("volume_name", super.text<"volume_name">());
  if (numbers.free_blocks <= numbers.blocks) {
    claim.facts
        .set("used_bytes",
             saturating_mul(numbers.blocks - numbers.free_blocks, numbers.block_bytes))
        .set("free_bytes", saturating_mul(numbers.free_blocks, numbers.block_bytes));
  }
  add_time(claim.facts, "created", super.get<"mkfs_time">());
  add_time(claim.facts, "modified", super.get<"wtime">());
  add_time(claim.facts, "mounted", super.get<"mtime">());
  if (numbers.dynamic) {
    claim.facts.set_text("last_mount", super.text<"last_mounted">());
    claim.facts.set("uuid", uuid_text(super.raw<"uuid">()));
  }
  claim.facts.set("clean", clean_word(super, numbers))
      .set("clean_value", super.get<"state">())
      .set("revision", super.get<"rev_level">())
      .set("groups", numbers.groups)
      .set("inodes", super.get<"inodes_count">())
      .set("free_inodes", super.get<"free_inodes_count">());
  if (super.get<"free_inodes_count">() <= super.get<"inodes_count">()) {
    claim.facts.set("files", super.get<"inodes_count">() - super.get<"free_inodes_count">());
  }
  if (directories) claim.facts.set("directories", *directories);
  claim.facts.set("creator", name_of(kExt2Creators, super.get<"creator_os">(), "unknown"));
  if (numbers.dynamic) {
    claim.facts.set("inode_bytes", super.get<"inode_size">())
        .set("features_compatible", super.get<"feature_compat">())
        .set("features_incompatible", super.get<"feature_incompat">())
        .set("features_read_only", super.get<"feature_ro_compat">());
  }
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto super = ext2_superblock(view);
  if (!super) return {};
  const auto numbers = ext2_numbers(*super);
  if (!numbers) return {};
  // A journal on a device of its own holds no files.
  if (numbers->dynamic && (super->get<"feature_incompat">() & kExt2IncompatJournalDevice) != 0) {
    return {};
  }
  Claim claim;
  Checks checks(*super, claim);
  check_geometry(checks, *super, *numbers);
  check_counts(checks, *super, *numbers);
  if (claim.findings.size() > kHandful) return {};
  claim.strength = claim.findings.empty() ? Strength::sane : Strength::magic;
  claim.start = view.start();
  claim.bytes = saturating_mul(numbers->blocks, numbers->block_bytes);
  claim.title = fmt::format("{} filesystem", variant_of(*super, *numbers));
  add_facts(claim, *super, *numbers, directories_of(view, *super, *numbers));
  claim.records.push_back(super->keep());
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  const auto super = ext2_superblock(view);
  if (!super) return nullptr;
  const auto numbers = ext2_numbers(*super);
  if (!numbers || numbers->group_inodes == 0) return nullptr;
  return std::make_unique<Ext2Volume>(view, *super, *numbers, options.charset);
}

}  // namespace

extern const Format ext2_format;
const Format ext2_format = {.id = "ext2",
                            .title = "ext2 filesystem",
                            .stage = Stage::filesystem,
                            .claims = claims,
                            .open = open};

}  // namespace platter::filesystem
