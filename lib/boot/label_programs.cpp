// Programs that a label points to: files of an SGI volume directory or a LIF directory, the boot
// programs of a dlV label, the initial program of a LIF volume.
#include <algorithm>
#include <optional>

#include <fmt/format.h>

#include "boot/boot_sectors.h"
#include "boot/lif_ipl.h"
#include "boot/program.h"
#include "core/claim.h"

namespace platter::boot {
namespace {

void set_program(Claim& claim, const Program& program) {
  set_program_facts(claim.facts, program);
  if (program.record.structure != nullptr) claim.records.push_back(program.record);
}

std::vector<Claim> file_claims(const View& view, const Context& context) {
  if (context.slice == nullptr || context.below != nullptr ||
      context.slice->role != SliceRole::file ||
      (context.label_format != "sgi" && context.label_format != "lif")) {
    return {};
  }
  const Program program = identify_program(view);
  if (!program.is_known()) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.start = view.start();
  claim.bytes = program.file_bytes != 0 ? program.file_bytes : view.bytes();
  claim.title = fmt::format("program, {}", program_format_name(program.format));
  set_program(claim, program);
  return result;
}

// How far a boot program of a dlV label may reach: to the next one, or to the end of the porch.
std::uint64_t room_for(std::uint64_t start, std::uint64_t other, std::uint64_t porch_end) {
  std::uint64_t end = porch_end > start ? porch_end : kLargest;
  if (other > start) end = std::min(end, other);
  return end == kLargest ? kBootBlock : end - start;
}

bool are_equal(const View& image, std::uint64_t a, std::uint64_t b, std::uint64_t bytes) {
  constexpr std::uint64_t kMostCompared = 1U << 20U;
  const std::uint64_t compared = std::min(bytes, kMostCompared);
  return image.read_vector(a, compared) == image.read_vector(b, compared);
}

std::optional<Claim> dlv_claim(const View& image, const Facts& label, unsigned number) {
  const auto place = [&](unsigned which) {
    return label.number(fmt::format("boot_start_{}", which));
  };
  const std::uint64_t start = place(number);
  if (start < image.start() || start - image.start() >= image.bytes() || start == 0) {
    return std::nullopt;
  }
  const std::uint64_t at = start - image.start();
  const Program program = identify_program(image, at);
  if (program.format == ProgramFormat::none) return std::nullopt;
  Claim claim;
  claim.strength = program.is_known() ? Strength::sane : Strength::shape;
  claim.start = start;
  const std::uint64_t room =
      room_for(start, place(3 - number), image.start() + label.number("front_porch_bytes"));
  claim.bytes = program.file_bytes != 0 ? program.file_bytes : room;
  claim.title = fmt::format("boot program {}, {}", number, program_format_name(program.format));
  claim.facts.set("number", std::uint64_t{number}).set("room_bytes", room);
  set_program(claim, program);
  if (const std::uint64_t first = place(1); number == 2 && first >= image.start() && first != 0) {
    claim.facts.set("same_as_first", are_equal(image, first - image.start(), at, claim.bytes));
  }
  return claim;
}

std::vector<Claim> dlv_claims(const View& view, const Context& context) {
  (void)view;
  if (context.below == nullptr || context.below_format != "dlv") return {};
  std::vector<Claim> result;
  for (const unsigned number : {1U, 2U}) {
    if (auto claim = dlv_claim(context.image, context.below->facts, number)) {
      result.push_back(std::move(*claim));
    }
  }
  return result;
}

std::vector<Claim> ipl_claims(const View& view, const Context& context) {
  if (context.below == nullptr || context.below_format != "lif") return {};
  const LifIpl ipl = read_lif_ipl(view);
  if (!ipl.start_holds || !ipl.size_holds || !ipl.limit_holds || !ipl.entry_holds ||
      !ipl.is_present || ipl.is_empty) {
    return {};
  }
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = ipl.sum == 0 ? Strength::proven : Strength::sane;
  claim.start = saturating_add(view.start(), ipl.volume.get<"ipl_start">());
  claim.bytes = ipl.volume.get<"ipl_bytes">();
  claim.title = "initial program for hppa";
  claim.facts.set("byte_order", "big")
      .set("checksum", ipl.sum == 0 ? "good" : "bad")
      .set("entry_offset", ipl.volume.get<"ipl_entry">());
  const auto load = view.record<kLifLoad>(ipl.volume.get<"ipl_start">(), ByteOrder::big);
  if (ipl.has_load_header) {
    claim.facts.set("load_address", load.get<"address">()).set("load_bytes", load.get<"length">());
    claim.records.push_back(load.keep());
  }
  set_program(claim, identify_program(view, ipl.volume.get<"ipl_start">()));
  return result;
}

}  // namespace

extern const Format program_format;
const Format program_format = {.id = "program",
                               .title = "program of a label's directory",
                               .stage = Stage::boot,
                               .claims = file_claims};
extern const Format dlv_boot_format;
const Format dlv_boot_format = {.id = "dlv-boot",
                                .title = "boot program of a dlV label",
                                .stage = Stage::boot,
                                .claims = dlv_claims};
extern const Format lif_ipl_format;
const Format lif_ipl_format = {.id = "lif-ipl",
                               .title = "initial program of a LIF volume",
                               .stage = Stage::boot,
                               .claims = ipl_claims};

}  // namespace platter::boot
