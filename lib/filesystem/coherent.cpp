// Coherent filesystem: no magic, but names that its maker writes, in a superblock at byte 512. The
// byte order is the PDP-11's on every machine.
#include "filesystem/s5_structures.h"
#include "filesystem/s5_volume.h"

namespace platter::filesystem {
namespace {

using Super = Record<kCoherentSuperblock>;

// The same words as Linux fs/sysv/super.c looks for.
bool has_names(const View& view) {
  const std::uint64_t name = kS5SuperblockPlace + Super::offset_of<"fname">();
  const std::uint64_t pack = kS5SuperblockPlace + Super::offset_of<"fpack">();
  return (view.holds(name, "noname") || view.holds(name, "xxxxx ")) &&
         (view.holds(pack, "nopack") || view.holds(pack, "xxxxx\n"));
}

std::optional<S5Found> find_coherent(const View& view) {
  if (!has_names(view)) return std::nullopt;
  const auto super = view.record<kCoherentSuperblock>(kS5SuperblockPlace, ByteOrder::pdp);
  S5Found found;
  found.shape = shape_of<kCoherentSuperblock>(super, kS5SuperblockPlace);
  found.stated_block_bytes = 512;
  found.title = "Coherent filesystem";
  found.volume_name = super.text<"fname">();
  found.pack_name = super.text<"fpack">();
  found.shape.clean = false;  // nothing on the disk says that it is
  found.shape.stated_free = super.get<"tfree">();
  found.shape.stated_free_inodes = super.get<"tinode">();
  found.shape.chain = &kCoherentChain;
  found.record = super.keep();
  set_block_bytes(found.shape, found.stated_block_bytes);
  found.root = root_state(view, found.shape);
  return found;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto found = find_coherent(view);
  // Two words are little: everything else has to agree.
  if (!found || found->root == RootState::wrong || !disagreements(found->shape).all.empty()) {
    return {};
  }
  return s5_claim(view, *found);
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  (void)options;
  return open_s5(view, find_coherent(view));
}

}  // namespace

extern const Format coherent_format;
const Format coherent_format = {.id = "coherent",
                                .title = "Coherent filesystem",
                                .stage = Stage::filesystem,
                                .claims = claims,
                                .open = open};

}  // namespace platter::filesystem
