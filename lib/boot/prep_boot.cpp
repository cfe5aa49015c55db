// PReP boot slices: MBR type 0x41, with entry and length in the second sector.
#include "boot/prep_boot.h"

#include <algorithm>
#include <utility>
#include <vector>

#include <fmt/format.h>

namespace platter::boot {
namespace {

using Header = Record<kPrepHeader>;

void check(Claim& claim, const Header& header, const Slice& slice) {
  const std::uint64_t entry = header.get<"entry">();
  const std::uint64_t length = header.get<"length">();
  if (entry >= length) {
    claim.find(
        Severity::caution, FindingCode::boot_missing, header.start(), 8,
        fmt::format("the load image has {} bytes and is to be entered at byte {}", length, entry));
  } else if (length > slice.bytes) {
    claim.find(Severity::caution, FindingCode::boot_beyond_limit, header.place_of<"length">(), 4,
               fmt::format("the load image has {} bytes, its slice {}", length, slice.bytes));
  }
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (!is_prep_slice(context) || client_program_at(view, 0) != ClientProgram::none) return {};
  const auto header = view.record<kPrepHeader>(kPrepHeaderPlace, ByteOrder::little);
  const std::uint64_t entry = header.get<"entry">();
  const std::uint64_t length = header.get<"length">();
  if (!header.complete() || (entry == 0 && length == 0)) return {};
  Claim claim;
  claim.start = view.start();
  claim.bytes = std::min(length, context.slice->bytes);
  claim.title = "PReP boot image";
  claim.facts.set("machine", "ppc-prep")
      .set("entry", entry)
      .set("length", length)
      .set("flags", header.get<"flags">())
      .set("system", header.get<"system">());
  if (const std::string name = header.text<"name">(); !name.empty()) {
    claim.facts.set_text("name", name);
  }
  claim.records.push_back(header.keep());
  check(claim, header, *context.slice);
  claim.strength = claim.findings.empty() ? Strength::sane : Strength::magic;
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

}  // namespace

std::string_view client_program_name(ClientProgram program) noexcept {
  switch (program) {
    case ClientProgram::none:
      return "none";
    case ClientProgram::elf:
      return "ELF program for ppc";
    case ClientProgram::xcoff:
      return "XCOFF program for ppc";
  }
  return "";
}

ClientProgram client_program_at(const View& view, std::uint64_t offset) {
  constexpr std::uint64_t kElfMagic = 0x7F454C46;
  const auto head = view.record<kElfHead>(offset, ByteOrder::big);
  if (!head.complete()) return ClientProgram::none;
  if (head.get<"magic">() == kElfMagic) {
    const bool fits = head.get<"order">() == 2 &&
                      (head.get<"machine">() == kElfPpc || head.get<"machine">() == kElfPpc + 1);
    return fits ? ClientProgram::elf : ClientProgram::none;
  }
  return view.number(offset, 2, ByteOrder::big) == kXcoffMagic ? ClientProgram::xcoff
                                                               : ClientProgram::none;
}

bool is_prep_slice(const Context& context) {
  if (context.slice == nullptr || context.below != nullptr) return false;
  if (context.label_format == "mbr") return context.slice->type == kPrepType;
  return context.label_format == "gpt" && context.slice->facts.words("type_name") == "PReP boot";
}

extern const Format prep_boot_format;
const Format prep_boot_format = {
    .id = "prep-boot", .title = "PReP boot image", .stage = Stage::boot, .claims = claims};

}  // namespace platter::boot
