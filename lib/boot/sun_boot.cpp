#include "boot/sun_boot.h"

#include <fmt/format.h>

#include "core/claim.h"

namespace platter::boot {

SunBootBlock read_sun_boot_block(const View& slice) {
  const View sectors = slice.sub(kSunBootAt, kSunBootBytes);
  SunBootBlock block;
  if (all_zero(sectors, 0, kSunBootBytes)) return block;
  block.program = identify_program(sectors);
  if (block.program.is_known()) return block;
  block.program.format = ProgramFormat::raw;
  block.raw_machine = guess_raw_code(sectors);
  return block;
}

namespace {

bool is_boot_program(const SunBootBlock& block) {
  switch (block.program.format) {
    case ProgramFormat::aout:
    case ProgramFormat::elf:
    case ProgramFormat::fcode:
      return true;
    case ProgramFormat::raw:
      return !block.raw_machine.empty();
    default:
      return false;
  }
}

Strength strength_of(const Program& program) {
  if (program.format == ProgramFormat::raw) return Strength::shape;
  const bool summed = program.format == ProgramFormat::fcode && program.file_bytes > 8;
  return summed && program.stored_sum == program.computed_sum ? Strength::proven : Strength::sane;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (context.slice == nullptr || context.below != nullptr || context.label_format != "sun") {
    return {};
  }
  SunBootBlock block = read_sun_boot_block(view);
  if (!is_boot_program(block)) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  if (block.program.machine.empty()) block.program.machine = block.raw_machine;
  claim.strength = strength_of(block.program);
  claim.start = saturating_add(view.start(), kSunBootAt);
  claim.bytes = kSunBootBytes;
  claim.title = fmt::format("Sun boot block, {}", program_format_name(block.program.format));
  set_program_facts(claim.facts, block.program);
  if (block.program.record.structure != nullptr) claim.records.push_back(block.program.record);
  if (block.program.format == ProgramFormat::fcode &&
      block.program.stored_sum != block.program.computed_sum) {
    claim.find(Severity::caution, FindingCode::boot_checksum, claim.start, block.program.file_bytes,
               fmt::format("the FCode program stores checksum 0x{:04X}, its bytes give 0x{:04X}",
                           block.program.stored_sum, block.program.computed_sum));
  }
  return result;
}

}  // namespace

extern const Format sun_boot_block_format;
const Format sun_boot_block_format = {
    .id = "sun-boot-block", .title = "Sun boot block", .stage = Stage::boot, .claims = claims};

}  // namespace platter::boot
