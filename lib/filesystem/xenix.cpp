// Xenix filesystem: identification by the magic in the superblock at byte 1024, both byte orders.
//
// Not read: volumes of 512-byte blocks whose inode list is not where the other sizes have it; no
// source says where it is.
#include <fmt/format.h>

#include "filesystem/s5_structures.h"
#include "filesystem/s5_volume.h"

namespace platter::filesystem {
namespace {

std::optional<ByteOrder> order_of(const View& view) {
  if (view.number(kXenixMagicPlace, 4, ByteOrder::little) == kXenixMagic) return ByteOrder::little;
  if (view.number(kXenixMagicPlace, 4, ByteOrder::big) == kXenixMagic) return ByteOrder::big;
  return std::nullopt;
}

std::optional<S5Found> find_xenix(const View& view) {
  const auto order = order_of(view);
  if (!order) return std::nullopt;
  const auto super = view.record<kXenixSuperblock>(kXenixSuperblockPlace, *order);
  S5Found found;
  found.type = super.get<"type">();
  if (found.type < 1 || found.type > 3) return std::nullopt;
  found.shape = shape_of<kXenixSuperblock>(super, kXenixSuperblockPlace);
  found.stated_block_bytes = std::uint64_t{256} << found.type;
  found.title = fmt::format("Xenix filesystem, {}-byte blocks", found.stated_block_bytes);
  found.volume_name = super.text<"fname">();
  found.pack_name = super.text<"fpack">();
  found.clean_value = super.get<"clean">();
  found.has_clean_value = true;
  found.shape.clean = found.clean_value == kXenixClean;
  found.clean = found.shape.clean ? "clean" : "not clean";
  found.shape.stated_free = super.get<"tfree">();
  found.shape.stated_free_inodes = super.get<"tinode">();
  found.shape.chain = &kXenixChain;
  found.record = super.keep();
  choose_block_bytes(view, found);
  return found;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto found = find_xenix(view);
  if (!found) return {};
  auto result = s5_claim(view, *found);
  const bool unsure_layout = found->stated_block_bytes == 512 && found->root == RootState::wrong;
  if (unsure_layout && !result.empty()) result.front().findings.clear();
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  (void)options;
  return open_s5(view, find_xenix(view));
}

}  // namespace

extern const Format xenix_format;
const Format xenix_format = {.id = "xenix",
                             .title = "Xenix filesystem",
                             .stage = Stage::filesystem,
                             .claims = claims,
                             .open = open};

}  // namespace platter::filesystem
