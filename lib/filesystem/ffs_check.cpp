// The fast file system's own records against one another: group blocks, maps, counts, copies.
#include <algorithm>

#include <fmt/format.h>

#include "core/record.h"
#include "filesystem/ffs_volume.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kPiece = 65536;
constexpr std::uint32_t kTypeBits = 0170000;
constexpr std::uint64_t kReserved = 2;  // inodes 0 and 1 are marked used and are no files

}  // namespace

// Counts of one group, and sums over those before it.
struct FfsVolume::GroupCheck {
  FfsGroupBlock group;
  bool all_read = true;      // every group so far could be counted
  bool inodes_read = false;  // this group's inode table is there
  std::uint64_t directories = 0;
  std::uint64_t free_blocks = 0;
  std::uint64_t free_inodes = 0;
  std::uint64_t free_fragments = 0;
  std::array<std::uint64_t, 8> runs{};
  FfsTotals sums;
  std::vector<std::byte> buffer;
};

void FfsVolume::check_records() {
  if (!shape_.usable() || !shape_.groups_hold_records()) {
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start(), 0,
         fmt::format("{} groups of {} fragments and {} inodes do not hold their own records; the "
                     "groups are not compared",
                     shape_.groups, shape_.group_fragments, shape_.group_inodes));
    return;
  }
  if (!clean_) {
    find(Severity::note, FindingCode::filesystem_damaged, view_.start(), 0,
         "the filesystem was not unmounted: its counts and maps may be older than its files");
  }
  GroupCheck check;
  for (std::uint64_t number = 0; number < shape_.groups; ++number) {
    if (shape_.group_base(number) >= shape_.fragments ||
        shape_.byte_of(shape_.group_base(number)) >= view_.bytes()) {
      check.all_read = false;
      break;
    }
    check_group(number, check);
  }
  if (check.all_read && shape_.totals_place) check_totals(check);
  check_access_lists();
  check_log();
}

void FfsVolume::check_group(std::uint64_t number, GroupCheck& check) {
  const FfsGroupState state = read_ffs_group(view_, shape_, number, check.group);
  check_copy(number);
  if (state == FfsGroupState::absent) {
    check.all_read = false;
    return;
  }
  const std::uint64_t place = view_.start() + check.group.place;
  if (state != FfsGroupState::sound) {
    check.all_read = false;
    const auto magic = decode_unsigned(
        std::span(check.group.bytes).subspan(FieldReader<kFfsGroup>::offset_of<"magic">(), 4),
        shape_.order);
    find(Severity::fault, FindingCode::filesystem_damaged, place, kFfsGroup.bytes,
         state == FfsGroupState::no_magic
             ? fmt::format("group {} has magic 0x{:08X}, expected 0x{:08X}", number, magic,
                           kFfsGroupMagic)
             : fmt::format("the maps of group {} reach past its block of {} bytes", number,
                           shape_.block_bytes));
    return;
  }
  check_group_head(number, check.group);
  count_fragments(number, check);
  count_inodes(number, check);
  const std::string whose = fmt::format("group {}", number);
  const FfsTotals& counts = check.group.counts;
  compare(place, whose, "free blocks", counts.free_blocks, check.free_blocks);
  compare(place, whose, "free fragments", counts.free_fragments, check.free_fragments);
  compare(place, whose, "free inodes", counts.free_inodes, check.free_inodes);
  for (std::size_t i = 1; i < check.runs.size(); ++i) {
    compare(place, whose, fmt::format("runs of {} free fragments", i),
            static_cast<std::int64_t>(check.group.runs[i]), check.runs[i]);
  }
  if (check.inodes_read) {
    compare(place, whose, "directories", counts.directories, check.directories);
  } else {
    check.all_read = false;
  }
  check_summary(number, check);
  check.sums.directories += static_cast<std::int64_t>(check.directories);
  check.sums.free_blocks += static_cast<std::int64_t>(check.free_blocks);
  check.sums.free_inodes += static_cast<std::int64_t>(check.free_inodes);
  check.sums.free_fragments += static_cast<std::int64_t>(check.free_fragments);
}

