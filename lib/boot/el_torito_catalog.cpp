#include "boot/el_torito_catalog.h"

#include <algorithm>
#include <array>
#include <utility>

#include <fmt/format.h>

#include "core/checksum.h"
#include "label/mbr_label.h"

namespace platter::boot {
namespace {

constexpr std::uint64_t kFirstRecordBlock = 16;
constexpr std::uint64_t kMostRecordBlocks = 16;  // descriptors that are looked through
// Bounds of ours; catalogs seen have a handful of entries.
constexpr std::size_t kMostSections = 64;
constexpr std::size_t kMostImages = 256;
constexpr std::size_t kMostEntries = 1024;
constexpr std::uint64_t kLongestSummed = std::uint64_t{16} << 20U;
constexpr std::size_t kMostInfos = 8;  // images whose bytes are summed
constexpr std::size_t kMostFindings = 16;

constexpr std::array<std::uint64_t, 4> kDisketteBytes = {0, 1228800, 1474560, 2949120};

bool has_record_head(const Record<kElToritoRecord>& record) {
  return record.get<"type">() == filesystem::iso9660::kBootRecordType &&
         record.text<"standard_id">() == filesystem::iso9660::kStandardId &&
         record.get<"version">() == 1;
}

bool names_el_torito(const Record<kElToritoRecord>& record) {
  return record.text<"boot_system_id">().starts_with(kElToritoId);
}

// The whole field: the identifier and nothing but zeros behind it.
bool has_exact_identifier(const Record<kElToritoRecord>& record) {
  const auto raw = record.raw<"boot_system_id">();
  const auto padding = raw.subspan(kElToritoId.size());
  return record.text<"boot_system_id">() == kElToritoId &&
         std::ranges::all_of(padding, [](std::byte b) { return b == std::byte{0}; });
}

bool leads_to_validation(const View& volume, const Record<kElToritoRecord>& record) {
  const auto entry = volume.record<kCatalogValidation>(
      saturating_mul(record.get<"catalog">(), kOpticalBlock), ByteOrder::little);
  return entry.complete() && entry.get<"header_id">() == kValidationHeader &&
         entry.get<"key">() == kCatalogKey &&
         (sum_of_words16(entry.all(), ByteOrder::little) & 0xFFFFU) == 0;
}

// The usual block first, then the other descriptors.
std::optional<BootCatalog> find_record(const View& volume) {
  for (std::uint64_t i = 0; i <= kMostRecordBlocks; ++i) {
    const std::uint64_t block = i == 0 ? kBootRecordBlock : kFirstRecordBlock + i - 1;
    if (saturating_mul(block + 1, kOpticalBlock) > volume.bytes()) continue;
    BootCatalog found;
    found.record = volume.record<kElToritoRecord>(block * kOpticalBlock, ByteOrder::little);
    found.record_block = block;
    found.record_sound = has_record_head(found.record);
    const bool named = names_el_torito(found.record);
    if (!found.record_sound && !named) continue;
    if (found.record_sound && named) return found;
    if (leads_to_validation(volume, found.record)) return found;
  }
  return std::nullopt;
}

class Reader {
 public:
  Reader(const View& volume, BootCatalog& catalog, Claim& claim)
      : volume_(volume), catalog_(catalog), claim_(claim) {}

  void read() {
    check_record();
    const std::uint64_t offset = saturating_mul(catalog_.record.get<"catalog">(), kOpticalBlock);
    catalog_.start = saturating_add(volume_.start(), offset);
    catalog_.in_image = fits_within(offset, 2 * kCatalogEntryBytes, volume_.bytes());
    catalog_.records.push_back(catalog_.record.keep());
    if (!catalog_.in_image) {
      find(Severity::fault, FindingCode::boot_missing, catalog_.record.place_of<"catalog">(), 4,
           fmt::format("the boot catalog is to stand in block {}, the image has {}",
                       catalog_.record.get<"catalog">(), volume_.bytes() / kOpticalBlock));
      return;
    }
    next_ = offset;
    read_validation();
    read_default();
    read_sections();
    for (CatalogImage& image : catalog_.images)
      place(image);
  }

 private:
  void find(Severity severity, FindingCode code, std::uint64_t at, std::uint64_t length,
            std::string message) {
    if (claim_.findings.size() >= kMostFindings) return;
    claim_.find(severity, code, at, length, std::move(message));
  }

  void check_record() {
    const auto& record = catalog_.record;
    catalog_.identifier_sound = has_exact_identifier(record);
    if (!catalog_.record_sound) {
      find(Severity::caution, FindingCode::boot_missing, record.start(), 7,
           fmt::format("block {} has the El Torito identifier and is no boot record: type {} and "
                       "version {} instead of 0 and 1",
                       catalog_.record_block, record.get<"type">(), record.get<"version">()));
    }
    if (!catalog_.identifier_sound) {
      find(Severity::caution, FindingCode::boot_missing, record.place_of<"boot_system_id">(), 32,
           fmt::format("the boot record is for \"{}\" instead of \"{}\" and zeros",
                       printable(decode_text(record.text<"boot_system_id">(), Charset::ascii).utf8),
                       kElToritoId));
    }
    if (catalog_.record_block != kBootRecordBlock) {
      find(Severity::caution, FindingCode::boot_missing, record.start(), kOpticalBlock,
           fmt::format("the boot record stands in block {}, firmware looks in block {} only",
                       catalog_.record_block, kBootRecordBlock));
    }
  }

