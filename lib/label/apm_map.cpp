#include "label/apm_map.h"

#include <algorithm>
#include <string_view>

namespace platter::label {
namespace {

char lower(char letter) {
  return letter >= 'A' && letter <= 'Z' ? static_cast<char>(letter - 'A' + 'a') : letter;
}

}  // namespace

ApmMap read_apm_map(const View& view, std::uint64_t block_bytes) {
  ApmMap map;
  map.block_bytes = block_bytes;
  for (std::uint64_t i = 1; i <= kApmMostEntries; ++i) {
    if (i > 1 && i > map.stated) break;
    auto entry = view.record<kApmEntry>(i * block_bytes, ByteOrder::big);
    if (!entry.complete() || entry.get<"signature">() != kApmEntryMagic) break;
    if (i == 1) map.stated = entry.get<"map_entries">();
    map.entries.push_back(std::move(entry));
  }
  return map;
}

ApmKind apm_kind(const std::string& type) {
  std::string kind;
  std::ranges::transform(type, std::back_inserter(kind), lower);
  const bool prefixed =
      kind.size() > kApmTypePrefix.size() &&
      std::ranges::equal(
          kApmTypePrefix, std::string_view(kind).substr(0, kApmTypePrefix.size()),
          [](std::uint8_t byte, char letter) { return lower(static_cast<char>(byte)) == letter; });
  if (!prefixed) return ApmKind::other;
  kind.erase(0, kApmTypePrefix.size());
  if (kind == "partition_map") return ApmKind::map;
  if (kind == "free" || kind == "void") return ApmKind::free;
  if (kind.starts_with("driver") || kind == "fwdriver" || kind == "patches") return ApmKind::driver;
  return kind == "unix_svr2" ? ApmKind::unix_svr2 : ApmKind::other;
}

}  // namespace platter::label
