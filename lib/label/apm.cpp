// APM: a driver descriptor in block 0 and a map entry in each block from 1 on, big-endian.
#include <algorithm>
#include <array>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/apm_map.h"

namespace platter::label {
namespace {

constexpr std::array<std::uint64_t, 3> kBlockSizes = {512, 2048, 1024};
constexpr std::size_t kMostEntryFindings = 64;

using DriverMap = Record<kApmDriverMap>;
using Entry = Record<kApmEntry>;

bool has_driver_magic(const DriverMap& drivers) {
  return drivers.get<"signature">() == kApmDriverMagic;
}

std::uint64_t stated_block_bytes(const DriverMap& drivers) {
  const std::uint64_t stated = drivers.get<"block_bytes">();
  const bool sane = has_driver_magic(drivers) && is_power_of_two_in(stated, 512, 65536);
  return sane ? stated : 0;
}

// An entry proves a map when its numbers make sense; the one for the map itself proves most.
bool describes_itself(const ApmMap& map) {
  return std::ranges::any_of(map.entries, [](const Entry& entry) {
    return apm_kind(entry.text<"type">()) == ApmKind::map && entry.get<"first">() == 1;
  });
}

bool is_map(const ApmMap& map, bool driver_magic) {
  if (map.entries.empty()) return false;
  if (describes_itself(map)) return true;
  return driver_magic && map.stated >= 1 && map.stated <= kApmMostEntries &&
         map.entries[0].get<"first">() != 0;
}

// Discs made for both 512- and 2048-byte drives carry a map for each. Where an entry of the shorter
// map stands at a place of the longer one, it is not taken for that one's first.
bool is_entry_of(const ApmMap& map, std::uint64_t place) {
  return place % map.block_bytes == 0 && place / map.block_bytes <= map.entries.size();
}

struct Maps {
  ApmMap used;
  std::optional<ApmMap> other;
};

std::optional<Maps> find_maps(const View& view, const DriverMap& drivers) {
  const std::uint64_t stated = stated_block_bytes(drivers);
  std::vector<ApmMap> found;
  const auto consider = [&](std::uint64_t block_bytes) {
    const auto shared = [&](const ApmMap& map) {
      return map.block_bytes == block_bytes || is_entry_of(map, block_bytes);
    };
    if (block_bytes == 0 || std::ranges::any_of(found, shared)) return;
    auto map = read_apm_map(view, block_bytes);
    if (is_map(map, has_driver_magic(drivers))) found.push_back(std::move(map));
  };
  if (stated != 512) consider(stated);
  // A map of 512-byte blocks with four entries or more reads like the start of a longer-spaced one.
  if (!found.empty() && !found[0].complete()) found.clear();
  for (const std::uint64_t block_bytes : kBlockSizes)
    consider(block_bytes);
  if (found.empty()) return std::nullopt;
  Maps maps{std::move(found[0]), std::nullopt};
  if (found.size() > 1) maps.other = std::move(found[1]);
  return maps;
}

SliceRole role_of(const Entry& entry) {
  switch (apm_kind(entry.text<"type">())) {
    case ApmKind::map:
      return SliceRole::metadata;
    case ApmKind::free:
      return SliceRole::unused;
    case ApmKind::unix_svr2: {
      const FieldReader<kApmUnix> arguments(entry.raw<"boot_arguments">().data(), ByteOrder::big);
      const bool swap =
          arguments.get<"magic">() == kApmUnixMagic && arguments.get<"kind">() == kApmUnixSwap;
      return swap ? SliceRole::swap : SliceRole::data;
    }
    default:
      return SliceRole::data;
  }
}

std::uint64_t start_of(const Entry& entry, const ApmMap& map) {
  return saturating_mul(entry.get<"first">(), map.block_bytes);
}
std::uint64_t bytes_of(const Entry& entry, const ApmMap& map) {
  return saturating_mul(entry.get<"blocks">(), map.block_bytes);
}

Slice slice_from(const Entry& entry, const ApmMap& map, const View& view, std::size_t number) {
  Slice slice;
  slice.id = std::to_string(number);
  slice.start = saturating_add(view.start(), start_of(entry, map));
  slice.bytes = bytes_of(entry, map);
  slice.role = role_of(entry);
  slice.facts.set_text("name", entry.text<"name">(), Charset::hfs_roman)
      .set_text("type_name", entry.text<"type">(), Charset::hfs_roman)
      .set("status", entry.get<"status">());
  if (entry.get<"data_first">() != 0) {
    slice.facts.set("data_start", entry.get<"data_first">() * map.block_bytes);
  }
  if (entry.get<"boot_bytes">() != 0) {
    slice.facts.set("boot_start", entry.get<"boot_first">() * map.block_bytes)
        .set("boot_bytes", entry.get<"boot_bytes">())
        .set("boot_load", entry.get<"boot_load">())
        .set("boot_entry", entry.get<"boot_entry">())
        .set("bootable", (entry.get<"status">() & kApmBootable) != 0);
  }
  const std::string processor = entry.text<"processor">();
  if (!processor.empty()) slice.facts.set_text("processor", processor);
  return slice;
}

void keep_entry(Claim& claim, const Entry& entry, std::string role) {
  claim.records.push_back(entry.keep(std::move(role)));
  const FieldReader<kApmUnix> arguments(entry.raw<"boot_arguments">().data(), ByteOrder::big);
  if (arguments.get<"magic">() != kApmUnixMagic) return;
  const auto all = arguments.all();
  claim.records.push_back({&kApmUnix,
                           ByteOrder::big,
                           entry.place_of<"boot_arguments">(),
                           kApmUnix.bytes,
                           {all.begin(), all.end()},
                           {}});
}

void check_data(Claim& claim, const Entry& entry, std::size_t number) {
  if (claim.findings.size() >= kMostEntryFindings) return;
  if (fits_within(entry.get<"data_first">(), entry.get<"data_blocks">(), entry.get<"blocks">())) {
    return;
  }
  claim.find(
      Severity::caution, FindingCode::label_field, entry.place_of<"data_first">(), 8,
      fmt::format("the data of slice {} covers {} blocks from its block {} on, the slice has "
                  "only {}",
                  number, entry.get<"data_blocks">(), entry.get<"data_first">(),
                  entry.get<"blocks">()));
}

void check_counts(Claim& claim, const ApmMap& map) {
  const Entry& first = map.entries.front();
  const std::uint64_t limit = std::min(map.stated, kApmMostEntries);
  if (map.stated == 0 || map.stated > kApmMostEntries) {
    claim.find(Severity::caution, FindingCode::label_field, first.place_of<"map_entries">(), 4,
               fmt::format("the APM claims {} entries, expected 1 to {}; {} are there", map.stated,
                           kApmMostEntries, map.entries.size()));
  } else if (map.entries.size() < limit) {
    const std::uint64_t next = map.entries.back().start() + map.block_bytes;
    claim.find(Severity::fault, FindingCode::label_field, next, 2,
               fmt::format("the APM claims {} entries, number {} has no signature", map.stated,
                           map.entries.size() + 1));
  }
  const auto differs = [&](const Entry& entry) { return entry.get<"map_entries">() != map.stated; };
  const auto odd = std::ranges::find_if(map.entries, differs);
  if (odd == map.entries.end()) return;
  claim.find(Severity::note, FindingCode::label_field, odd->place_of<"map_entries">(), 4,
             fmt::format("an APM entry gives the map {} entries, the first one gives it {}",
                         odd->get<"map_entries">(), map.stated));
}

void add_entries(Claim& claim, const ApmMap& map, const View& view) {
  for (std::size_t i = 0; i < map.entries.size(); ++i) {
    const Entry& entry = map.entries[i];
    keep_entry(claim, entry, fmt::format("entry {}", i + 1));
    if (entry.get<"blocks">() == 0) continue;
    check_data(claim, entry, i + 1);
    claim.slices.push_back(slice_from(entry, map, view, i + 1));
  }
}

void add_drivers(Claim& claim, const DriverMap& drivers, const View& view,
                 std::uint64_t block_bytes) {
  const std::uint64_t stated = drivers.get<"drivers">();
  const std::uint64_t count = std::min<std::uint64_t>(stated, drivers.count_of<"driver">());
  if (stated > count) {
    // Makers of hybrid discs leave this part of block 0 as it was in their memory.
    claim.find(Severity::note, FindingCode::label_field, drivers.place_of<"drivers">(), 2,
               fmt::format("block 0 claims {} drivers, at most {} fit", stated, count));
    return;
  }
  for (std::uint32_t i = 0; i < count; ++i) {
    const auto driver = drivers.sub<"driver">(i);
    if (driver.get<"blocks">() == 0) continue;
    Slice slice;
    slice.id = fmt::format("driver-{}", i + 1);
    slice.start = saturating_add(view.start(), driver.get<"first">() * block_bytes);
    slice.bytes = driver.get<"blocks">() * block_bytes;
    slice.role = SliceRole::file;
    slice.type = driver.get<"system">();
    slice.facts.set("name", slice.id).set("type", *slice.type).set("type_name", "driver");
    if (driver.get<"first">() == 0) {
      claim.find(Severity::caution, FindingCode::label_field, drivers.place_of<"driver">(i),
                 kApmDriver.bytes,
                 fmt::format("driver {} starts at block 0, on the driver map itself", i + 1));
    }
    claim.slices.push_back(std::move(slice));
  }
}

// The other map should speak of the same bytes; it may leave out what only one of them needs.
void compare_maps(Claim& claim, const Maps& maps) {
  if (!maps.other) return;
  claim.facts.set("other_sector_bytes", maps.other->block_bytes);
  std::size_t number = 0;
  const Entry* odd = nullptr;
  for (const Entry& entry : maps.other->entries) {
    claim.records.push_back(
        entry.keep(fmt::format("{}-byte entry {}", maps.other->block_bytes, ++number)));
    const auto same = [&](const Entry& mine) {
      return start_of(mine, maps.used) == start_of(entry, *maps.other) &&
             bytes_of(mine, maps.used) == bytes_of(entry, *maps.other);
    };
    const SliceRole role = role_of(entry);
    const bool counts = role != SliceRole::metadata && role != SliceRole::unused &&
                        entry.get<"blocks">() != 0 &&
                        apm_kind(entry.text<"type">()) != ApmKind::driver;
    if (odd == nullptr && counts && std::ranges::none_of(maps.used.entries, same)) odd = &entry;
  }
  if (odd == nullptr) return;
  claim.find(
      Severity::caution, FindingCode::label_backup_differs, odd->place_of<"first">(), 8,
      fmt::format("the map of {}-byte blocks has a slice of {} bytes at byte {} that the map "
                  "of {}-byte blocks lacks",
                  maps.other->block_bytes, bytes_of(*odd, *maps.other), start_of(*odd, *maps.other),
                  maps.used.block_bytes));
}

void check_driver_map(Claim& claim, const DriverMap& drivers) {
  if (!has_driver_magic(drivers)) {
    claim.find(
        Severity::fault, FindingCode::label_field, drivers.place_of<"signature">(), 2,
        fmt::format("block 0 has signature 0x{:04X} instead of 0x{:04X}; a ROM does not look "
                    "for the map then",
                    drivers.get<"signature">(), kApmDriverMagic));
  } else if (stated_block_bytes(drivers) == 0) {
    claim.find(Severity::caution, FindingCode::label_field, drivers.place_of<"block_bytes">(), 2,
               fmt::format("block 0 gives {} bytes per block, which is no power of two from 512 to "
                           "65536",
                           drivers.get<"block_bytes">()));
  }
}

// The count in block 0 is left zero or made up by many writers; it serves only when it covers every
// slice in use.
std::uint64_t disk_bytes(const Claim& claim, const DriverMap& drivers, const View& view) {
  const std::uint64_t bytes = drivers.get<"block_count">() * stated_block_bytes(drivers);
  for (const Slice& slice : claim.slices) {
    if (slice.role == SliceRole::unused) continue;
    if (saturating_add(slice.start - view.start(), slice.bytes) > bytes) return 0;
  }
  return bytes;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto drivers = view.record<kApmDriverMap>(0, ByteOrder::big);
  const auto maps = find_maps(view, drivers);
  if (!maps) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength =
      has_driver_magic(drivers) && describes_itself(maps->used) && maps->used.complete()
          ? Strength::proven
          : Strength::sane;
  claim.start = view.start();
  claim.title = "APM";
  claim.facts.set("byte_order", "big")
      .set("checksum", "none")
      .set("sector_bytes", maps->used.block_bytes)
      .set("device_block_bytes", drivers.get<"block_bytes">())
      .set("device_blocks", drivers.get<"block_count">())
      .set("entries", maps->used.stated);
  claim.records.push_back(drivers.keep());
  check_driver_map(claim, drivers);
  check_counts(claim, maps->used);
  add_entries(claim, maps->used, view);
  const std::uint64_t unit = stated_block_bytes(drivers);
  if (unit != 0) add_drivers(claim, drivers, view, unit);
  claim.bytes = disk_bytes(claim, drivers, view);
  compare_maps(claim, *maps);
  return result;
}

}  // namespace

extern const Format apm_format;
const Format apm_format = {.id = "apm", .title = "APM", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
