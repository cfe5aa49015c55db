// Boot sectors of alpha, vax and pmax machines as layers. All rules of one kind must hold before it
// is claimed: none of the three has a magic number that would be proof by itself.
#include <fmt/format.h>

#include "boot/boot_sectors.h"
#include "boot/program.h"
#include "core/claim.h"

namespace platter::boot {
namespace {

bool is_image(const Context& context) {
  return context.slice == nullptr && context.below == nullptr;
}

Claim sector_claim(const View& view, std::string_view machine) {
  Claim claim;
  claim.strength = Strength::proven;
  claim.start = view.start();
  claim.bytes = kBootBlock;
  claim.title = fmt::format("boot sector for {}", machine);
  claim.facts.set("byte_order", "little");
  return claim;
}

void set_place(Facts& facts, const Extent& program) {
  facts.set("program_start", program.start).set("program_bytes", program.bytes);
}

void report_short(Claim& claim, const Extent& program, const View& image) {
  claim.find(
      Severity::caution, FindingCode::boot_beyond_limit, program.start, program.bytes,
      fmt::format("the boot program ends at byte {}, the image at byte {}",
                  saturating_add(program.start, program.bytes), image.start() + image.bytes()));
}

std::vector<Claim> alpha_claims(const View& view, const Context& context) {
  if (!is_image(context)) return {};
  const AlphaSector sector = read_alpha_sector(view);
  if (!sector.sum_holds || !sector.place_is_given) return {};
  std::vector<Claim> result(1, sector_claim(view, "alpha"));
  Claim& claim = result.front();
  claim.facts.set("checksum", "good").set("flags", sector.record.get<"flags">());
  set_place(claim.facts, sector.program);
  set_program_facts(claim.facts, identify_program(view, sector.program.start - view.start()));
  claim.records.push_back(sector.record.keep());
  if (!sector.place_fits) report_short(claim, sector.program, view);
  return result;
}

std::vector<Claim> vax_claims(const View& view, const Context& context) {
  if (!is_image(context)) return {};
  const VaxSector sector = read_vax_sector(view);
  if (!sector.one_holds || !sector.id_holds || !sector.sum_holds ||
      sector.program.start <= view.start() || sector.program.start - view.start() >= view.bytes()) {
    return {};
  }
  std::vector<Claim> result(1, sector_claim(view, "vax"));
  Claim& claim = result.front();
  claim.facts.set("checksum", "good")
      .set("load_offset", sector.id.get<"load">())
      .set("entry_offset", sector.id.get<"entry">());
  set_place(claim.facts, sector.program);
  claim.records.push_back(sector.head.keep());
  claim.records.push_back(sector.id.keep());
  if (!sector.place_fits) report_short(claim, sector.program, view);
  return result;
}

std::vector<Claim> pmax_claims(const View& view, const Context& context) {
  if (!is_image(context)) return {};
  const PmaxSector sector = read_pmax_sector(view);
  if (!sector.magic_holds || !sector.mode_holds || !sector.map_holds || !sector.address_holds ||
      !sector.entry_inside) {
    return {};
  }
  std::vector<Claim> result(1, sector_claim(view, "mips"));
  Claim& claim = result.front();
  claim.strength = Strength::sane;  // nothing sums the sector up
  claim.facts.set("checksum", "none")
      .set("mode", sector.record.get<"mode">() == 0 ? "contiguous" : "scattered")
      .set("load", sector.record.get<"load">())
      .set("entry", sector.record.get<"entry">())
      .set("pieces", sector.pieces.size());
  set_place(claim.facts, {sector.pieces.front().start, sector.bytes});
  claim.records.push_back(sector.record.keep());
  for (const Extent& piece : sector.pieces) {
    if (fits_within(piece.start - view.start(), piece.bytes, view.bytes())) continue;
    report_short(claim, piece, view);
    break;
  }
  return result;
}

}  // namespace

extern const Format alpha_boot_format;
const Format alpha_boot_format = {.id = "alpha-boot",
                                  .title = "boot sector for alpha",
                                  .stage = Stage::boot,
                                  .claims = alpha_claims};
extern const Format vax_boot_format;
const Format vax_boot_format = {
    .id = "vax-boot", .title = "boot sector for vax", .stage = Stage::boot, .claims = vax_claims};
extern const Format pmax_boot_format;
const Format pmax_boot_format = {.id = "pmax-boot",
                                 .title = "boot sector for little-endian mips",
                                 .stage = Stage::boot,
                                 .claims = pmax_claims};

}  // namespace platter::boot
