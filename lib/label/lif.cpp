// LIF volume: a header in the first 256 bytes, a directory of contiguous files, and for hppa the
// place of the initial program (IPL).
#include <algorithm>
#include <array>
#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/checksum.h"
#include "core/claim.h"
#include "label/lif_label.h"
#include "label/slice_id.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kMostDirectorySectors = 4096;
constexpr std::size_t kMostFiles = 512;
constexpr std::size_t kMostEntryFindings = 64;
// What hppa firmware demands of the IPL (firmware boot routine; docs/formats/lif.md).
constexpr std::uint64_t kIplUnit = 2048;
constexpr std::uint64_t kMostIplBytes = 256 * 1024;

using Volume = Record<kLifVolume>;
using Entry = Record<kLifEntry>;

std::uint64_t directory_place(const Volume& volume) {
  return volume.get<"directory_first">() * kLifSector;
}

// The magic is one set bit; the rest of the header must agree.
bool has_directory(const Volume& volume, const View& view) {
  const std::uint64_t sectors = volume.get<"directory_sectors">();
  if (volume.get<"version">() > 1 || volume.get<"zero_1">() != 0 || volume.get<"zero_2">() != 0 ||
      volume.get<"directory_first">() < 2 || sectors == 0 || sectors > kMostDirectorySectors) {
    return false;
  }
  if (volume.get<"octal">() == kLifOctal) return true;
  const auto entry = view.record<kLifEntry>(directory_place(volume), ByteOrder::big);
  const std::uint64_t type = entry.get<"type">();
  return entry.complete() && type != kLifPurged && !name_of(kLifTypes, type).empty();
}

bool ipl_is_absent(const Volume& volume) {
  return volume.get<"ipl_start">() == 0 && volume.get<"ipl_bytes">() == 0 &&
         volume.get<"ipl_entry">() == 0;
}

bool ipl_is_sane(const Volume& volume) {
  const std::uint64_t start = volume.get<"ipl_start">();
  const std::uint64_t bytes = volume.get<"ipl_bytes">();
  const std::uint64_t entry = volume.get<"ipl_entry">();
  return start != 0 && start % kIplUnit == 0 && bytes != 0 && bytes % kIplUnit == 0 &&
         bytes <= kMostIplBytes && entry % 4 == 0 && entry < bytes;
}

// The sum of the IPL's 32-bit words; nothing when not all of it is there.
std::optional<std::uint32_t> ipl_sum(const Volume& volume, const View& view) {
  const std::uint64_t bytes = volume.get<"ipl_bytes">();
  const auto data = view.read_vector(volume.get<"ipl_start">(), bytes);
  if (data.size() < bytes) return std::nullopt;
  return sum_of_words32(data, ByteOrder::big);
}

// Loaders for Linux keep data of their own where the directory's place would stand; then a program
// with a right sum is proof enough.
bool ipl_is_proof(const Volume& volume, const View& view) {
  return ipl_is_sane(volume) && ipl_sum(volume, view) == 0U &&
         !all_zero(view, volume.get<"ipl_start">(), volume.get<"ipl_bytes">());
}

// Two decimal digits, or nothing.
std::optional<unsigned> bcd(std::byte value) {
  const auto number = std::to_integer<unsigned>(value);
  if ((number >> 4U) > 9 || (number & 0xFU) > 9) return std::nullopt;
  return (number >> 4U) * 10 + (number & 0xFU);
}

// The zone is not said; read as UTC. Years below 70 are taken for the next century.
std::optional<Timestamp> time_of(std::span<const std::byte> toc) {
  std::array<unsigned, 6> parts{};
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto part = bcd(toc[i]);
    if (!part) return std::nullopt;
    parts[i] = *part;
  }
  using namespace std::chrono;
  const int year_number = static_cast<int>(parts[0]) + (parts[0] < 70 ? 2000 : 1900);
  const year_month_day date{year(year_number), month(parts[1]), day(parts[2])};
  if (!date.ok() || parts[3] > 23 || parts[4] > 59 || parts[5] > 60) return std::nullopt;
  const auto days = sys_days(date).time_since_epoch().count();
  return Timestamp{std::int64_t{days} * 86400 + parts[3] * 3600 + parts[4] * 60 + parts[5]};
}

bool is_readable(const std::string& name) {
  return !name.empty() && std::ranges::all_of(name, [](char c) { return c > ' ' && c < 0x7F; });
}

void check_file(Claim& claim, const Entry& entry, const std::string& id) {
  if (claim.findings.size() >= kMostEntryFindings) return;
  if (!is_readable(entry.text<"name">())) {
    claim.find(Severity::note, FindingCode::name_illegal, entry.place_of<"name">(), 10,
               fmt::format("file {} of the LIF directory has no name of printable characters", id));
  }
  if (entry.get<"first">() == 0) {
    claim.find(
        Severity::caution, FindingCode::label_field, entry.place_of<"first">(), 4,
        fmt::format("file {} of the LIF directory starts at sector 0, on the volume header", id));
  }
}

void add_file(Claim& claim, const Entry& entry, const View& view) {
  Slice slice;
  slice.id = slice_id(claim.slices, entry.text<"name">(), "file");
  slice.start = saturating_add(view.start(), entry.get<"first">() * kLifSector);
  slice.bytes = entry.get<"sectors">() * kLifSector;
  slice.role = SliceRole::file;
  slice.type = entry.get<"type">();
  slice.facts.set_text("name", entry.text<"name">())
      .set("type", *slice.type)
      .set("type_name", name_of(kLifTypes, *slice.type, "unknown"))
      .set("implementation", entry.get<"implementation">());
  if (const auto created = time_of(entry.raw<"created">())) slice.facts.set("created", *created);
  check_file(claim, entry, slice.id);
  claim.slices.push_back(std::move(slice));
}

