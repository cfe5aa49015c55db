// ODS-2 and ODS-5: identification by the home block, which has two checksums.
#include <optional>
#include <string>
#include <vector>

#include "filesystem/field_checks.h"
#include "filesystem/ods2_home_block.h"

namespace platter::filesystem {
namespace {

using Home = Record<kOds2Home>;

constexpr std::uint64_t kBlock = 512;

// Wrapping sum of the 16-bit words in front of a checksum field.
std::uint64_t sum_before(const Home& home, std::size_t end) {
  std::uint64_t sum = 0;
  for (std::size_t at = 0; at < end; at += 2) {
    sum += decode_unsigned(home.all().subspan(at, 2), ByteOrder::little);
  }
  return sum & 0xFFFFU;
}

// 100 ns since 1858-11-17; 40587 days before 1970.
std::optional<Timestamp> ods2_time(std::uint64_t value) {
  constexpr std::int64_t kBefore1970 = 40587LL * 86400;
  if (value == 0 || value > 0x7FFFFFFFFFFFFFFF) return std::nullopt;
  return Timestamp{static_cast<std::int64_t>(value / 10'000'000) - kBefore1970};
}

std::vector<Claim> claims(const View& view, const Context&) {
  if (!view.holds(kBlock + Home::offset_of<"format">(), "DECFILE11B  ")) return {};
  const auto home = view.record<kOds2Home>(kBlock, ByteOrder::little);
  const std::uint64_t level = home.get<"major_level">();
  if (!home.complete() || (level != 2 && level != 5)) return {};
  Claim claim;
  FieldChecks checks(home, claim);
  const std::uint64_t first = sum_before(home, Home::offset_of<"checksum_1">());
  const std::uint64_t second = sum_before(home, Home::offset_of<"checksum_2">());
  checks.check<"checksum_1">(home.get<"checksum_1">() == first, "", first);
  checks.check<"checksum_2">(home.get<"checksum_2">() == second, "", second);
  checks.check<"home_lbn">(home.get<"home_lbn">() == 1, "", 1);
  checks.check<"cluster_blocks">(home.get<"cluster_blocks">() != 0, "at least", 1);
  checks.check<"bitmap_lbn">(home.get<"bitmap_lbn">() != 0, "at least", 1);
  checks.check<"reserved_files">(home.get<"reserved_files">() >= 5, "at least", 5);
  checks.check<"most_files">(home.get<"most_files">() > home.get<"reserved_files">(),
                             "more than reserved_files,", home.get<"reserved_files">());
  claim.start = view.start();
  claim.bytes = view.bytes();  // the home block does not tell
  claim.title = level == 2 ? "ODS-2 volume" : "ODS-5 volume";
  claim.records.push_back(home.keep());
  Facts& facts = claim.facts;
  facts.set("byte_order", "little")
      .set("variant", level == 2 ? "ODS-2" : "ODS-5")
      .set("block_bytes", home.get<"cluster_blocks">() * kBlock)
      .set_text("volume_name", home.text<"volume_name">())
      .set_text("structure_name", home.text<"structure_name">())
      .set_text("owner", home.text<"owner_name">());
  if (const auto time = ods2_time(home.get<"created">())) facts.set("created", *time);
  if (const auto time = ods2_time(home.get<"revised">())) facts.set("modified", *time);
  facts.set("most_files", home.get<"most_files">())
      .set("volume_number", home.get<"volume_number">())
      .set("set_count", home.get<"set_count">());
  auto result = settled(std::move(claim));
  if (!result.empty() && result[0].findings.empty()) result[0].strength = Strength::proven;
  return result;
}

}  // namespace

extern const Format ods2_format;
const Format ods2_format = {
    .id = "ods2", .title = "ODS-2 volume", .stage = Stage::filesystem, .claims = claims};

}  // namespace platter::filesystem
