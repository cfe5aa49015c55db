// Minix filesystems, versions 1, 2 and 3, in the order of the machine that made them.
#include <memory>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "filesystem/minix_numbers.h"
#include "filesystem/minix_volume.h"
#include "filesystem/unix_bitmap.h"

namespace platter::filesystem {
namespace {

// Maps that are larger are not counted for the facts.
constexpr std::uint64_t kMostMapBytes = 1 << 20;
constexpr std::uint64_t kClean = 1;
constexpr std::uint64_t kErrors = 2;

// Clear bits of a map, or nothing when it is not there or large.
std::optional<std::uint64_t> clear_bits(const View& view, std::uint64_t place, std::uint64_t bits,
                                        std::size_t word) {
  const std::uint64_t bytes = divide_up(bits, 64) * 8;
  if (bytes > kMostMapBytes) return std::nullopt;
  auto map = view.read_vector(place, bytes);
  if (map.size() != bytes) return std::nullopt;
  straighten(map, word);
  return count_clear(map, bits);
}

void add_facts(Claim& claim, const View& view, const MinixNumbers& numbers) {
  claim.facts.set("byte_order", byte_order_name(numbers.order))
      .set("version", numbers.version)
      .set("block_bytes", numbers.block_bytes)
      .set("volume_bytes", claim.bytes);
  const std::size_t word = minix_map_word(view, numbers);
  if (const auto free = clear_bits(view, numbers.zmap_place(), numbers.zone_bits(), word)) {
    claim.facts.set("used_bytes", (numbers.zones - *free) * numbers.zone_bytes)
        .set("free_bytes", *free * numbers.zone_bytes);
  }
  if (const auto free = clear_bits(view, numbers.imap_place(), numbers.inodes + 1, word)) {
    claim.facts.set("files", numbers.inodes - std::min(numbers.inodes, *free));
  }
  // The oldest systems have no such field: zero says nothing.
  if (numbers.version != 3 && (numbers.state & (kClean | kErrors)) != 0) {
    claim.facts.set("clean", numbers.state == kClean ? "clean" : "not clean");
  }
  if (numbers.version != 3) claim.facts.set("clean_value", numbers.state);
  claim.facts.set("zone_bytes", numbers.zone_bytes)
      .set("inodes", numbers.inodes)
      .set("inode_bytes", numbers.inode_bytes)
      .set("name_bytes", numbers.name_bytes);
  if (numbers.order == ByteOrder::big) claim.facts.set("map_word_bytes", word);
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto numbers = minix_numbers(view);
  if (!numbers) return {};
  Claim claim;
  for (const MinixNumbers::Contradiction& wrong : numbers->contradictions) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged, wrong.place, wrong.bytes,
               wrong.words);
  }
  claim.strength = claim.findings.empty() ? Strength::sane : Strength::magic;
  claim.start = view.start();
  claim.bytes = saturating_mul(numbers->zones, numbers->zone_bytes);
  claim.title = fmt::format("Minix filesystem, version {}", numbers->version);
  add_facts(claim, view, *numbers);
  claim.records.push_back(numbers->record);
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  const auto numbers = minix_numbers(view);
  if (!numbers) return nullptr;
  return std::make_unique<MinixVolume>(view, *numbers, options.charset);
}

}  // namespace

extern const Format minix_format;
const Format minix_format = {.id = "minix",
                             .title = "Minix filesystem",
                             .stage = Stage::filesystem,
                             .claims = claims,
                             .open = open};

}  // namespace platter::filesystem