void FfsVolume::check_group_head(std::uint64_t number, const FfsGroupBlock& group) {
  const auto expect = [&](std::string_view what, std::uint64_t found, std::uint64_t expected) {
    if (found == expected) return;
    find(Severity::fault, FindingCode::filesystem_damaged, view_.start() + group.place,
         kFfsGroup.bytes,
         fmt::format("the block of group {} says {} {}, expected {}", number, what, found,
                     expected));
  };
  expect("it is group", group.number, number);
  expect("its fragments are", group.length, shape_.group_length(number));
  const std::uint64_t room = shape_.ufs2() ? shape_.group_inodes : shape_.group_inodes & 0xFFFFU;
  expect("its inodes are", group.inodes, room);
}

void FfsVolume::count_fragments(std::uint64_t number, GroupCheck& check) {
  check.free_blocks = check.free_fragments = 0;
  check.runs.fill(0);
  const std::uint64_t length = shape_.group_length(number);
  for (std::uint64_t at = 0; at < length;) {
    const FfsMapRun run = ffs_map_run(check.group, at, length);
    at = run.end;
    if (!run.free) continue;
    // Whole blocks inside the run, and what is left of it before and behind them.
    const std::uint64_t first_whole = divide_up(run.first, shape_.parts) * shape_.parts;
    const std::uint64_t end_whole = run.end / shape_.parts * shape_.parts;
    const auto loose = [&](std::uint64_t count) {
      check.free_fragments += count;
      if (count != 0) ++check.runs[static_cast<std::size_t>(count)];
    };
    if (first_whole > end_whole) {  // inside one block
      loose(run.end - run.first);
      continue;
    }
    loose(first_whole - run.first);
    check.free_blocks += (end_whole - first_whole) / shape_.parts;
    loose(run.end - end_whole);
  }
}

void FfsVolume::count_inodes(std::uint64_t number, GroupCheck& check) {
  const std::uint64_t base = number * shape_.group_inodes;
  check.directories = check.free_inodes = 0;
  for (std::uint64_t i = 0; i < shape_.group_inodes; ++i) {
    if (!check.group.inode_used(i)) ++check.free_inodes;
  }
  const std::uint64_t place = shape_.inode_place(base);
  const std::uint64_t bytes = check.group.written * shape_.inode_bytes;
  check.inodes_read = fits_within(place, bytes, view_.bytes());
  if (!check.inodes_read) return;
  struct Wrong {
    std::uint64_t count = 0;
    std::uint64_t first = 0;
    void add(std::uint64_t inode) {
      if (count++ == 0) first = inode;
    }
  };
  Wrong nothing;    // marked used, no type
  Wrong forgotten;  // marked free, has a type
  for (std::uint64_t done = 0; done < bytes;) {
    const std::uint64_t count = std::min(bytes - done, kPiece);
    check.buffer.resize(static_cast<std::size_t>(count));
    view_.read(place + done, check.buffer);
    for (std::uint64_t at = 0; at < count; at += shape_.inode_bytes) {
      const std::uint64_t index = (done + at) / shape_.inode_bytes;
      if (base + index < kReserved) continue;
      // The mode stands at the same place in every inode.
      const FieldReader<kFfsInode> reader(check.buffer.data() + at, shape_.order);
      const auto mode = static_cast<std::uint32_t>(reader.get<"mode">());
      const bool used = check.group.inode_used(index);
      if (used && mode == 0) nothing.add(base + index);
      if (!used && mode != 0) forgotten.add(base + index);
      // Those of attributes are counted like others.
      const bool of_attributes =
          shape_.dialect == FfsDialect::svr4 && (mode & kTypeBits) == kFfsAttributeDirectoryType;
      if (type_of_mode(mode) == NodeType::directory || of_attributes) ++check.directories;
    }
    done += count;
  }
  const auto tell = [&](const Wrong& wrong, std::string_view how) {
    if (wrong.count == 0) return;
    find(clean_ ? Severity::fault : Severity::caution, FindingCode::filesystem_damaged,
         view_.start() + shape_.inode_place(wrong.first), shape_.inode_bytes,
         fmt::format("group {} marks {} inodes as {}; the first is inode {}", number, wrong.count,
                     how, wrong.first));
  };
  tell(nothing, "used that have no type");
  tell(forgotten, "free that have a type");
}

