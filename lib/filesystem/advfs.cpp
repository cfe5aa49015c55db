// AdvFS: identification of a volume by its magic, its first metadata page, and the attributes that
// stand in there.
#include <optional>
#include <string>
#include <vector>

#include "filesystem/advfs_structures.h"
#include "filesystem/field_checks.h"

namespace platter::filesystem {
namespace {

using Page = Record<kAdvfsPage>;
using Volume = Record<kAdvfsVolume>;
using Domain = Record<kAdvfsDomain>;

constexpr std::uint64_t kVersionShift = 27;

struct Attributes {
  std::optional<Volume> volume;
  std::optional<Domain> domain;
};

void look_through_cell(const View& view, std::uint64_t place, Attributes& attributes) {
  constexpr std::uint64_t kHead = kAdvfsRecord.bytes;
  std::uint64_t at = place + FieldReader<kAdvfsCell>::offset_of<"records">();
  const std::uint64_t end = place + kAdvfsCell.bytes;
  while (at + kHead <= end) {
    const auto head = view.record<kAdvfsRecord>(at, ByteOrder::little);
    const std::uint64_t bytes = head.get<"bytes">();
    const std::uint64_t type = head.get<"type">();
    if (type == 0 || bytes < kHead || bytes > end - at) return;
    if (type == kAdvfsVolumeRecord && bytes >= kHead + kAdvfsVolume.bytes && !attributes.volume) {
      attributes.volume = view.record<kAdvfsVolume>(at + kHead, ByteOrder::little);
    }
    if (type == kAdvfsDomainRecord && bytes >= kHead + kAdvfsDomain.bytes && !attributes.domain) {
      attributes.domain = view.record<kAdvfsDomain>(at + kHead, ByteOrder::little);
    }
    at += divide_up(bytes, 4) * 4;  // records start at a multiple of four bytes
  }
}

Attributes attributes_in_page(const View& view) {
  Attributes attributes;
  for (std::uint64_t cell = 0; cell < kAdvfsCells; ++cell) {
    look_through_cell(view, kAdvfsPagePlace + kAdvfsPage.bytes + cell * kAdvfsCell.bytes,
                      attributes);
  }
  return attributes;
}

std::vector<Claim> claims(const View& view, const Context&) {
  if (view.number(kAdvfsMagicPlace, 4, ByteOrder::little) != kAdvfsMagic) return {};
  const auto page = view.record<kAdvfsPage>(kAdvfsPagePlace, ByteOrder::little);
  const std::uint64_t version = page.get<"page_and_version">() >> kVersionShift;
  const std::uint64_t number = page.get<"page_and_version">() & ((1U << kVersionShift) - 1);
  // Versions 2 to 4 were shipped; the first page has the number 0.
  if (!page.complete() || number != 0 || version < 2 || version > 4 ||
      page.get<"free_cells">() > kAdvfsCells) {
    return {};
  }
  const Attributes attributes = attributes_in_page(view);
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = attributes.volume ? Strength::sane : Strength::magic;
  claim.start = view.start();
  claim.bytes = attributes.volume ? attributes.volume->get<"blocks">() * 512 : view.bytes();
  claim.title = "AdvFS volume";
  claim.records.push_back(page.keep());
  Facts& facts = claim.facts;
  facts.set("byte_order", "little").set("version", version).set("block_bytes", kAdvfsPageBytes);
  if (attributes.volume) {
    facts.set("volume_bytes", claim.bytes);
    add_unix_time(facts, "mounted", attributes.volume->get<"mounted">());
    facts.set("volume_number", attributes.volume->get<"index">());
    claim.records.push_back(attributes.volume->keep());
  } else {
    claim.find(Severity::caution, FindingCode::filesystem_damaged, page.start(), kAdvfsPageBytes,
               "the first metadata page holds no attributes of the volume");
  }
  if (attributes.domain) {
    const Domain& domain = *attributes.domain;
    add_unix_time(facts, "created", domain.get<"created">());
    facts.set("domain", fmt::format("{:08x}.{:08x}", domain.get<"created">(),
                                    domain.get<"created_microseconds">()));
    claim.records.push_back(domain.keep());
  }
  return result;
}

}  // namespace

extern const Format advfs_format;
const Format advfs_format = {
    .id = "advfs", .title = "AdvFS volume", .stage = Stage::filesystem, .claims = claims};

}  // namespace platter::filesystem
