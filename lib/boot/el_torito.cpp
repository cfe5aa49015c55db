// El Torito: a boot record among an optical volume's descriptors, a catalog, and the images that it
// names.
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "boot/el_torito_catalog.h"

namespace platter::boot {
namespace {

Slice slice_from(const CatalogImage& image, const View& volume) {
  const std::string_view platform = name_of(kBootPlatforms, image.platform, "unknown");
  const std::string_view media = name_of(kBootMedia, image.emulation(), "unknown");
  Slice slice;
  slice.id = std::to_string(image.number);
  slice.start = saturating_add(volume.start(), image.start);
  slice.bytes = image.bytes;
  slice.type = image.platform;
  if (image.section.empty()) {
    slice.facts.set("name", image.number == 1 ? std::string("default entry")
                                              : fmt::format("entry {}", image.number));
  } else {
    slice.facts.set_text("name", image.section);
  }
  slice.facts.set("type", image.platform)
      .set("type_name", platform)
      .set("platform", platform)
      .set("media", media)
      .set("bootable", image.indicator == kBootable)
      .set("load_segment", image.load_segment == 0 ? kUsualSegment : image.load_segment)
      .set("sector_count", image.load_blocks)
      .set("loaded_bytes", image.load_blocks * kVirtualSector);
  if (image.emulation() == kMediaHardDisk) slice.facts.set("system_type", image.system_type);
  if (image.criteria_type != 0 || !image.criteria.empty()) {
    slice.facts.set("criteria", name_of(kCriteria, image.criteria_type, "reserved"))
        .set("criteria_bytes", hex_of(image.criteria));
  }
  if (image.info) {
    slice.facts.set("boot_information_table",
                    image.info->names_image && image.info->checksum_holds() ? "good" : "bad");
  }
  return slice;
}

std::string title_of(const BootCatalog& catalog) {
  return fmt::format("El Torito boot catalog with {} image{}", catalog.images.size(),
                     catalog.images.size() == 1 ? "" : "s");
}

Strength strength_of(const BootCatalog& catalog) {
  const bool sound = catalog.record_sound && catalog.identifier_sound && catalog.header_sound() &&
                     catalog.key_sound();
  if (!sound) return Strength::magic;
  return catalog.sum == 0 ? Strength::proven : Strength::sane;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  const bool optical = context.below != nullptr &&
                       (context.below_format == "iso9660" || context.below_format == "high-sierra");
  if (!optical) return {};
  Claim claim;
  const auto catalog = read_boot_catalog(view, claim);
  if (!catalog) return {};
  claim.strength = strength_of(*catalog);
  claim.start = catalog->in_image ? catalog->start : catalog->record.start();
  claim.bytes = kOpticalBlock;
  claim.title = title_of(*catalog);
  claim.records = catalog->records;
  const auto& validation = catalog->validation;
  claim.facts.set("boot_record_block", catalog->record_block)
      .set("catalog_block", catalog->record.get<"catalog">());
  if (catalog->in_image) {
    claim.facts.set("checksum", catalog->sum == 0 ? "good" : "bad")
        .set("platform", name_of(kBootPlatforms, validation.get<"platform">(), "unknown"))
        .set_text("maker", validation.text<"id">());
  }
  claim.facts.set("images", catalog->images.size());
  for (const CatalogImage& image : catalog->images) {
    claim.slices.push_back(slice_from(image, view));
  }
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

}  // namespace

extern const Format el_torito_format;
const Format el_torito_format = {
    .id = "el-torito", .title = "El Torito boot catalog", .stage = Stage::boot, .claims = claims};

}  // namespace platter::boot
