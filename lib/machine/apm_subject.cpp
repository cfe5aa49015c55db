#include "machine/apm_subject.h"

#include <algorithm>

#include <fmt/format.h>

#include "machine/kept_record.h"

namespace platter::machine {
namespace {

constexpr Condition kDriverMap{"driver-map", "block 0 begins with 45 52",
                               "NetBSD sys/sys/bootblock.h, driver map"};
constexpr Condition kMapEntry{"map-entry", "the block behind it begins with 50 4D",
                              "NetBSD sys/sys/bootblock.h, partition map entry"};

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

}  // namespace

ApmSubject read_apm(const BootSubject& subject) {
  const View& image = subject.image;
  ApmSubject apm;
  const Layer* layer =
      first_layer(subject.layers, LayerKind::label, "apm",
                  [&](const Layer& found) { return found.start == image.start(); });
  const auto drivers = image.record<label::kApmDriverMap>(0, ByteOrder::big);
  const std::uint64_t stated = drivers.get<"block_bytes">();
  const bool magic = drivers.get<"signature">() == label::kApmDriverMagic;
  const bool sane = magic && is_power_of_two_in(stated, 512, 65536);
  // A map of short blocks that lost its first entry reads like one of longer blocks: then what
  // block 0 says counts, as it does for firmware.
  const std::uint64_t found = layer == nullptr ? 0 : layer->facts.number("sector_bytes");
  if (found == 512 || (found != 0 && !sane)) {
    apm.unit = found;
  } else if (sane) {
    apm.unit = stated;
  }
  apm.map_at = saturating_add(image.start(), apm.unit);
  apm.boot = boot::read_apm_boot(image, apm.unit);
  return apm;
}

bool add_apm_signatures(Judging& judging, const ApmSubject& apm, const View& image) {
  const bool drivers =
      judging.add(kDriverMap, apm.has_driver_magic(), image.start(), 2,
                  fmt::format("found 0x{:04X}", apm.boot.drivers.get<"signature">()),
                  "write the driver map into block 0");
  const std::uint64_t found = image.number(apm.unit, 2, ByteOrder::big);
  const bool map = judging.add(kMapEntry, found == label::kApmEntryMagic, apm.map_at, 2,
                               fmt::format("found 0x{:04X} at byte {}", found, apm.map_at),
                               "write the map's entries behind block 0");
  return drivers && map;
}

std::string apm_type_tail(const FieldReader<label::kApmEntry>& entry) {
  std::string type = entry.text<"type">();
  const auto same = [](char c, std::uint8_t prefix) {
    return lower(c) == lower(static_cast<char>(prefix));
  };
  const bool prefixed =
      type.size() >= label::kApmTypePrefix.size() &&
      std::equal(label::kApmTypePrefix.begin(), label::kApmTypePrefix.end(), type.begin(),
                 [&](std::uint8_t p, char c) { return same(c, p); });
  if (prefixed) type.erase(0, label::kApmTypePrefix.size());
  std::ranges::transform(type, type.begin(), lower);
  return type;
}

std::optional<std::size_t> apm_slice_of(const ApmSubject& apm, std::string_view tail) {
  for (std::size_t i = 0; i < apm.boot.map.entries.size(); ++i) {
    const auto& entry = apm.boot.map.entries[i];
    if (entry.get<"blocks">() != 0 && apm_type_tail(entry) == tail) return i;
  }
  return std::nullopt;
}

}  // namespace platter::machine
