// ISO 9660 volumes: descriptors from sector 16 on, with Joliet, Rock Ridge and El Torito.
#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "filesystem/iso9660_descriptors.h"
#include "filesystem/iso9660_open.h"
#include "filesystem/iso9660_path_table.h"
#include "filesystem/iso9660_structures.h"
#include "filesystem/iso9660_susp.h"
#include "filesystem/iso9660_time.h"

namespace platter::filesystem {
namespace iso9660 {
namespace {

void damaged(Claim& claim, Severity severity, std::uint64_t at, std::uint64_t bytes,
             std::string message) {
  claim.find(severity, FindingCode::filesystem_damaged, at, bytes, std::move(message));
}

// The bytes of a record that the image holds.
template <const Structure& S>
std::span<const std::byte> bytes_there(const Record<S>& record) {
  return record.all().first(record.present());
}

template <FieldName N>
std::uint64_t place_in_root(const VolumeDescriptor& d) {
  return d.place_of<"root">() + FieldReader<kDirectoryRecord>::offset_of<N>();
}

// ---- What a descriptor says about itself -------------------------------------------------------

void check_versions(Claim& claim, const VolumeDescriptor& d, const std::string& role) {
  const std::uint64_t expected = is_enhanced(d) ? 2 : 1;
  if (d.get<"version">() != expected) {
    damaged(claim, Severity::caution, d.place_of<"version">(), 1,
            fmt::format("the {} descriptor has version {}, expected {}", role, d.get<"version">(),
                        expected));
  }
  const bool there = d.present() > VolumeDescriptor::offset_of<"structure_version">();
  if (there && d.get<"structure_version">() != expected) {
    damaged(claim, Severity::caution, d.place_of<"structure_version">(), 1,
            fmt::format("the {} descriptor gives file structure version {}, expected {}", role,
                        d.get<"structure_version">(), expected));
  }
}

void check_sizes(Claim& claim, const VolumeDescriptor& d, const TreeShape& shape,
                 const std::string& role) {
  if (shape.block_bytes == 0) {
    damaged(claim, Severity::fault, d.place_of<"block_bytes">(), 4,
            fmt::format("the {} descriptor gives blocks of {} bytes, expected 512, 1024 or 2048",
                        role, d.get<"block_bytes">()));
  }
  if (shape.blocks == 0) {
    damaged(claim, Severity::fault, d.place_of<"blocks">(), 8,
            fmt::format("the {} descriptor gives the volume 0 blocks", role));
  }
}

void check_root_record(Claim& claim, const VolumeDescriptor& d, const std::string& role) {
  const auto root = d.sub<"root">();
  if (root.get<"length">() != kDirectoryRecord.bytes + 1) {
    damaged(
        claim, Severity::fault, place_in_root<"length">(d), 1,
        fmt::format("the {} root record has {} bytes, expected 34", role, root.get<"length">()));
  }
  if ((root.get<"flags">() & kDirectoryFlag) == 0) {
    damaged(claim, Severity::fault, place_in_root<"flags">(d), 1,
            fmt::format("the {} root record has flags 0x{:02X}, which is no directory", role,
                        root.get<"flags">()));
  }
  if (root.get<"identifier_length">() != 1 || d.get<"root_identifier">() != 0) {
    damaged(claim, Severity::fault, place_in_root<"identifier_length">(d), 2,
            fmt::format("the {} root record has an identifier of {} bytes beginning with 0x{:02X}, "
                        "expected one byte 0x00",
                        role, root.get<"identifier_length">(), d.get<"root_identifier">()));
  }
}

// ---- What a descriptor points to ---------------------------------------------------------------

// Byte offset of the root directory in the view, behind its extended attribute record.
std::uint64_t root_place(const VolumeDescriptor& d, const TreeShape& shape) {
  return shape.place_of(shape.root_extent + d.sub<"root">().get<"attribute_blocks">());
}

bool root_in_volume(Claim& claim, const VolumeDescriptor& d, const TreeShape& shape,
                    std::uint64_t descriptors_end, const std::string& role) {
  const std::uint64_t place = root_place(d, shape);
  if (place >= descriptors_end && shape.root_bytes != 0 &&
      fits_within(place, shape.root_bytes, shape.volume_bytes())) {
    return true;
  }
  damaged(claim, Severity::fault, place_in_root<"extent">(d), 16,
          fmt::format("the {} root directory has {} bytes at block {}, expected a place behind the "
                      "descriptors and before block {}",
                      role, shape.root_bytes, shape.root_extent, shape.blocks));
  return false;
}

// Whether the root directory begins with a record of itself, as ECMA-119 6.8.2.2 wants it.
bool root_describes_itself(Claim& claim, const View& view, const VolumeDescriptor& d,
                           const TreeShape& shape, const std::string& role) {
  const std::uint64_t place = root_place(d, shape);
  const auto self = view.record<kDirectoryRecord>(place, ByteOrder::little);
  if (!self.complete()) return false;  // a copy that was cut; the review says so
  claim.records.push_back(self.keep(role + ", root directory"));
  if (self.get<"length">() <= kDirectoryRecord.bytes ||
      (self.get<"flags">() & kDirectoryFlag) == 0 || self.get<"identifier_length">() != 1) {
    damaged(claim, Severity::fault, self.start(), kDirectoryRecord.bytes,
            fmt::format("the {} root directory at block {} does not begin with a record of itself",
                        role, shape.root_extent));
    return false;
  }
  compare_halves(claim, kDirectoryRecord, self.all(), self.start(),
                 role + " root directory record");
  const bool agrees =
      self.get<"extent">() == shape.root_extent && self.get<"bytes">() == shape.root_bytes;
  if (!agrees) {
    damaged(claim, Severity::caution, self.place_of<"extent">(), 16,
            fmt::format("the {} root directory says it has {} bytes at block {}, its descriptor {} "
                        "bytes at block {}",
                        role, self.get<"bytes">(), self.get<"extent">(), shape.root_bytes,
                        shape.root_extent));
  }
  return agrees;
}

struct Tree {
  bool in_volume = false;
  bool proven = false;  // its root directory says the same as its descriptor
  std::optional<std::uint64_t> directories;
};

Tree check_tree(Claim& claim, const View& view, const VolumeDescriptor& d,
                std::uint64_t descriptors_end) {
  const std::string role = role_of(d);
  check_versions(claim, d, role);
  compare_halves(claim, kVolumeDescriptor, bytes_there(d), d.start(), role + " descriptor");
  const TreeShape given = shape_of(d);
  check_sizes(claim, d, given, role);
  check_root_record(claim, d, role);
  const TreeShape shape = usable(given);
  Tree tree;
  tree.in_volume = root_in_volume(claim, d, shape, descriptors_end, role);
  if (tree.in_volume) tree.proven = root_describes_itself(claim, view, d, shape, role);
  tree.directories = check_path_tables(claim, view, d, shape);
  return tree;
}

// ---- Facts -------------------------------------------------------------------------------------

bool has_control_bytes(std::string_view text) {
  return std::ranges::any_of(text, [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte < 0x20 || byte == 0x7F;
  });
}

template <FieldName N>
std::string checked_text(Claim& claim, const VolumeDescriptor& d) {
  std::string text = descriptor_text(d.raw<N>(), Charset::ascii);
  if (has_control_bytes(text)) {
    claim.find(Severity::note, FindingCode::name_illegal, d.place_of<N>(), text.size(),
               fmt::format("the primary descriptor's {} holds control characters", N.view()));
  }
  return text;
}

template <FieldName N>
void set_text(Claim& claim, const VolumeDescriptor& d) {
  claim.facts.set_text(N.view(), checked_text<N>(claim, d));
}

template <FieldName N>
void set_text_if_given(Claim& claim, const VolumeDescriptor& d) {
  std::string text = checked_text<N>(claim, d);
  if (!text.empty()) claim.facts.set_text(N.view(), std::move(text));
}

template <FieldName N>
void set_time(Claim& claim, const VolumeDescriptor& d) {
  const VolumeTime time = volume_time(d.sub<N>());
  if (time.time) {
    claim.facts.set(N.view(), *time.time);
  } else if (time.given) {
    damaged(claim, Severity::note, d.place_of<N>(), kDate17.bytes,
            fmt::format("the primary descriptor's time {} is no valid time", N.view()));
  }
}

void set_volume_facts(Claim& claim, const VolumeDescriptor& d, const TreeShape& shape) {
  claim.facts.set("byte_order", "both")
      .set("block_bytes", shape.block_bytes)
      .set("volume_bytes", shape.volume_bytes())
      .set_text("volume_name", checked_text<"volume_id">(claim, d))
      .set("used_bytes", shape.volume_bytes());  // a volume is written once, and full
  set_time<"created">(claim, d);
  set_time<"modified">(claim, d);
  set_time<"expires">(claim, d);
  set_time<"effective">(claim, d);
  set_text<"system_id">(claim, d);
  set_text<"volume_set_id">(claim, d);
  set_text<"publisher_id">(claim, d);
  set_text<"preparer_id">(claim, d);
  set_text<"application_id">(claim, d);
  set_text_if_given<"copyright_file">(claim, d);
  set_text_if_given<"abstract_file">(claim, d);
  set_text_if_given<"bibliographic_file">(claim, d);
  claim.facts.set("volume_set_size", d.get<"set_size">())
      .set("sequence_number", d.get<"sequence_number">());
}

// ---- The set -----------------------------------------------------------------------------------

// More than one primary descriptor may stand there, but they are copies (ECMA-119 6.7.1.1).
void check_copies(Claim& claim, const DescriptorSet& set, const VolumeDescriptor& used) {
  for (const VolumeDescriptor& other : set.primary) {
    if (other.start() == used.start() || !other.complete()) continue;
    if (std::ranges::equal(other.all(), used.all())) continue;
    damaged(
        claim, Severity::caution, other.start(), kSectorBytes,
        fmt::format("two primary descriptors differ: the one at byte {} is used, not the one at "
                    "byte {}",
                    used.start(), other.start()));
  }
}

void check_terminator(Claim& claim, const View& view, const DescriptorSet& set) {
  if (set.terminator || set.cut) return;
  damaged(claim, Severity::caution, saturating_add(view.start(), set.end), kSectorBytes,
          "no terminator stands behind the volume descriptors");
}

void check_partitions(Claim& claim, const DescriptorSet& set, const TreeShape& shape) {
  for (const auto& partition : set.partitions) {
    compare_halves(claim, kPartitionDescriptor, bytes_there(partition), partition.start(),
                   "partition descriptor");
    if (!partition.complete() ||
        fits_within(partition.get<"extent">(), partition.get<"blocks">(), shape.blocks)) {
      continue;
    }
    damaged(claim, Severity::caution, partition.place_of<"extent">(), 16,
            fmt::format("a volume partition has {} blocks from block {}, but the volume has {}",
                        partition.get<"blocks">(), partition.get<"extent">(), shape.blocks));
  }
}

void keep_records(Claim& claim, const DescriptorSet& set) {
  for (const auto& d : set.primary)
    claim.records.push_back(d.keep(role_of(d)));
  for (const auto& d : set.boot)
    claim.records.push_back(d.keep());
  for (const auto& d : set.supplementary)
    claim.records.push_back(d.keep(role_of(d)));
  for (const auto& d : set.partitions)
    claim.records.push_back(d.keep());
  if (set.terminator) claim.records.push_back(set.terminator->keep());
  std::ranges::stable_sort(claim.records, {}, &RecordData::start);
}

void read_root_extensions(Claim& claim, const View& view, const VolumeDescriptor& primary,
                          const TreeShape& shape) {
  const RootExtensions extensions =
      root_extensions(claim, view, root_place(primary, shape), shape.block_bytes);
  if (!extensions.present) return;  // cut off: nobody can tell
  claim.facts.set("rock_ridge", extensions.rock_ridge);
  if (!extensions.extension.empty()) claim.facts.set_text("system_use", extensions.extension);
}

void read_joliet(Claim& claim, const DescriptorSet& set) {
  const auto joliet = std::ranges::find_if(
      set.supplementary, [](const VolumeDescriptor& d) { return joliet_level(d) != 0; });
  claim.facts.set("joliet", joliet != set.supplementary.end());
  if (joliet == set.supplementary.end()) return;
  claim.facts.set("joliet_level", joliet_level(*joliet))
      .set_text("joliet_volume_name", descriptor_text(joliet->raw<"volume_id">(), Charset::ucs2_be),
                Charset::ucs2_be);
}

void read_el_torito(Claim& claim, const View& view, const DescriptorSet& set) {
  const auto boot = std::ranges::find_if(
      set.boot, [](const auto& d) { return d.template text<"boot_system_id">() == kElToritoId; });
  claim.facts.set("el_torito", boot != set.boot.end());
  if (boot == set.boot.end()) return;
  const auto record = view.record<kElToritoRecord>(boot->start() - view.start(), ByteOrder::little);
  claim.facts.set("boot_catalog_sector", record.get<"catalog">());
}

std::string title_of(const Facts& facts) {
  std::vector<std::string_view> parts;
  const auto has = [&](std::string_view fact) {
    const FactValue* value = facts.find(fact);
    return value != nullptr && *value == FactValue(true);
  };
  if (has("rock_ridge")) parts.emplace_back("Rock Ridge");
  if (has("joliet")) parts.emplace_back("Joliet");
  if (has("el_torito")) parts.emplace_back("El Torito");
  std::string title = "ISO 9660 volume";
  for (std::size_t i = 0; i < parts.size(); ++i) {
    title += i == 0 ? " with " : i + 1 < parts.size() ? ", " : " and ";
    title += parts[i];
  }
  return title;
}

// How sure one can be before the review: the contradictions are those of the primary tree alone.
Strength strength_of(const Claim& claim, const Tree& tree) {
  if (tree.proven) return any_fault(claim.findings) ? Strength::sane : Strength::proven;
  return claim.findings.empty() ? Strength::sane : Strength::magic;
}

Claim claim_from(const View& view, const DescriptorSet& set, const VolumeDescriptor& primary) {
  Claim claim;
  const TreeShape shape = usable(shape_of(primary));
  claim.start = view.start();
  claim.bytes = shape.volume_bytes();
  keep_records(claim, set);
  const Tree tree = check_tree(claim, view, primary, set.end);
  claim.strength = strength_of(claim, tree);
  set_volume_facts(claim, primary, shape);
  if (tree.directories) claim.facts.set("directories", *tree.directories);
  if (tree.in_volume) read_root_extensions(claim, view, primary, shape);
  for (const VolumeDescriptor& d : set.supplementary) {
    if (d.complete()) check_tree(claim, view, d, set.end);
  }
  read_joliet(claim, set);
  const bool enhanced = std::ranges::any_of(set.supplementary, is_enhanced);
  if (enhanced) claim.facts.set("enhanced", true);
  read_el_torito(claim, view, set);
  const std::uint64_t mark = primary.start() - view.start() + kXaMarkOffset;
  if (view.holds(mark, kXaMark)) claim.facts.set("xa", true);
  check_copies(claim, set, primary);
  check_partitions(claim, set, shape);
  check_terminator(claim, view, set);
  claim.title = title_of(claim.facts);
  return claim;
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  if (!has_descriptors(view)) return {};
  const DescriptorSet set = read_descriptors(view);
  const auto primary = std::ranges::find_if(set.primary, is_volume);
  if (primary == set.primary.end()) return {};
  std::vector<Claim> result;
  result.push_back(claim_from(view, set, *primary));
  return result;
}

}  // namespace
}  // namespace iso9660

extern const Format iso9660_format;
const Format iso9660_format = {.id = "iso9660",
                               .title = "ISO 9660 volume",
                               .stage = Stage::filesystem,
                               .of_whole_image = true,
                               .claims = iso9660::claims,
                               .open = iso9660::open_iso9660};

}  // namespace platter::filesystem