  void read_validation() {
    auto& entry = catalog_.validation;
    entry = volume_.record<kCatalogValidation>(next_, ByteOrder::little);
    next_ += kCatalogEntryBytes;
    catalog_.sum = sum_of_words16(entry.all(), ByteOrder::little) & 0xFFFFU;
    catalog_.records.push_back(entry.keep());
    if (!catalog_.header_sound() || !catalog_.key_sound()) {
      find(Severity::caution, FindingCode::boot_missing, entry.start(), kCatalogEntryBytes,
           fmt::format(
               "the boot catalog begins with 0x{:02X} and its first entry ends in 0x{:04X}, "
               "expected 0x{:02X} and 0x{:04X}",
               entry.get<"header_id">(), entry.get<"key">(), kValidationHeader, kCatalogKey));
    } else if (catalog_.sum != 0) {
      const std::uint64_t stored = entry.get<"checksum">();
      find(Severity::fault, FindingCode::boot_checksum, entry.place_of<"checksum">(), 2,
           fmt::format("the boot catalog's checksum is 0x{:04X}, expected 0x{:04X}", stored,
                       (stored - catalog_.sum) & 0xFFFFU));
    }
  }

  // Default and section entries have one layout, except for what selects a section entry.
  CatalogImage image_at(std::uint64_t offset) {
    const auto entry = volume_.record<kSectionEntry>(offset, ByteOrder::little);
    CatalogImage image;
    image.place = entry.start();
    image.number = static_cast<unsigned>(catalog_.images.size() + 1);
    image.indicator = entry.get<"boot_indicator">();
    image.media = entry.get<"media">();
    image.load_segment = entry.get<"load_segment">();
    image.system_type = entry.get<"system_type">();
    image.load_blocks = entry.get<"load_blocks">();
    image.block = entry.get<"image">();
    image.criteria_type = entry.get<"criteria_type">();
    return image;
  }

  void read_default() {
    CatalogImage image = image_at(next_);
    image.platform = catalog_.validation.get<"platform">();
    image.criteria_type = 0;
    catalog_.records.push_back(volume_.record<kCatalogEntry>(next_, ByteOrder::little).keep());
    next_ += kCatalogEntryBytes;
    catalog_.images.push_back(std::move(image));
  }

  // Whether another record is there; counts all of them, so that no catalog keeps us busy.
  bool more() {
    return ++entries_ <= kMostEntries && fits_within(next_, kCatalogEntryBytes, volume_.bytes());
  }

  void read_sections() {
    for (std::size_t sections = 0; sections < kMostSections && more(); ++sections) {
      const auto header = volume_.record<kSectionHeader>(next_, ByteOrder::little);
      const std::uint64_t id = header.get<"header_id">();
      if (id != kMoreHeaders && id != kLastHeader) {
        if (sections != 0) {
          find(Severity::caution, FindingCode::label_field, header.start(), kCatalogEntryBytes,
               fmt::format("the boot catalog promises another section header, found 0x{:02X}", id));
        }
        return;
      }
      catalog_.records.push_back(header.keep(fmt::format("section {}", sections + 1)));
      next_ += kCatalogEntryBytes;
      if (!read_entries(header) || id == kLastHeader) return;
    }
  }

  bool read_entries(const Record<kSectionHeader>& header) {
    const std::uint64_t promised = header.get<"entries">();
    for (std::uint64_t i = 0; i < promised; ++i) {
      const bool there = catalog_.images.size() < kMostImages && more() && is_entry();
      if (!there) {
        find(Severity::caution, FindingCode::label_field, header.place_of<"entries">(), 2,
             fmt::format("a section of the boot catalog promises {} entries, {} are there",
                         promised, i));
        return false;
      }
      CatalogImage image = image_at(next_);
      image.platform = header.get<"platform">();
      image.section = header.text<"id">();
      const auto entry = volume_.record<kSectionEntry>(next_, ByteOrder::little);
      catalog_.records.push_back(entry.keep(fmt::format("entry {}", image.number)));
      image.criteria = trimmed(entry.raw<"criteria">());
      next_ += kCatalogEntryBytes;
      read_extensions(image);
      catalog_.images.push_back(std::move(image));
    }
    return true;
  }

  bool is_entry() const {
    const std::uint64_t indicator = volume_.number(next_, 1, ByteOrder::little);
    return (indicator == kBootable || indicator == 0) &&
           !all_zero(volume_, next_, kCatalogEntryBytes);
  }

