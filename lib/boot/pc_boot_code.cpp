// Code for PC firmware in the first sector of a disk, a floppy or a slice.
#include <algorithm>
#include <array>
#include <string_view>
#include <vector>

#include "boot/pc_boot_sector.h"
#include "core/claim.h"
#include "label/mbr_label.h"

namespace platter::boot {
namespace {

// Where the code of a sector with a partition table ends: at the disk identifier.
constexpr std::uint64_t kTableCodeEnd = Record<label::kMbr>::offset_of<"disk_id">();
constexpr std::uint64_t kSectorCodeEnd = Record<kPcBootSector>::offset_of<"signature">();
// Shorter code does nothing: a jump to itself, a return.
constexpr std::uint64_t kLeastCode = 16;

bool holds_partition_table(const Context& context) {
  return context.below_format == "mbr" || context.below_format == "gpt";
}

// Labels of machines with PC firmware, and boot images that such firmware starts.
bool is_pc_slice(const Context& context) {
  constexpr std::array<std::string_view, 7> kLabels = {
      "mbr", "gpt", "bsd", "solaris-x86", "svr4", "minix-sub", "el-torito"};
  return std::ranges::find(kLabels, context.label_format) != kLabels.end();
}

Claim claim_from(const PcBootSector& sector, const View& view, bool table) {
  Claim claim;
  claim.start = view.start();
  claim.bytes = table ? kTableCodeEnd : kPcSector;
  claim.strength = sector.has_parameters || table ? Strength::sane : Strength::shape;
  claim.title = table ? "PC boot code before the table" : "PC boot sector";
  claim.facts.set("machine", "i386")
      .set("signature", "good")
      .set("load_address", kPcLoadAddress)
      .set("entry", sector.entry)
      .set("code_bytes", sector.code_bytes)
      .set("parameter_block", sector.has_parameters);
  if (!sector.system.empty()) claim.facts.set_text("system", sector.system);
  if (sector.is_kernel) claim.facts.set("kernel_setup", true);
  claim.records.push_back(view.record<kPcBootSector>(0, ByteOrder::little).keep());
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  const bool table = context.below != nullptr;
  if (table && (!holds_partition_table(context) || context.below->start != view.start())) return {};
  // A slice from the first sector on shares that sector with the label, which is asked for itself.
  const bool shared = context.slice != nullptr && view.start() == context.image.start();
  if (!table && context.slice != nullptr && (shared || !is_pc_slice(context))) return {};
  const PcBootSector sector = examine_boot_sector(view, 0, table ? kTableCodeEnd : kSectorCodeEnd);
  if (!sector.is_signed() || sector.is_program || sector.code_bytes == 0) return {};
  // Beside a table any code counts; without one the signature's two bytes need more to be believed.
  const bool believed =
      table || sector.has_parameters ||
      (sector.starts_like_code && sector.is_laid_out && sector.code_bytes >= kLeastCode);
  if (!believed) return {};
  return {claim_from(sector, view, table)};
}

}  // namespace

extern const Format pc_boot_code_format;
const Format pc_boot_code_format = {
    .id = "pc-boot-code", .title = "PC boot code", .stage = Stage::boot, .claims = claims};

}  // namespace platter::boot