void add_directory(Claim& claim, const Volume& volume, const View& view) {
  const std::uint64_t count = volume.get<"directory_sectors">() * (kLifSector / kLifEntry.bytes);
  for (std::uint64_t i = 0; i < count; ++i) {
    const auto entry =
        view.record<kLifEntry>(directory_place(volume) + i * kLifEntry.bytes, ByteOrder::big);
    if (!entry.complete()) {
      claim.find(
          Severity::caution, FindingCode::label_field, volume.place_of<"directory_first">(), 4,
          fmt::format("the LIF directory has {} sectors from sector {} on, the image ends "
                      "before its entry {}",
                      volume.get<"directory_sectors">(), volume.get<"directory_first">(), i + 1));
      return;
    }
    if (entry.get<"type">() == kLifEnd) return;
    if (entry.get<"type">() == kLifPurged) continue;
    if (claim.slices.size() >= kMostFiles) {
      claim.find(Severity::caution, FindingCode::label_field, entry.start(), kLifEntry.bytes,
                 fmt::format("the LIF directory has more than {} files; the rest is not listed",
                             kMostFiles));
      return;
    }
    claim.records.push_back(entry.keep(fmt::format("entry {}", i + 1)));
    if (entry.get<"sectors">() != 0) add_file(claim, entry, view);
  }
}

// Rules of the firmware, each broken one told once. They are no faults of the volume: it may be
// meant for reading only.
void check_ipl(Claim& claim, const Volume& volume) {
  const std::uint64_t start = volume.get<"ipl_start">();
  const std::uint64_t bytes = volume.get<"ipl_bytes">();
  const std::uint64_t entry = volume.get<"ipl_entry">();
  if (start == 0 || start % kIplUnit != 0) {
    claim.find(Severity::caution, FindingCode::label_field, volume.place_of<"ipl_start">(), 4,
               fmt::format("the IPL starts at byte {}, expected a multiple of {} behind the header",
                           start, kIplUnit));
  }
  if (bytes == 0 || bytes % kIplUnit != 0) {
    claim.find(Severity::caution, FindingCode::label_field, volume.place_of<"ipl_bytes">(), 4,
               fmt::format("the IPL has {} bytes, expected a multiple of {}", bytes, kIplUnit));
  } else if (bytes > kMostIplBytes) {
    claim.find(
        Severity::caution, FindingCode::boot_beyond_limit, volume.place_of<"ipl_bytes">(), 4,
        fmt::format("the IPL has {} bytes, firmware loads at most {}", bytes, kMostIplBytes));
  }
  if (entry % 4 != 0 || (bytes != 0 && entry >= bytes)) {
    claim.find(Severity::caution, FindingCode::label_field, volume.place_of<"ipl_entry">(), 4,
               fmt::format("the IPL is entered at its byte {}, expected a multiple of 4 below {}",
                           entry, bytes));
  }
}

void add_ipl(Claim& claim, const Volume& volume, const View& view) {
  if (ipl_is_absent(volume)) return;
  const std::uint64_t place = saturating_add(view.start(), volume.get<"ipl_start">());
  claim.facts.set("ipl_start", place)
      .set("ipl_bytes", volume.get<"ipl_bytes">())
      .set("ipl_entry", volume.get<"ipl_entry">());
  check_ipl(claim, volume);
  if (!ipl_is_sane(volume)) return;
  if (const auto sum = ipl_sum(volume, view)) {
    claim.facts.set("ipl_checksum", *sum == 0 ? "good" : "bad");
    if (*sum != 0) {
      claim.find(Severity::caution, FindingCode::boot_checksum, place, volume.get<"ipl_bytes">(),
                 fmt::format("the words of the IPL sum to 0x{:08X}, expected 0", *sum));
    }
  }
  const auto is_there = [&](const Slice& slice) { return slice.start == place; };
  if (std::ranges::any_of(claim.slices, is_there)) return;
  Slice slice;
  slice.id = slice_id(claim.slices, "ipl", "ipl");
  slice.start = place;
  slice.bytes = volume.get<"ipl_bytes">();
  slice.role = SliceRole::file;
  slice.facts.set("name", slice.id).set("type_name", "initial program");
  claim.slices.push_back(std::move(slice));
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto volume = view.record<kLifVolume>(0, ByteOrder::big);
  if (!volume.complete() || volume.get<"id">() != kLifMagic) return {};
  const bool directory = has_directory(volume, view);
  const bool proof = !directory || ipl_is_sane(volume) ? ipl_is_proof(volume, view) : false;
  if (!directory && !proof) return {};
  std::vector<Claim> result(1);
  Claim& claim = result.front();
  claim.strength = proof ? Strength::proven : Strength::sane;
  claim.start = view.start();
  claim.title = "LIF volume";
  claim.facts.set("byte_order", "big")
      .set("checksum", "none")
      .set_text("name", volume.text<"label">())
      .set("sector_bytes", kLifSector)
      .set("directory", directory);
  claim.records.push_back(volume.keep());
  if (directory) {
    if (const auto created = time_of(volume.raw<"created">())) {
      claim.facts.set("created", *created);
    }
    add_directory(claim, volume, view);
  }
  add_ipl(claim, volume, view);
  return result;
}

}  // namespace

extern const Format lif_format;
const Format lif_format = {
    .id = "lif", .title = "LIF volume", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
