// Labels asked one by one, without the survey around them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/claim.h"
#include "support/hexfile.h"

namespace platter::label {
extern const Format sun_format;
extern const Format sgi_format;
extern const Format bsd_format;
extern const Format dlv_format;
extern const Format mbr_format;
}  // namespace platter::label

namespace platter::test {

using Bytes = std::vector<std::byte>;

inline View memory_view(Bytes bytes) {
  return View(std::make_shared<MemorySource>(std::move(bytes)));
}

inline std::vector<Claim> claims_of(const Format& format, const View& view) {
  return format.claims(view, Context{.image = view});
}

inline std::vector<Claim> claims_of(const Format& format, Bytes bytes) {
  return claims_of(format, memory_view(std::move(bytes)));
}

/// What a format says inside a slice that another label made.
inline std::vector<Claim> claims_inside(const Format& format, const View& image, const Slice& slice,
                                        std::string_view label_format) {
  const View inside = image.sub(slice.start, slice.bytes);
  return format.claims(inside,
                       Context{.image = image, .slice = &slice, .label_format = label_format});
}

inline const Slice* slice_of(const Claim& claim, std::string_view id) {
  const auto found = std::ranges::find(claim.slices, id, &Slice::id);
  return found == claim.slices.end() ? nullptr : &*found;
}

/// "id start bytes" in 512-byte blocks for every slice, separated by "; ": one string to compare.
inline std::string slices_in_blocks(const Claim& claim) {
  std::string all;
  for (const Slice& slice : claim.slices) {
    all += (all.empty() ? "" : "; ") + slice.id + " " + std::to_string(slice.start / 512) + " " +
           std::to_string(slice.bytes / 512);
  }
  return all;
}

inline std::size_t count_of(const Claim& claim, FindingCode code) {
  return static_cast<std::size_t>(std::ranges::count(claim.findings, code, &Finding::code));
}

inline const Finding* finding_of(const Claim& claim, FindingCode code) {
  const auto found = std::ranges::find(claim.findings, code, &Finding::code);
  return found == claim.findings.end() ? nullptr : &*found;
}

inline std::string messages_of(const Claim& claim) {
  std::string all;
  for (const Finding& finding : claim.findings)
    all += finding.message + "\n";
  return all;
}

inline void put_number(Bytes& bytes, std::size_t at, std::uint64_t value, unsigned width,
                       ByteOrder order) {
  encode_unsigned(std::span(bytes).subspan(at, width), value, order);
}

}  // namespace platter::test
