// Drivers of an APM's block 0, and the boot code of its slices.
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "boot/apm_code.h"
#include "core/claim.h"

namespace platter::boot {
namespace {

constexpr std::size_t kMostClaims = 64;

std::string_view sum_name(SumState state) {
  switch (state) {
    case SumState::none:
      return "none";
    case SumState::good:
      return "good";
    case SumState::bad:
      return "bad";
    case SumState::unchecked:
      return "unchecked";
  }
  return "";
}

// Only a driver in a slice of a certain name is verified by a ROM; anywhere else a wrong sum is a
// remark.
void check_sum(Claim& claim, const ApmCode& code, const Record<label::kApmEntry>& entry) {
  if (code.sum != SumState::bad) return;
  const bool verified = code.driver && rom_verifies_sum(entry);
  claim.find(
      verified ? Severity::fault : Severity::note, FindingCode::boot_checksum,
      entry.place_of<"boot_checksum">(), 4,
      fmt::format("the checksum of the boot code of slice {} is 0x{:04X}, expected 0x{:04X}{}",
                  *code.entry + 1, entry.get<"boot_checksum">(), code.computed,
                  verified ? "; a ROM refuses it" : "; not every firmware looks at it"));
}

Claim claim_from(const ApmBoot& boot, const ApmCode& code) {
  Claim claim;
  claim.start = code.start;
  claim.bytes = code.bytes;
  claim.title = code.driver ? "Driver" : "Boot code of a slice";
  if (code.driver) {
    const auto driver = boot.drivers.sub<"driver">(*code.driver);
    claim.facts.set("driver", *code.driver + 1)
        .set("block", driver.get<"first">())
        .set("blocks", driver.get<"blocks">())
        .set("system", code.system);
  }
  if (!code.entry) return claim;
  const Record<label::kApmEntry>& entry = boot.map.entries[*code.entry];
  claim.facts.set("slice", *code.entry + 1)
      .set_text("type_name", entry.text<"type">(), Charset::hfs_roman)
      .set("status", entry.get<"status">());
  if (code.has_boot_code) {
    claim.facts.set("boot_bytes", entry.get<"boot_bytes">())
        .set("load_address", entry.get<"boot_load">())
        .set("entry", entry.get<"boot_entry">())
        .set("checksum", sum_name(code.sum))
        .set_text("processor", entry.text<"processor">());
  }
  check_sum(claim, code, entry);
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  if (context.below == nullptr || context.below_format != "apm") return {};
  const std::uint64_t block_bytes = context.below->facts.number("sector_bytes");
  if (!is_power_of_two_in(block_bytes, 512, 65536)) return {};
  const ApmBoot boot = read_apm_boot(view, block_bytes);
  std::vector<Claim> result;
  for (const ApmCode& code : boot.codes) {
    if (result.size() >= kMostClaims) break;
    if (code.start - view.start() >= view.bytes()) continue;  // the slice's finding says so
    result.push_back(claim_from(boot, code));
  }
  return result;
}

}  // namespace

extern const Format apm_driver_format;
const Format apm_driver_format = {
    .id = "apm-driver", .title = "APM driver or boot code", .stage = Stage::boot, .claims = claims};

}  // namespace platter::boot
