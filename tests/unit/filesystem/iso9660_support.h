// What the tests of ISO 9660 volumes share.
#pragma once

#include <algorithm>
#include <cstddef>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "core/claim.h"

namespace platter::filesystem {
extern const Format iso9660_format;
}

namespace platter::test {

inline View iso_view(std::vector<std::byte> bytes) {
  return View(std::make_shared<MemorySource>(std::move(bytes)));
}

/// The claim on a view, or nothing.
inline std::optional<Claim> iso_claim(const View& view) {
  auto claims = filesystem::iso9660_format.claims(view, Context{view});
  if (claims.empty()) return std::nullopt;
  return std::move(claims.front());
}
inline std::optional<Claim> iso_claim(std::vector<std::byte> bytes) {
  return iso_claim(iso_view(std::move(bytes)));
}

/// The first finding with that code, or nullptr.
inline const Finding* iso_finding(const Claim& claim, FindingCode code) {
  const auto found = std::ranges::find(claim.findings, code, &Finding::code);
  return found == claim.findings.end() ? nullptr : &*found;
}

/// The seconds of a fact, 0 when it is absent.
inline std::int64_t iso_time(const Claim& claim, std::string_view name) {
  const FactValue* value = claim.facts.find(name);
  return value == nullptr ? 0 : std::get<Timestamp>(*value).seconds;
}

/// Whether a fact is there and true.
inline bool iso_flag(const Claim& claim, std::string_view name) {
  const FactValue* value = claim.facts.find(name);
  return value != nullptr && std::get<bool>(*value);
}

}  // namespace platter::test
