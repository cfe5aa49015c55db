// GUID partition table: a header and entries at the start, the same again at the end, two CRCs
// each.
#include <algorithm>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "label/gpt_table.h"
#include "label/mbr_label.h"

namespace platter::label {
namespace {

constexpr std::uint64_t kPrimary = 1;
constexpr std::array<std::uint64_t, 3> kBlockSizes = {512, 4096, 2048};
constexpr std::size_t kMostSlices = 1024;
constexpr std::size_t kMostEntryFindings = 64;
constexpr std::uint64_t kProtective = 0xEE;

// What sector 0 says about a GPT on the disk.
struct Protection {
  bool signature = false;  // of an MBR
  bool entry = false;      // of the protective type
};

Protection protection_of(const View& view) {
  const auto mbr = view.record<kMbr>(0, ByteOrder::little);
  Protection result;
  result.signature = mbr.complete() && mbr.get<"signature">() == kMbrSignature;
  for (std::size_t i = 0; result.signature && i < mbr.count_of<"entry">(); ++i) {
    result.entry = result.entry || mbr.sub<"entry">(i).get<"type">() == kProtective;
  }
  return result;
}

std::optional<GptTable> read_primary(const View& view) {
  std::optional<GptTable> best;
  for (const std::uint64_t lba_bytes : kBlockSizes) {
    auto table = read_gpt_table(view, lba_bytes, kPrimary);
    if (!table) continue;
    if (table->good()) return table;
    if (!best || (!best->plausible() && table->plausible())) best = std::move(table);
  }
  return best;
}

// The copy at the end. Where a primary says it is comes first; older Solaris wrote it one block
// early (illumos usr/src/uts/common/io/cmlb.c).
std::optional<GptTable> read_backup(const View& view, const std::optional<GptTable>& primary) {
  std::optional<GptTable> best;
  const auto consider = [&](std::uint64_t lba_bytes, std::uint64_t lba) {
    if (lba <= kPrimary || (best && best->good())) return;
    auto table = read_gpt_table(view, lba_bytes, lba);
    if (!table || table->header.get<"my_lba">() != lba) return;
    if (!best || table->good()) best = std::move(table);
  };
  if (primary) consider(primary->lba_bytes, primary->header.get<"alternate_lba">());
  for (const std::uint64_t lba_bytes : kBlockSizes) {
    if (primary && lba_bytes != primary->lba_bytes) continue;
    const std::uint64_t blocks = view.bytes() / lba_bytes;
    if (blocks < 3) continue;
    consider(lba_bytes, blocks - 1);
    consider(lba_bytes, blocks - 2);
  }
  return best;
}

const GuidName* type_of(std::string_view guid) {
  const auto found = std::ranges::find(kGptTypes, guid, &GuidName::guid);
  return found == std::ranges::end(kGptTypes) ? nullptr : &*found;
}

bool is_used(const FieldReader<kGptEntry>& entry) {
  return std::ranges::any_of(entry.raw<"type_guid">(),
                             [](std::byte byte) { return byte != std::byte{0}; });
}

// UTF-16 text ends at a zero unit, which unpadded text would not find.
std::string name_of_entry(const FieldReader<kGptEntry>& entry) {
  const auto raw = entry.raw<"name">();
  std::string name;
  for (std::size_t at = 0; at + 2 <= raw.size(); at += 2) {
    if (raw[at] == std::byte{0} && raw[at + 1] == std::byte{0}) break;
    name += static_cast<char>(raw[at]);
    name += static_cast<char>(raw[at + 1]);
  }
  return name;
}

void check_entry(Claim& claim, const GptTable& table, std::uint64_t index) {
  const auto entry = table.entry(index);
  const std::uint64_t first = entry.get<"first">();
  const std::uint64_t last = entry.get<"last">();
  if (claim.findings.size() >= kMostEntryFindings) return;
  if (last < first) {
    claim.find(Severity::fault, FindingCode::label_field,
               table.entry_place(index) + entry.offset_of<"first">(), 16,
               fmt::format("slice {} of the GPT ends at block {}, before its start at block {}",
                           index + 1, last, first));
    return;
  }
  const auto& header = table.header;
  if (first >= header.get<"first_usable">() && last <= header.get<"last_usable">()) return;
  claim.find(Severity::caution, FindingCode::label_field,
             table.entry_place(index) + entry.offset_of<"first">(), 16,
             fmt::format("slice {} of the GPT covers blocks {} to {}, outside the usable blocks {} "
                         "to {}",
                         index + 1, first, last, header.get<"first_usable">(),
                         header.get<"last_usable">()));
}

Slice slice_from(const GptTable& table, const View& view, std::uint64_t index) {
  const auto entry = table.entry(index);
  Slice slice;
  slice.id = std::to_string(index + 1);
  slice.start = saturating_add(view.start(), table.byte_of(entry.get<"first">()));
  const std::uint64_t blocks =
      saturating_add(entry.get<"last">() - entry.get<"first">(), 1);  // no wrap at the full range
  slice.bytes = table.byte_of(blocks);
  const std::string type = guid_text(entry.raw<"type_guid">());
  const GuidName* known = type_of(type);
  if (known != nullptr && known->is_swap) slice.role = SliceRole::swap;
  slice.facts.set_text("name", name_of_entry(entry), Charset::utf16_le)
      .set("type", type)
      .set("type_name", known != nullptr ? known->name : "unknown")
      .set("guid", guid_text(entry.raw<"unique_guid">()))
      .set("attributes", entry.get<"attributes">());
  return slice;
}

void add_slices(Claim& claim, const GptTable& table, const View& view) {
  for (std::uint64_t i = 0; i < table.entries(); ++i) {
    const auto entry = table.entry(i);
    if (!is_used(entry)) continue;
    if (claim.slices.size() >= kMostSlices) {
      claim.find(
          Severity::caution, FindingCode::label_field, table.entry_place(i), table.entry_bytes,
          fmt::format("the GPT has more than {} slices; the rest is not listed", kMostSlices));
      return;
    }
    check_entry(claim, table, i);
    if (entry.get<"last">() < entry.get<"first">()) continue;
    claim.slices.push_back(slice_from(table, view, i));
    const auto all = entry.all();
    claim.records.push_back({&kGptEntry,
                             ByteOrder::little,
                             table.entry_place(i),
                             kGptEntry.bytes,
                             {all.begin(), all.end()},
                             fmt::format("slice {}", i + 1)});
  }
}

std::string_view which(const GptTable& table) {
  return table.lba == kPrimary ? "primary" : "backup";
}

void report_header(Claim& claim, const GptTable& table) {
  const auto& header = table.header;
  const std::uint64_t length = header.get<"header_bytes">();
  if (length < kGptHeader.bytes || length > table.lba_bytes) {
    claim.find(Severity::fault, FindingCode::label_field, header.place_of<"header_bytes">(), 4,
               fmt::format("the {} GPT header gives itself {} bytes, expected {} to {}",
                           which(table), length, kGptHeader.bytes, table.lba_bytes));
  } else if (header.get<"header_crc">() != table.header_crc) {
    claim.find(Severity::fault, FindingCode::label_checksum, header.place_of<"header_crc">(), 4,
               fmt::format("the {} GPT header stores checksum 0x{:08X}, its content gives 0x{:08X}",
                           which(table), header.get<"header_crc">(), table.header_crc));
  } else if (header.get<"my_lba">() != table.lba) {
    claim.find(Severity::fault, FindingCode::label_field, header.place_of<"my_lba">(), 8,
               fmt::format("the {} GPT header stands at block {} and says {}", which(table),
                           table.lba, header.get<"my_lba">()));
  }
}

void report_array(Claim& claim, const GptTable& table) {
  const auto& header = table.header;
  if (table.array_good) return;
  if (table.entry_bytes == 0) {
    claim.find(Severity::fault, FindingCode::label_field, header.place_of<"entry_bytes">(), 4,
               fmt::format("the {} GPT header gives an entry {} bytes, expected 128 times a power "
                           "of two",
                           which(table), header.get<"entry_bytes">()));
  } else if (!table.array_whole) {
    claim.find(Severity::fault, FindingCode::label_field, header.place_of<"entries_lba">(), 16,
               fmt::format("the {} GPT has {} entries from block {}, only {} are there to be read",
                           which(table), header.get<"entries">(), header.get<"entries_lba">(),
                           table.entries()));
  } else {
    claim.find(Severity::fault, FindingCode::label_checksum, header.place_of<"entries_crc">(), 4,
               fmt::format("the {} GPT entries should have checksum 0x{:08X}, they give 0x{:08X}",
                           which(table), header.get<"entries_crc">(), table.array_crc));
  }
}

// What a spoiled header says about its entries is worth no finding of its own.
void report_faults(Claim& claim, const GptTable& table) {
  if (table.header_good) {
    report_array(claim, table);
  } else {
    report_header(claim, table);
  }
}

bool says_the_same(const GptTable& a, const GptTable& b) {
  const auto equal = [](const auto& x, const auto& y) { return std::ranges::equal(x, y); };
  return equal(a.header.raw<"disk_guid">(), b.header.raw<"disk_guid">()) &&
         a.header.get<"first_usable">() == b.header.get<"first_usable">() &&
         a.header.get<"last_usable">() == b.header.get<"last_usable">() &&
         a.header.get<"entries">() == b.header.get<"entries">() &&
         a.header.get<"entries_crc">() == b.header.get<"entries_crc">();
}

// A good primary is in use; the backup is worth a word when it would not serve.
void compare_backup(Claim& claim, const GptTable& primary, const std::optional<GptTable>& backup,
                    const View& view) {
  const std::uint64_t lba = primary.header.get<"alternate_lba">();
  if (!backup) {
    const std::uint64_t place = primary.byte_of(lba);
    if (!fits_within(place, primary.lba_bytes, view.bytes())) return;  // the image ends before it
    claim.find(Severity::caution, FindingCode::label_backup_differs,
               saturating_add(view.start(), place), 8,
               fmt::format("block {} should hold the backup GPT header and does not", lba));
    return;
  }
  claim.records.push_back(backup->header.keep("backup"));
  if (!backup->good()) {
    report_faults(claim, *backup);
  } else if (!says_the_same(primary, *backup)) {
    claim.find(Severity::caution, FindingCode::label_backup_differs, backup->header.start(),
               kGptHeader.bytes,
               fmt::format("the backup GPT at block {} says something else than the one in use",
                           backup->lba));
  } else if (backup->lba != lba) {
    claim.find(Severity::caution, FindingCode::label_backup_differs, backup->header.start(),
               kGptHeader.bytes,
               fmt::format("the backup GPT stands at block {}, the primary expects it at block {}",
                           backup->lba, lba));
  }
}

void report_use_of_backup(Claim& claim, const std::optional<GptTable>& primary,
                          const GptTable& backup, const View& view) {
  if (primary) {
    report_faults(claim, *primary);
    claim.records.push_back(primary->header.keep("spoiled"));
  } else {
    claim.find(Severity::fault, FindingCode::label_field,
               saturating_add(view.start(), backup.lba_bytes), 8,
               "block 1 holds no GPT header although a backup is there");
  }
  claim.find(Severity::caution, FindingCode::label_backup_differs, backup.header.start(),
             kGptHeader.bytes, fmt::format("the backup GPT at block {} is used", backup.lba));
}

Claim claim_from(const GptTable& table, const View& view) {
  const auto& header = table.header;
  Claim claim;
  claim.strength = table.good() ? Strength::proven : Strength::sane;
  claim.start = view.start();
  const bool primary = table.lba == kPrimary;
  const std::uint64_t last = primary ? header.get<"alternate_lba">() : table.lba;
  claim.bytes = table.byte_of(saturating_add(last, 1));
  claim.title = "GUID partition table";
  claim.facts.set("byte_order", "little")
      .set("checksum", primary && table.good() ? "good" : "bad")
      .set("sector_bytes", table.lba_bytes)
      .set("disk_guid", guid_text(header.raw<"disk_guid">()))
      .set("entries", header.get<"entries">())
      .set("first_usable", header.get<"first_usable">())
      .set("last_usable", header.get<"last_usable">())
      .set("copy", which(table));
  claim.records.push_back(header.keep(std::string(which(table))));
  add_slices(claim, table, view);
  return claim;
}

void check_header(Claim& claim, const GptTable& table, const Protection& protection) {
  const auto& header = table.header;
  if (header.get<"revision">() != kGptRevision) {
    claim.find(Severity::caution, FindingCode::label_field, header.place_of<"revision">(), 4,
               fmt::format("the GPT header gives revision 0x{:08X}, expected 0x{:08X}",
                           header.get<"revision">(), kGptRevision));
  }
  if (header.get<"first_usable">() > header.get<"last_usable">()) {
    claim.find(Severity::caution, FindingCode::label_field, header.place_of<"first_usable">(), 16,
               fmt::format("the first usable block {} lies behind the last usable block {}",
                           header.get<"first_usable">(), header.get<"last_usable">()));
  }
  if (!protection.entry) {
    claim.find(Severity::note, FindingCode::label_field, claim.start, kMbr.bytes,
               "sector 0 has no protective entry; systems that demand one do not see this GPT");
  }
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  const auto primary = read_primary(view);
  const auto backup = primary && !primary->plausible() && !primary->header_good
                          ? read_backup(view, std::nullopt)
                          : read_backup(view, primary);
  const Protection protection = protection_of(view);
  const bool primary_serves = primary && (primary->good() || primary->plausible());
  // Left over from an earlier use of the disk: sector 0 speaks for something else.
  const bool stale = !primary && protection.signature && !protection.entry;
  const bool backup_serves = backup && !stale && (backup->good() || primary_serves);
  std::vector<Claim> result;
  if (primary_serves && (primary->good() || !backup_serves || !backup->good())) {
    result.push_back(claim_from(*primary, view));
    if (primary->good()) {
      compare_backup(result.front(), *primary, backup, view);
    } else {
      report_faults(result.front(), *primary);
    }
    check_header(result.front(), *primary, protection);
  } else if (backup_serves) {
    result.push_back(claim_from(*backup, view));
    report_use_of_backup(result.front(), primary, *backup, view);
    check_header(result.front(), *backup, protection);
  }
  return result;
}

}  // namespace

extern const Format gpt_format;
const Format gpt_format = {
    .id = "gpt", .title = "GUID partition table", .stage = Stage::label, .claims = claims};

}  // namespace platter::label
