// What a Minix volume's maps say, and whether they agree with its inodes.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/minix_volume.h"
#include "filesystem/unix_bitmap.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMapPiece = 64 * 1024;
constexpr std::uint64_t kMostInodes = 1'000'000;
constexpr std::uint64_t kErrors = 2;

}  // namespace

// A map's bytes, in plain order, as far as they are there.
std::vector<std::byte> MinixVolume::map_bytes(std::uint64_t place, std::uint64_t bits) {
  auto map = view_.read_vector(place, divide_up(bits, 64) * 8);
  straighten(map, map_word_);
  return map;
}

void MinixVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  const std::uint64_t end = std::min(numbers_.zones, divide_up(view_.bytes(), numbers_.zone_bytes));
  RunJoiner joiner(visit);
  const auto emit = [&](std::uint64_t from, std::uint64_t to, BlockUse use) {
    return joiner.add(
        {view_.start() + from * numbers_.zone_bytes, (to - from) * numbers_.zone_bytes, use});
  };
  const std::uint64_t first = std::min(numbers_.first_data_zone, end);
  if (!emit(0, first, BlockUse::metadata)) return;
  // Bit 0 stands for no zone: bit n is zone first_data_zone + n - 1.
  const std::uint64_t bits = end - first + 1;
  for (std::uint64_t piece = 0; piece * kMapPiece * 8 < bits; ++piece) {
    const std::uint64_t start = piece * kMapPiece * 8;
    const std::uint64_t count = std::min(kMapPiece * 8, bits - start);
    const auto map = map_bytes(numbers_.zmap_place() + piece * kMapPiece, count);
    for (std::uint64_t bit = start == 0 ? 1 : 0; bit < count;) {
      const std::uint64_t known = std::min<std::uint64_t>(count, std::uint64_t{map.size()} * 8);
      // Behind the map's end nobody can say that a zone is free.
      const std::uint64_t next = bit < known ? run_end(map, bit, known) : count;
      const bool used = bit >= known || bit_of(map, bit);
      if (!emit(first + start + bit - 1, first + start + next - 1,
                used ? BlockUse::used : BlockUse::free)) {
        return;
      }
      bit = next;
    }
  }
  joiner.finish();
}

void MinixVolume::check_records() {
  if (numbers_.version != 3 && (numbers_.state & kErrors) != 0) {
    find(Severity::caution, FindingCode::filesystem_damaged,
         numbers_.record.start + Record<kMinixSuper>::offset_of<"state">(), 2,
         fmt::format("the superblock's state is {}: the system that used the volume met errors in "
                     "it, expected 1",
                     numbers_.state));
  }
  const auto zones = map_bytes(numbers_.zmap_place(), 64);
  const auto inodes = map_bytes(numbers_.imap_place(), 64);
  const auto check = [&](const std::vector<std::byte>& map, std::uint64_t place, std::uint64_t bit,
                         std::string_view what) {
    if (map.empty() || bit_of(map, bit)) return;
    find(Severity::fault, FindingCode::filesystem_damaged, saturating_add(view_.start(), place), 8,
         fmt::format("{} is free in its map, expected in use", what));
  };
  check(zones, numbers_.zmap_place(), 0,
        "the first bit of the zone map, which stands for no zone,");
  check(inodes, numbers_.imap_place(), 0,
        "the first bit of the inode map, which stands for no inode,");
  check(inodes, numbers_.imap_place(), 1, "the root directory's inode");
  check_inodes();
}

void MinixVolume::check_inodes() {
  const std::uint64_t count = std::min(numbers_.inodes, kMostInodes);
  const auto map = map_bytes(numbers_.imap_place(), count + 1);
  const std::uint64_t known = std::min<std::uint64_t>(count + 1, std::uint64_t{map.size()} * 8);
  for (NodeId node = 1; node < known; ++node) {
    const auto found = inode(node);
    if (!found) return;
    const bool used = bit_of(map, node);
    const bool is_file = type_of_mode(found->mode) != NodeType::unknown;
    const bool named = is_file && found->links != 0;
    if (used ? is_file : !named) continue;
    find(
        Severity::fault, FindingCode::filesystem_damaged,
        saturating_add(view_.start(), inode_place(node)), numbers_.inode_bytes,
        fmt::format("inode {} has the mode {:#o} and is {} in the map, expected {}", node,
                    found->mode, used ? "in use" : "free", used ? "the type of a file" : "in use"));
  }
}

}  // namespace platter::filesystem
