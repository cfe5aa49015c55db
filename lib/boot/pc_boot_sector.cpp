#include "boot/pc_boot_sector.h"

#include <algorithm>
#include <array>
#include <span>

#include "label/apm_label.h"
#include "label/mbr_label.h"

namespace platter::boot {
namespace {

using Bytes = std::span<const std::byte>;

std::uint8_t byte_at(Bytes sector, std::size_t at) {
  return std::to_integer<std::uint8_t>(sector[at]);
}

// Short, near and far jumps; far ones go by the two ways in which 0x7C00 is written.
std::optional<std::uint64_t> jump_target(Bytes sector) {
  const auto word = [&](std::size_t at) {
    return decode_unsigned(sector.subspan(at, 2), ByteOrder::little);
  };
  switch (byte_at(sector, 0)) {
    case 0xEB:
      return static_cast<std::uint64_t>(2 + sign_extend(byte_at(sector, 1), 1));
    case 0xE9:
      return static_cast<std::uint64_t>(3 + sign_extend(word(1), 2));
    case 0xEA:
      if (word(3) == kPcLoadAddress / 16) return word(1);
      if (word(3) == 0 && word(1) >= kPcLoadAddress) return word(1) - kPcLoadAddress;
      return std::nullopt;
    default:
      return std::nullopt;
  }
}

// First instructions seen in boot code: common practice, no source. Interrupts and direction are
// set, segment registers are loaded, registers are cleared; jumps are judged by their target.
bool is_first_instruction(Bytes sector) {
  constexpr std::array<std::uint8_t, 17> kAlone = {0x06, 0x0E, 0x16, 0x1E, 0x50, 0x52,
                                                   0x54, 0x55, 0x60, 0x90, 0xB8, 0xBC,
                                                   0xE8, 0xFA, 0xFB, 0xFC, 0x68};
  const std::uint8_t first = byte_at(sector, 0);
  if (std::ranges::find(kAlone, first) != kAlone.end()) return true;
  // Both operands registers: exclusive-or, subtract, move, move from a segment register.
  const bool with_registers = first == 0x31 || first == 0x33 || first == 0x29 || first == 0x2B ||
                              first == 0x89 || first == 0x8B || first == 0x8C;
  return with_registers && byte_at(sector, 1) >= 0xC0;
}

// A run of zeros, or a message: common practice, no source. Noise has neither in 512 bytes.
bool is_laid_out(Bytes code) {
  constexpr std::size_t kPadding = 8;
  constexpr std::size_t kMessage = 16;
  std::size_t zeros = 0;
  std::size_t letters = 0;
  for (const std::byte b : code) {
    const auto value = std::to_integer<std::uint8_t>(b);
    zeros = value == 0 ? zeros + 1 : 0;
    letters = value >= 0x20 && value < 0x7F ? letters + 1 : 0;
    if (zeros >= kPadding || letters >= kMessage) return true;
  }
  return false;
}

// An APM's block 0 is no code, though makers of hybrid discs hide code behind its first fields:
// then it goes on far behind the few drivers that such a map has.
bool is_bare_driver_map(Bytes sector) {
  using Map = FieldReader<label::kApmDriverMap>;
  constexpr std::size_t kFewDrivers = Map::offset_of<"driver">(6);
  constexpr std::size_t kTable = FieldReader<label::kMbr>::offset_of<"disk_id">();
  const Map map(sector.data(), ByteOrder::big);
  return map.get<"signature">() == label::kApmDriverMagic &&
         std::ranges::all_of(sector.subspan(kFewDrivers, kTable - kFewDrivers),
                             [](std::byte b) { return b == std::byte{0}; });
}

bool has_parameter_block(const View& view, std::uint64_t offset) {
  const auto sector = view.record<label::kBootSector>(offset, ByteOrder::little);
  const std::uint64_t media = sector.get<"media">();
  return is_power_of_two_in(sector.get<"sector_bytes">(), 128, 4096) &&
         is_power_of_two_in(sector.get<"cluster_sectors">(), 1, 128) &&
         (media == 0xF0 || media >= 0xF8);
}

}  // namespace

PcBootSector examine_boot_sector(const View& view, std::uint64_t offset, std::uint64_t code_end) {
  PcBootSector result;
  const auto sector = view.record<kPcBootSector>(offset, ByteOrder::little);
  const Bytes all = sector.all();
  result.signature = sector.get<"signature">();
  const auto setup = view.record<kKernelSetup>(offset + kPcSector, ByteOrder::little);
  result.is_kernel = setup.text<"magic">() == "HdrS";
  if (result.is_kernel) code_end = std::min(code_end, kKernelFields);
  const auto target = jump_target(all);
  result.jumps = target && *target >= 2 && *target < code_end;
  if (result.jumps) result.entry = *target;
  result.starts_like_code = result.jumps || (!target && is_first_instruction(all));
  result.has_parameters = result.jumps && has_parameter_block(view, offset);
  if (result.has_parameters) result.system = sector.text<"system">();
  result.is_laid_out = is_laid_out(all.first(static_cast<std::size_t>(code_end)));
  for (std::uint64_t i = code_end; i > result.entry; --i) {
    if (all[static_cast<std::size_t>(i - 1)] == std::byte{0}) continue;
    result.code_bytes = i - result.entry;
    break;
  }
  if (is_bare_driver_map(all)) result.code_bytes = 0;
  const bool program_mark = byte_at(all, 0) == 'M' && byte_at(all, 1) == 'Z';
  result.is_program = program_mark || (result.is_kernel && result.code_bytes == 0);
  return result;
}

}  // namespace platter::boot
