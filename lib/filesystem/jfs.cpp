// JFS: identification of its first generation (big-endian, byte 4096) and its second
// (little-endian, byte 32768).
#include <algorithm>
#include <string>
#include <vector>

#include "filesystem/ext2_uuid.h"
#include "filesystem/field_checks.h"
#include "filesystem/jfs_superblock.h"

namespace platter::filesystem {
namespace {

using namespace std::string_view_literals;

constexpr std::string_view kPlainMagic = "\x43\x21\x87\x65"sv;
constexpr std::string_view kFragmentMagic = "\x65\x87\x21\x43"sv;
constexpr std::uint64_t kDeviceBlock = 512;

bool is_power(std::uint64_t log, std::uint64_t value) {
  return log < 32 && std::uint64_t{1} << log == value;
}

std::vector<Claim> first_generation(const View& view) {
  const bool plain = view.holds(kJfs1Place, kPlainMagic);
  if (!plain && !view.holds(kJfs1Place, kFragmentMagic)) return {};
  const auto super = view.record<kJfs1>(kJfs1Place, ByteOrder::big);
  const std::uint64_t fragment = plain ? super.get<"block_bytes">() : super.get<"fragment_bytes">();
  if (!super.complete() || super.get<"volume_blocks">() == 0 || fragment == 0) return {};
  Claim claim;
  FieldChecks checks(super, claim);
  checks.check<"block_bytes">(super.get<"block_bytes">() == 4096, "", 4096);
  checks.check<"version">(super.get<"version">() == (plain ? 0U : 1U), "", plain ? 0 : 1);
  checks.check<"group_fragments">(
      is_power_of_two_in(super.get<"group_fragments">(), 64, std::uint64_t{1} << 31U),
      "a power of two, at least", 64);
  checks.check<"state">(super.get<"state">() <= 3, "at most", 3);
  if (!plain) {
    checks.check<"fragment_bytes">(is_power_of_two_in(fragment, 512, 4096),
                                   "a power of two from 512 to", 4096);
  }
  claim.start = view.start();
  claim.bytes = super.get<"volume_blocks">() * kDeviceBlock;
  claim.title = "JFS filesystem, first generation";
  claim.records.push_back(super.keep());
  const auto copy = view.record<kJfs1>(kJfs1CopyPlace, ByteOrder::big);
  if (std::ranges::equal(copy.raw<"magic">(), super.raw<"magic">())) {
    claim.records.push_back(copy.keep("copy"));
  }
  Facts& facts = claim.facts;
  facts.set("byte_order", "big")
      .set("generation", 1U)
      .set("block_bytes", super.get<"block_bytes">())
      .set("fragment_bytes", fragment)
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name", super.text<"volume_name">())
      .set_text("filesystem_name", super.text<"name">());
  add_unix_time(facts, "modified", super.get<"modified">());
  facts.set("clean", super.get<"state">() == 0 ? "clean" : "not clean");
  return settled(std::move(claim));
}

std::vector<Claim> second_generation(const View& view) {
  if (!view.holds(kJfs2Place, "JFS1")) return {};
  const auto super = view.record<kJfs2>(kJfs2Place, ByteOrder::little);
  const std::uint64_t version = super.get<"version">();
  const std::uint64_t device_block = super.get<"device_block_bytes">();
  if (!super.complete() || version == 0 || version > 2 || super.get<"volume_blocks">() == 0 ||
      !is_power_of_two_in(device_block, 512, 4096)) {
    return {};
  }
  Claim claim;
  FieldChecks checks(super, claim);
  checks.check<"block_bytes">(is_power(super.get<"block_log">(), super.get<"block_bytes">()),
                              "2 to the power of", super.get<"block_log">());
  checks.check<"device_block_bytes">(is_power(super.get<"device_block_log">(), device_block),
                                     "2 to the power of", super.get<"device_block_log">());
  const std::uint64_t factor = super.get<"factor_log">() + super.get<"device_block_log">();
  checks.check<"block_log">(super.get<"block_log">() == factor, "", factor);
  checks.check<"group_blocks">(super.get<"group_blocks">() != 0, "at least", 1);
  claim.start = view.start();
  claim.bytes = saturating_mul(super.get<"volume_blocks">(), device_block);
  claim.title = "JFS filesystem, second generation";
  claim.records.push_back(super.keep());
  Facts& facts = claim.facts;
  facts.set("byte_order", "little")
      .set("generation", 2U)
      .set("version", version)
      .set("block_bytes", super.get<"block_bytes">())
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name",
                version == 1 ? super.text<"pack_name">() : super.text<"volume_name">());
  add_unix_time(facts, "modified", super.get<"modified">());
  facts.set("clean", super.get<"state">() == 0 ? "clean" : "not clean")
      .set("uuid", uuid_text(super.raw<"uuid">()));
  return settled(std::move(claim));
}

std::vector<Claim> claims(const View& view, const Context&) {
  auto found = first_generation(view);
  return found.empty() ? second_generation(view) : found;
}

}  // namespace

extern const Format jfs_format;
const Format jfs_format = {
    .id = "jfs", .title = "JFS filesystem", .stage = Stage::filesystem, .claims = claims};

}  // namespace platter::filesystem
