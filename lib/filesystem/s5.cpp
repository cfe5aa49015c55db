// System V filesystem (S5): identification by the magic in the superblock at byte 512, both
// layouts, both byte orders, and the places where floppies have it behind a track or cylinder.
//
// Not read: directories with long names (types 0x10 to 0x30), the bitmap of volumes with nfree
// 0xFFFF.
#include <fmt/format.h>

#include "filesystem/s5_structures.h"
#include "filesystem/s5_volume.h"

namespace platter::filesystem {
namespace {

// Linux fs/sysv/super.c looks behind 9, 15 and 18 blocks of 1024 bytes; there, not for 2048-byte
// blocks, except behind 18.
constexpr std::uint64_t kBases[] = {0, 9216, 15360, 18432};
constexpr std::int64_t kYear1980 = 315532800;

std::uint64_t block_bytes_of(std::uint64_t type) {
  switch (type) {
    case 1:
    case 0x10:
      return 512;
    case 2:
    case 0x20:
      return 1024;
    case 3:
    case 0x30:
      return 2048;
    default:
      return 0;
  }
}

template <const Structure& S>
S5Found read_super(const Record<S>& super) {
  S5Found found;
  found.shape = shape_of<S>(super, kS5SuperblockPlace);
  found.type = super.template get<"type">();
  found.long_names = found.type >= 0x10;
  found.stated_block_bytes = block_bytes_of(found.type);
  found.volume_name = super.template text<"fname">();
  found.pack_name = super.template text<"fpack">();
  found.clean_value = super.template get<"state">();
  found.has_clean_value = true;
  const auto time = static_cast<std::uint32_t>(super.template get<"time">());
  const bool clean = static_cast<std::uint32_t>(found.clean_value + time) == kS5CleanSum;
  found.shape.clean = clean;
  found.clean = clean ? "clean" : std::string(name_of(kS5States, found.clean_value, "not clean"));
  found.shape.stated_free = super.template get<"tfree">();
  found.shape.stated_free_inodes = super.template get<"tinode">();
  found.shape.free_list_known = found.shape.free_count != kS5BitmapMark;
  found.shape.chain = &S == &kS5Superblock ? &kS5Chain : &kV7Chain;
  set_block_bytes(found.shape, found.stated_block_bytes);
  found.record = super.keep();
  return found;
}

// Release 2 and 4 put the fields at different places; the one whose numbers agree is right. When
// both do, or neither, the time decides: the release 4 place holds no time of the 1980s then.
S5Found read_layout(const View& view, ByteOrder order) {
  const auto super = view.record<kS5Superblock>(kS5SuperblockPlace, order);
  const auto old_super = view.record<kS5OldSuperblock>(kS5SuperblockPlace, order);
  S5Found now = read_super(super);
  S5Found old = read_super(old_super);
  now.title = fmt::format("System V filesystem, {}-byte blocks", now.stated_block_bytes);
  old.title = fmt::format("System V release 2 filesystem, {}-byte blocks", old.stated_block_bytes);
  const std::size_t now_wrong = disagreements(now.shape).all.size();
  const std::size_t old_wrong = disagreements(old.shape).all.size();
  if ((now_wrong == 0) != (old_wrong == 0)) return now_wrong == 0 ? now : old;
  return now.shape.time < kYear1980 ? old : now;
}

std::optional<ByteOrder> order_of(const View& view) {
  const std::uint64_t magic = view.number(kS5MagicPlace, 4, ByteOrder::little);
  if (magic == kS5Magic) return ByteOrder::little;
  if (view.number(kS5MagicPlace, 4, ByteOrder::big) == kS5Magic) return ByteOrder::big;
  return std::nullopt;
}

// A filesystem that starts with the view.
std::optional<S5Found> find_s5(const View& view) {
  const auto order = order_of(view);
  if (!order) return std::nullopt;
  const std::uint64_t type_place = kS5SuperblockPlace + Record<kS5Superblock>::offset_of<"type">();
  if (block_bytes_of(view.number(type_place, 4, *order)) == 0) return std::nullopt;
  S5Found found = read_layout(view, *order);
  choose_block_bytes(view, found);
  return found;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  for (const std::uint64_t base : kBases) {
    const View from = view.sub(base, view.bytes());
    const auto found = find_s5(from);
    if (!found) continue;
    // Behind a track a magic alone could be part of some file.
    if (base != 0 && found->root != RootState::sound) continue;
    auto result = s5_claim(from, *found);
    if (!result.empty()) return result;
  }
  return {};
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  (void)options;
  return open_s5(view, find_s5(view));
}

}  // namespace

extern const Format s5_format;
const Format s5_format = {.id = "s5",
                          .title = "System V filesystem",
                          .stage = Stage::filesystem,
                          .claims = claims,
                          .open = open};

}  // namespace platter::filesystem