  // Announced by a flag of the entry; the next one by a flag of the extension.
  void read_extensions(CatalogImage& image) {
    bool follows = (image.media & kExtensionFollows) != 0;
    while (follows && more()) {
      const auto extension = volume_.record<kSectionExtension>(next_, ByteOrder::little);
      if (extension.get<"extension_id">() != kExtension) {
        find(Severity::caution, FindingCode::label_field, extension.start(), 1,
             fmt::format("entry {} of the boot catalog promises an extension, found 0x{:02X}",
                         image.number, extension.get<"extension_id">()));
        return;
      }
      ++image.extensions;
      catalog_.records.push_back(
          extension.keep(fmt::format("entry {}, extension {}", image.number, image.extensions)));
      image.criteria += trimmed(extension.raw<"criteria">());
      follows = (extension.get<"flags">() & kExtensionFollows) != 0;
      next_ += kCatalogEntryBytes;
    }
  }

  static std::string trimmed(std::span<const std::byte> raw) {
    std::string text;
    for (const std::byte b : raw)
      text += static_cast<char>(b);
    text.erase(text.find_last_not_of('\0') + 1);
    return text;
  }

  void place(CatalogImage& image) {
    image.start = saturating_mul(image.block, kOpticalBlock);
    if (image.emulation() == kMediaNone && infos_ < kMostInfos) {
      image.info = read_boot_info(volume_, image.start);
      if (image.info) ++infos_;
    }
    image.bytes = length_of(image);
    if (image.indicator != kBootable) return;
    const std::uint64_t at = image.place + FieldReader<kSectionEntry>::offset_of<"image">();
    if (image.start >= volume_.bytes()) {
      find(Severity::fault, FindingCode::extent_beyond_end, at, 4,
           fmt::format("boot image {} is to start at block {}, the image has {}", image.number,
                       image.block, volume_.bytes() / kOpticalBlock));
    } else if (!fits_within(image.start, image.bytes, volume_.bytes())) {
      find(Severity::caution, FindingCode::extent_beyond_end, at, 4,
           fmt::format("boot image {} has {} bytes, {} of them past the end of the image",
                       image.number, image.bytes, image.start + image.bytes - volume_.bytes()));
    }
  }

  // Diskettes have the size of their kind, a hard disk ends with its one slice. Without emulation
  // only the part that is loaded at first is known, unless the image itself says more.
  std::uint64_t length_of(const CatalogImage& image) const {
    const std::uint64_t loaded = image.load_blocks * kVirtualSector;
    const std::uint64_t kind = image.emulation();
    if (kind > kMediaNone && kind < kMediaHardDisk) return kDisketteBytes[kind];
    if (kind == kMediaHardDisk) return std::max(loaded, disk_bytes(image.start));
    if (image.info && image.info->names_image && image.info->verified) {
      return image.info->table.get<"bytes">();
    }
    // UEFI Specification, "ISO-9660 and El Torito": a count of 0 or 1 stands for the rest of the
    // disc.
    if (image.platform == kPlatformEfi && image.load_blocks <= 1) {
      return volume_.bytes() > image.start ? volume_.bytes() - image.start : 0;
    }
    return loaded;
  }

  std::uint64_t disk_bytes(std::uint64_t start) const {
    const auto mbr = volume_.record<label::kMbr>(start, ByteOrder::little);
    if (mbr.get<"signature">() != label::kMbrSignature) return 0;
    const auto slice = mbr.sub<"entry">(0);
    return (slice.get<"first">() + slice.get<"sectors">()) * kVirtualSector;
  }

  const View& volume_;
  BootCatalog& catalog_;
  Claim& claim_;
  std::uint64_t next_ = 0;
  std::size_t entries_ = 0;
  std::size_t infos_ = 0;
};

// Sum of the little-endian words of [from, to); a rest is filled up with zeros.
std::uint64_t sum_of_image(const View& volume, std::uint64_t from, std::uint64_t to) {
  std::array<std::byte, 65536> piece;
  std::uint32_t sum = 0;
  for (std::uint64_t at = from; at < to; at += piece.size()) {
    piece.fill(std::byte{0});
    const auto length = static_cast<std::size_t>(std::min<std::uint64_t>(piece.size(), to - at));
    volume.read(at, std::span(piece).first(length));
    sum += sum_of_words32(piece, ByteOrder::little);
  }
  return sum;
}

}  // namespace

std::optional<BootInfo> read_boot_info(const View& volume, std::uint64_t start) {
  BootInfo info;
  info.table = volume.record<kBootInfo>(saturating_add(start, kBootInfoOffset), ByteOrder::little);
  if (!info.table.complete() ||
      info.table.get<"descriptor">() != filesystem::iso9660::kFirstDescriptor) {
    return std::nullopt;
  }
  info.names_image = info.table.get<"image">() == start / kOpticalBlock;
  const std::uint64_t length = info.table.get<"bytes">();
  info.verified = length >= kBootInfoSummed && length <= kLongestSummed &&
                  fits_within(start, length, volume.bytes());
  if (info.verified) {
    info.computed = sum_of_image(volume, start + kBootInfoSummed, start + length);
  }
  return info;
}

std::optional<BootCatalog> read_boot_catalog(const View& volume, Claim& findings) {
  std::optional<BootCatalog> catalog = find_record(volume);
  if (catalog) Reader(volume, *catalog, findings).read();
  return catalog;
}

}  // namespace platter::boot
