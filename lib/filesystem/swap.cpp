// Linux swap areas, both versions. Swap of other systems has no header.
#include <algorithm>
#include <array>
#include <bit>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "core/numbers.h"
#include "filesystem/ext2_uuid.h"
#include "filesystem/swap_header.h"

namespace platter::filesystem {
namespace {

constexpr std::array<std::uint64_t, 5> kPageSizes = {4096, 8192, 16384, 32768, 65536};
using Header = Record<kSwapHeader>;

std::uint64_t signature_place(std::uint64_t page) {
  return page - kSwapSignature.size();
}

// The bits of a page map, counted without regard to how a machine numbers them.
struct PageMap {
  std::uint64_t usable = 0;
  std::uint64_t whole_bytes = 0;
  std::uint64_t mixed_bytes = 0;

  void count(std::byte value) {
    if (value == std::byte{0}) return;
    usable += static_cast<std::uint64_t>(std::popcount(std::to_integer<unsigned>(value)));
    (value == std::byte{0xFF} ? whole_bytes : mixed_bytes) += 1;
  }
  /// A map is one run of ones with a hole for each bad page; text or code is not.
  [[nodiscard]] bool plausible() const { return usable > 0 && mixed_bytes <= 8 + whole_bytes / 8; }
};

// Old areas: the first page is a map with a bit for every usable page. Page 0, the map itself, is
// never among them; bad pages are missing, so that the length is a lower bound.
std::optional<Claim> old_area(const View& view, std::uint64_t page) {
  const std::uint64_t place = signature_place(page);
  if (!view.holds(place, kSwapOldSignature)) return std::nullopt;
  PageMap map;
  std::array<std::byte, 4096> piece{};
  for (std::uint64_t at = 0; at < place; at += piece.size()) {
    const auto part = std::span(piece).first(std::min<std::uint64_t>(piece.size(), place - at));
    view.read(at, part);
    for (const std::byte value : part)
      map.count(value);
  }
  if (!map.plausible()) return std::nullopt;
  Claim claim;
  claim.bytes = (map.usable + 1) * page;
  claim.facts.set("version", 0U)
      .set("block_bytes", page)
      .set("volume_bytes", claim.bytes)
      .set("usable_pages", map.usable);
  return claim;
}

std::optional<Header> header_of(const View& view) {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    auto header = view.record<kSwapHeader>(kSwapHeaderPlace, order);
    if (header.get<"version">() == kSwapVersion) return header;
  }
  return std::nullopt;
}

void check_bad_pages(Claim& claim, const Header& header, std::uint64_t page) {
  const std::uint64_t room =
      (signature_place(page) - kSwapHeaderPlace - kSwapHeader.bytes) / sizeof(std::uint32_t);
  const std::uint64_t most = std::min(room, header.get<"last_page">());
  if (header.get<"nr_badpages">() <= most) return;
  claim.strength = Strength::magic;
  claim.find(Severity::fault, FindingCode::filesystem_damaged, header.place_of<"nr_badpages">(), 4,
             fmt::format("the swap header counts {} bad pages, expected at most {}",
                         header.get<"nr_badpages">(), most));
}

std::optional<Claim> new_area(const View& view, std::uint64_t page) {
  if (!view.holds(signature_place(page), kSwapSignature)) return std::nullopt;
  const auto header = header_of(view);
  if (!header || header->get<"last_page">() == 0) return std::nullopt;
  Claim claim;
  claim.bytes = (header->get<"last_page">() + 1) * page;
  claim.facts.set("byte_order", byte_order_name(header->order()))
      .set("version", header->get<"version">())
      .set("block_bytes", page)
      .set("volume_bytes", claim.bytes)
      .set_text("volume_name", header->text<"volume_name">())
      .set("uuid", uuid_text(header->raw<"uuid">()))
      .set("last_page", header->get<"last_page">())
      .set("bad_pages", header->get<"nr_badpages">());
  check_bad_pages(claim, *header, page);
  claim.records.push_back(header->keep());
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  for (const std::uint64_t page : kPageSizes) {
    auto claim = new_area(view, page);
    if (!claim) claim = old_area(view, page);
    if (!claim) continue;
    claim->start = view.start();
    claim->title = "Linux swap area";
    std::vector<Claim> result;
    result.push_back(std::move(*claim));
    return result;
  }
  return {};
}

}  // namespace

extern const Format swap_format;
const Format swap_format = {
    .id = "swap", .title = "Linux swap area", .stage = Stage::filesystem, .claims = claims};

}  // namespace platter::filesystem
