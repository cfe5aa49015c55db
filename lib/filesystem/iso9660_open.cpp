#include "filesystem/iso9660_open.h"

#include <algorithm>
#include <optional>

#include "filesystem/iso9660_descriptors.h"
#include "filesystem/iso9660_susp.h"
#include "filesystem/iso9660_volume.h"

namespace platter::filesystem::iso9660 {
namespace {

DirectoryTree tree_of(const View& view, const VolumeDescriptor& descriptor) {
  DirectoryTree tree;
  tree.role = role_of(descriptor);
  tree.shape = usable(shape_of(descriptor));
  tree.root_record = descriptor.place_of<"root">() - view.start();
  tree.root_attribute_blocks = descriptor.sub<"root">().get<"attribute_blocks">();
  const auto keep = [](std::vector<std::uint64_t>& tables, std::uint64_t block) {
    if (block != 0) tables.push_back(block);
  };
  keep(tree.path_tables_l, descriptor.get<"path_table_l">());
  keep(tree.path_tables_l, descriptor.get<"optional_path_table_l">());
  keep(tree.path_tables_m, descriptor.get<"path_table_m">());
  keep(tree.path_tables_m, descriptor.get<"optional_path_table_m">());
  if (joliet_level(descriptor) != 0) tree.charset = Charset::ucs2_be;
  return tree;
}

void find_rock_ridge(const View& view, DirectoryTree& tree) {
  Claim unheard;  // identification says what is wrong there
  const RootExtensions extensions =
      root_extensions(unheard, view, tree.root_place(), tree.shape.block_bytes);
  tree.rock_ridge = extensions.rock_ridge;
  tree.skip = extensions.skip;
}

std::optional<std::uint64_t> boot_catalog_of(const View& view, const DescriptorSet& set) {
  for (const auto& boot : set.boot) {
    if (boot.text<"boot_system_id">() != kElToritoId) continue;
    return view.record<kElToritoRecord>(boot.start() - view.start(), ByteOrder::little)
        .get<"catalog">();
  }
  return std::nullopt;
}

// Sets which names are shown; false when the volume does not have those.
bool choose_names(VolumeSource& source, NameView wanted) {
  const auto joliet = std::ranges::find(source.trees, Charset::ucs2_be, &DirectoryTree::charset);
  const bool has_joliet = joliet != source.trees.end();
  const bool has_rock = source.primary().rock_ridge;
  if (wanted == NameView::best) {
    wanted = has_rock ? NameView::rock_ridge : has_joliet ? NameView::joliet : NameView::plain;
  }
  switch (wanted) {
    case NameView::joliet:
      if (has_joliet) source.shown = static_cast<std::size_t>(joliet - source.trees.begin());
      return has_joliet;
    case NameView::rock_ridge:
      source.rock_ridge_shown = has_rock;
      return has_rock;
    default:
      return true;
  }
}

}  // namespace

std::unique_ptr<Volume> open_iso9660(const View& view, const VolumeOptions& options) {
  if (!has_descriptors(view)) return nullptr;
  const DescriptorSet set = read_descriptors(view);
  const auto primary = std::ranges::find_if(set.primary, is_volume);
  if (primary == set.primary.end()) return nullptr;
  VolumeSource source;
  source.view = view;
  source.descriptors_end = set.end;
  source.boot_catalog = boot_catalog_of(view, set);
  source.set_size = primary->get<"set_size">();
  source.sequence_number = primary->get<"sequence_number">();
  source.trees.push_back(tree_of(view, *primary));
  source.trees.front().charset = options.charset.value_or(Charset::ascii);
  // An enhanced descriptor lifts the restrictions of names, often for the very same tree.
  source.trees.front().strict_names = std::ranges::none_of(set.supplementary, is_enhanced);
  find_rock_ridge(view, source.trees.front());
  for (const VolumeDescriptor& descriptor : set.supplementary) {
    const bool usable_tree = descriptor.complete() && is_root_record(descriptor) &&
                             shape_of(descriptor).block_bytes == source.block_bytes();
    if (usable_tree) source.trees.push_back(tree_of(view, descriptor));
  }
  if (!choose_names(source, options.names)) return nullptr;
  return std::make_unique<Iso9660Volume>(std::move(source));
}

}  // namespace platter::filesystem::iso9660