void FfsVolume::check_summary(std::uint64_t number, const GroupCheck& check) {
  const std::uint64_t offset = saturating_mul(number, kFfsSummary.bytes);
  if (!fits_within(offset, kFfsSummary.bytes, shape_.summary_bytes)) return;
  const std::uint64_t place = saturating_add(shape_.byte_of(shape_.summary), offset);
  const auto record = view_.record<kFfsSummary>(place, shape_.order);
  if (!record.complete()) return;
  const std::string whose = fmt::format("the summary of group {}", number);
  const std::uint64_t at = record.start();
  compare(at, whose, "free blocks", record.get<"free_blocks">(), check.free_blocks);
  compare(at, whose, "free fragments", record.get<"free_fragments">(), check.free_fragments);
  compare(at, whose, "free inodes", record.get<"free_inodes">(), check.free_inodes);
  if (check.inodes_read) {
    compare(at, whose, "directories", record.get<"directories">(), check.directories);
  }
}

// A copy is written when the filesystem is made and tells what does not change.
void FfsVolume::check_copy(std::uint64_t number) {
  const std::uint64_t place =
      shape_.byte_of(saturating_add(shape_.group_start(number), shape_.copy));
  const auto copy = view_.record<kFfsSuperblock>(place, shape_.order);
  if (!copy.complete()) return;
  const auto differs = [&](std::string message) {
    find(Severity::caution, FindingCode::filesystem_damaged, copy.start(), kFfsSuperblock.bytes,
         std::move(message));
  };
  if (!is_ffs_magic(copy.get<"magic">(), shape_.ufs2())) {
    return differs(fmt::format("the superblock copy in group {} has magic 0x{:08X}", number,
                               copy.get<"magic">()));
  }
  const auto head = copy.sub<"head">();
  const auto body = copy.sub<"body">();
  const std::uint64_t size =
      shape_.ufs2() ? FieldReader<kFfsWide>(copy.all().data(), shape_.order).get<"wide_size">()
                    : head.get<"size">();
  struct Same {
    std::string_view name;
    std::uint64_t found;
    std::uint64_t expected;
  };
  const Same all[] = {{"bsize", head.get<"bsize">(), shape_.block_bytes},
                      {"fsize", head.get<"fsize">(), shape_.fragment_bytes},
                      {"size", size, shape_.fragments},
                      {"ncg", head.get<"ncg">(), shape_.groups},
                      {"fpg", body.get<"fpg">(), shape_.group_fragments},
                      {"ipg", body.get<"ipg">(), shape_.group_inodes},
                      {"cblkno", head.get<"cblkno">(), shape_.group_block},
                      {"iblkno", head.get<"iblkno">(), shape_.inode_table},
                      {"dblkno", head.get<"dblkno">(), shape_.data},
                      {"cgoffset", head.get<"cgoffset">(), shape_.shift},
                      {"cgmask", head.get<"cgmask">(), shape_.shift_mask}};
  for (const Same& same : all) {
    if (same.found == same.expected) continue;
    return differs(fmt::format("the superblock copy in group {} says {} {}, expected {}", number,
                               same.name, same.found, same.expected));
  }
}

void FfsVolume::check_totals(const GroupCheck& check) {
  const std::string_view whose = "the superblock";
  const std::uint64_t at = view_.start() + *shape_.totals_place;
  const auto counted = [](std::int64_t sum) { return static_cast<std::uint64_t>(sum); };
  compare(at, whose, "free blocks", shape_.totals.free_blocks, counted(check.sums.free_blocks));
  compare(at, whose, "free fragments", shape_.totals.free_fragments,
          counted(check.sums.free_fragments));
  compare(at, whose, "free inodes", shape_.totals.free_inodes, counted(check.sums.free_inodes));
  compare(at, whose, "directories", shape_.totals.directories, counted(check.sums.directories));
}

void FfsVolume::compare(std::uint64_t place, std::string_view whose, std::string_view what,
                        std::int64_t stated, std::uint64_t counted) {
  if (stated == static_cast<std::int64_t>(counted)) return;
  // Kernels write counts late: what was in use when it was copied may differ and yet be whole.
  find(clean_ ? Severity::fault : Severity::caution, FindingCode::filesystem_damaged, place,
       kFfsSummary.bytes,
       fmt::format("{} counts {} {}, expected {} by the maps and inodes", whose, stated, what,
                   counted));
}

}  // namespace platter::filesystem
