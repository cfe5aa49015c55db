#include "filesystem/iso9660_susp.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace platter::filesystem::iso9660 {
namespace {

// CD-ROM XA puts 14 bytes of its own in front of the first entry (libcdio cdio/xa.h, iso9660_xa_t).
constexpr std::size_t kXaBytes = 14;

constexpr std::string_view kRockRidgeIds[] = {"RRIP_1991A", "IEEE_P1282", "IEEE_1282"};
// Signatures that no other extension uses (IEEE P1282 4.1).
constexpr std::string_view kRockRidgeEntries[] = {"PX", "PN", "SL", "NM", "CL", "PL", "RE", "TF"};

bool is_start_entry(std::span<const std::byte> data) {
  if (data.size() < kSuspStart.bytes) return false;
  const FieldReader<kSuspStart> entry(data.data(), ByteOrder::big);
  return entry.text<"signature">() == "SP" && entry.get<"check">() == kSuspCheck;
}

// The text that follows the fixed part of an ER entry.
std::string reference_identifier(const SystemUseEntry& entry) {
  const auto reference = entry.as<kSuspReference>();
  if (!reference) return {};
  const auto rest = entry.bytes.subspan(kSuspReference.bytes);
  return unpadded_text(
      rest.first(std::min<std::size_t>(rest.size(), reference->get<"identifier_length">())));
}

void walk_entries(Claim& claim, SystemUse& entries, RootExtensions& result) {
  SystemUseEntry entry;
  while (entries.next(entry)) {
    if (entry.is("ER") && result.extension.empty()) result.extension = reference_identifier(entry);
    const bool rock =
        std::ranges::any_of(kRockRidgeEntries, [&](std::string_view id) { return entry.is(id); });
    result.rock_ridge = result.rock_ridge || rock;
  }
  const auto known = std::ranges::find(kRockRidgeIds, result.extension);
  result.rock_ridge = result.rock_ridge || known != std::end(kRockRidgeIds);
  if (!entries.trouble().empty()) {
    claim.find(Severity::caution, FindingCode::filesystem_damaged, entries.trouble_start(),
               kSuspHead.bytes, entries.trouble());
  }
}

}  // namespace

bool SystemUse::next(SystemUseEntry& entry) {
  for (;;) {
    const auto rest = std::span<const std::byte>(area_).subspan(at_);
    const bool head = rest.size() >= kSuspHead.bytes;
    const std::uint64_t length =
        head ? FieldReader<kSuspHead>(rest.data(), ByteOrder::big).get<"length">() : 0;
    const bool padding = head && rest[0] == std::byte{0};
    if (!head || padding || length < kSuspHead.bytes) {
      if (!go_on()) return false;
      continue;
    }
    const std::uint64_t place = start_ + at_;
    if (length > rest.size()) {
      if (!cut_)
        note(fmt::format("a system use entry is {} bytes long, its field has only {} left", length,
                         rest.size()),
             place);
      at_ = area_.size();
      continue;
    }
    entry.signature = {std::to_integer<char>(rest[0]), std::to_integer<char>(rest[1])};
    entry.bytes = rest.first(static_cast<std::size_t>(length));
    entry.start = place;
    at_ += entry.bytes.size();
    if (entry.is("CE")) remember(entry);
    if (entry.is("ST")) at_ = area_.size();
    return true;
  }
}

// The last continuation entry of an area counts, and is followed after the area (IEEE P1281 5.1
// allows only one).
void SystemUse::remember(const SystemUseEntry& entry) {
  const auto fields = entry.as<kSuspContinuation>();
  if (!fields) return;
  const std::uint64_t offset = fields->get<"offset">();
  const std::uint64_t bytes = fields->get<"bytes">();
  if (!fits_within(offset, bytes, block_bytes_)) {
    note(fmt::format("a continuation area has {} bytes from byte {} of a block of {} bytes", bytes,
                     offset, block_bytes_),
         entry.start);
    return;
  }
  const std::uint64_t block = saturating_mul(fields->get<"extent">(), block_bytes_);
  continuation_ = Continuation{saturating_add(block, offset), bytes, entry.start};
}

bool SystemUse::go_on() {
  if (!continuation_) return false;
  const Continuation next_area = *std::exchange(continuation_, std::nullopt);
  if (std::ranges::find(visited_, next_area.place) != visited_.end()) {
    note(fmt::format("a continuation area at byte {} of the volume was walked before",
                     next_area.place),
         next_area.entry);
    return false;
  }
  if (visited_.size() >= kMostAreas) {
    note(fmt::format("more than {} continuation areas follow one another", kMostAreas),
         next_area.entry);
    return false;
  }
  visited_.push_back(next_area.place);
  area_ = view_.read_vector(next_area.place, next_area.bytes);
  cut_ = area_.size() < next_area.bytes;
  start_ = saturating_add(view_.start(), next_area.place);
  at_ = 0;
  return !area_.empty();
}

void SystemUse::note(std::string words, std::uint64_t at) {
  if (!trouble_.empty()) return;
  trouble_ = std::move(words);
  trouble_start_ = at;
}

RootExtensions root_extensions(Claim& claim, const View& view, std::uint64_t directory,
                               std::uint64_t block_bytes) {
  RootExtensions result;
  const auto record = view.record<kDirectoryRecord>(directory, ByteOrder::little);
  result.present = record.complete();
  const std::uint64_t identifier = record.get<"identifier_length">();
  // A pad byte follows an identifier of even length, so that the field begins at an even place.
  const std::uint64_t fixed = kDirectoryRecord.bytes + identifier + (identifier % 2 == 0 ? 1 : 0);
  if (!result.present || record.get<"length">() <= fixed) return result;
  const std::uint64_t place = saturating_add(directory, fixed);
  const std::uint64_t bytes = record.get<"length">() - fixed;
  std::vector<std::byte> field = view.read_vector(place, bytes);
  result.present = field.size() == bytes;
  if (!result.present) return result;
  std::uint64_t start = saturating_add(view.start(), place);
  if (!is_start_entry(field)) {
    if (field.size() < kXaBytes || !is_start_entry(std::span(field).subspan(kXaBytes))) {
      return result;
    }
    field.erase(field.begin(), field.begin() + kXaBytes);
    start = saturating_add(start, kXaBytes);
  }
  result.susp = true;
  result.skip = FieldReader<kSuspStart>(field.data(), ByteOrder::big).get<"skip">();
  SystemUse entries(view, block_bytes, std::move(field), start);
  walk_entries(claim, entries, result);
  return result;
}

}  // namespace platter::filesystem::iso9660
