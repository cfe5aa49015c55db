#include "boot/apm_code.h"

#include <algorithm>
#include <array>
#include <bit>

namespace platter::boot {
namespace {

using Entry = FieldReader<label::kApmEntry>;

// Bounds of ours for the bytes that sums are computed over: drivers have some dozens of KiB.
constexpr std::uint64_t kLongestCode = std::uint64_t{1} << 20U;
constexpr std::uint64_t kMostRead = std::uint64_t{8} << 20U;

std::uint16_t sum_of_range(const View& view, std::uint64_t offset, std::uint64_t bytes) {
  std::array<std::byte, 16384> piece{};
  std::uint16_t sum = 0;
  for (std::uint64_t done = 0; done < bytes; done += piece.size()) {
    const auto length =
        static_cast<std::size_t>(std::min<std::uint64_t>(piece.size(), bytes - done));
    view.read(offset + done, std::span(piece).first(length));
    sum = apm_running_sum(std::span(piece).first(length), sum);
  }
  return sum == 0 ? std::uint16_t{0xFFFF} : sum;
}

void verify(const View& view, const Entry& entry, ApmCode& code, std::uint64_t& budget) {
  if (entry.get<"boot_checksum">() == 0) return;
  code.sum = SumState::unchecked;
  const std::uint64_t offset = code.start - view.start();
  const std::uint64_t bytes = entry.get<"boot_bytes">();
  if (bytes > kLongestCode || bytes > budget || !fits_within(offset, bytes, view.bytes())) return;
  budget -= bytes;
  code.computed = sum_of_range(view, offset, bytes);
  code.sum = code.computed == entry.get<"boot_checksum">() ? SumState::good : SumState::bad;
}

}  // namespace

std::uint16_t apm_running_sum(std::span<const std::byte> code, std::uint16_t sum) {
  for (const std::byte b : code) {
    sum = static_cast<std::uint16_t>(sum + std::to_integer<std::uint16_t>(b));
    sum = std::rotl(sum, 1);
  }
  return sum;
}

bool rom_verifies_sum(const Entry& entry) {
  constexpr std::array<std::byte, 4> kMark = {std::byte{0x4D}, std::byte{0x61}, std::byte{0x63},
                                              std::byte{0x69}};
  return std::ranges::equal(entry.raw<"name">().first(kMark.size()), kMark);
}

BootPlace boot_place(const View& view, const label::ApmMap& map, const Entry& entry) {
  const std::uint64_t unit = map.block_bytes;
  const std::uint64_t within = saturating_mul(entry.get<"boot_first">(), unit);
  const std::uint64_t offset = saturating_add(saturating_mul(entry.get<"first">(), unit), within);
  BootPlace place{saturating_add(view.start(), offset), entry.get<"boot_bytes">()};
  place.inside = fits_within(within, place.bytes, saturating_mul(entry.get<"blocks">(), unit)) &&
                 fits_within(offset, place.bytes, view.bytes());
  return place;
}

namespace {

void add_drivers(const View& view, ApmBoot& boot) {
  const std::uint64_t unit = boot.device_block_bytes;
  const std::uint64_t drivers = boot.drivers.get<"drivers">();
  if (unit == 0 || drivers > boot.drivers.count_of<"driver">()) return;
  for (std::size_t i = 0; i < drivers; ++i) {
    const auto driver = boot.drivers.sub<"driver">(i);
    if (driver.get<"blocks">() == 0) continue;
    ApmCode code;
    code.start = saturating_add(view.start(), driver.get<"first">() * unit);
    code.bytes = driver.get<"blocks">() * unit;
    code.driver = i;
    code.system = driver.get<"system">();
    boot.codes.push_back(code);
  }
}

// The code of a slice is that of a driver when it stands where block 0 says.
void add_slice_code(const View& view, ApmBoot& boot) {
  std::uint64_t budget = kMostRead;
  for (std::size_t i = 0; i < boot.map.entries.size(); ++i) {
    const Entry& entry = boot.map.entries[i];
    if (entry.get<"boot_bytes">() == 0 || entry.get<"blocks">() == 0) continue;
    const BootPlace place = boot_place(view, boot.map, entry);
    auto code = std::ranges::find(boot.codes, place.start, &ApmCode::start);
    if (code == boot.codes.end()) {
      boot.codes.push_back({.start = place.start, .bytes = place.bytes});
      code = boot.codes.end() - 1;
    }
    if (code->entry) continue;  // two entries at one place: the first one speaks
    code->entry = i;
    code->has_boot_code = true;
    verify(view, entry, *code, budget);
  }
}

// The slice that a driver stands in, for drivers of which no slice gives the code.
std::optional<std::size_t> entry_around(const View& view, const label::ApmMap& map,
                                        const ApmCode& code) {
  const std::uint64_t offset = code.start - view.start();
  for (std::size_t i = 0; i < map.entries.size(); ++i) {
    const Entry& entry = map.entries[i];
    const std::uint64_t first = saturating_mul(entry.get<"first">(), map.block_bytes);
    const std::uint64_t bytes = saturating_mul(entry.get<"blocks">(), map.block_bytes);
    if (offset >= first && fits_within(offset - first, code.bytes, bytes)) return i;
  }
  return std::nullopt;
}

}  // namespace

ApmBoot read_apm_boot(const View& view, std::uint64_t map_block_bytes) {
  ApmBoot boot;
  boot.drivers = view.record<label::kApmDriverMap>(0, ByteOrder::big);
  boot.map = label::read_apm_map(view, map_block_bytes);
  const std::uint64_t stated = boot.drivers.get<"block_bytes">();
  if (is_power_of_two_in(stated, 512, 65536)) boot.device_block_bytes = stated;
  add_drivers(view, boot);
  add_slice_code(view, boot);
  for (ApmCode& code : boot.codes) {
    if (!code.entry) code.entry = entry_around(view, boot.map, code);
  }
  return boot;
}

}  // namespace platter::boot
