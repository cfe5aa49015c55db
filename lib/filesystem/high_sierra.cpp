// High Sierra volumes: descriptors from sector 16 on, as in ISO 9660 but eight bytes later.
#include <algorithm>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "core/claim.h"
#include "filesystem/high_sierra_structures.h"
#include "filesystem/iso9660_descriptors.h"
#include "filesystem/iso9660_time.h"
#include "filesystem/iso9660_volume.h"

namespace platter::filesystem {
namespace high_sierra {
namespace {

using iso9660::kFirstDescriptor;
using iso9660::kMostDescriptors;
using iso9660::kSectorBytes;
using HighSierraDescriptor = Record<kVolumeDescriptor>;

struct Descriptors {
  std::optional<HighSierraDescriptor> volume;
  std::optional<Record<kDescriptorHead>> terminator;
  std::uint64_t end = 0;  // byte in the view behind the last
  bool cut = false;       // the image ends before a terminator
};

bool is_root_record(const HighSierraDescriptor& d) {
  const auto root = d.sub<"root">();
  return root.get<"length">() == kDirectoryRecord.bytes + 1 &&
         (root.get<"flags">() & iso9660::kDirectoryFlag) != 0 &&
         root.get<"identifier_length">() == 1 && d.get<"root_identifier">() == 0;
}

bool root_is_plausible(const HighSierraDescriptor& d) {
  const auto root = d.sub<"root">();
  return is_root_record(d) && root.get<"extent">() != 0 && root.get<"bytes">() != 0 &&
         root.get<"extent">() == root.big_half<"extent">() &&
         root.get<"bytes">() == root.big_half<"bytes">();
}

bool is_block_size(std::uint64_t bytes) {
  return is_power_of_two_in(bytes, 512, kSectorBytes);
}

bool size_is_plausible(const HighSierraDescriptor& d) {
  return d.get<"blocks">() != 0 && d.get<"blocks">() == d.big_half<"blocks">() &&
         is_block_size(d.get<"block_bytes">());
}

// As for ISO 9660: the magic, and one thing besides that other bytes do not have.
bool is_volume(const HighSierraDescriptor& d) {
  return d.get<"type">() == iso9660::kPrimaryType &&
         d.present() > HighSierraDescriptor::offset_of<"root_identifier">() &&
         (size_is_plausible(d) || root_is_plausible(d));
}

Descriptors read_descriptors(const View& view) {
  Descriptors found;
  for (std::uint64_t i = 0; i < kMostDescriptors && !found.terminator; ++i) {
    const std::uint64_t place = (kFirstDescriptor + i) * kSectorBytes;
    const auto head = view.record<kDescriptorHead>(place, ByteOrder::little);
    found.cut = place + kSectorBytes > view.bytes();
    if (!head.complete() || head.text<"standard_id">() != kStandardId) break;
    if (head.get<"type">() == iso9660::kTerminatorType) found.terminator = head;
    if (!found.volume) {
      auto descriptor = view.record<kVolumeDescriptor>(place, ByteOrder::little);
      if (is_volume(descriptor)) found.volume = descriptor;
    }
    found.end = place + kSectorBytes;
  }
  found.cut = found.cut && !found.terminator;
  return found;
}

bool has_descriptors(const View& view) {
  constexpr std::uint64_t kPlace = kFirstDescriptor * kSectorBytes;
  return view.holds(kPlace + FieldReader<kDescriptorHead>::offset_of<"standard_id">(), kStandardId);
}

iso9660::DirectoryTree tree_of(const View& view, const HighSierraDescriptor& d) {
  iso9660::DirectoryTree tree;
  tree.role = "High Sierra";
  tree.shape.block_bytes =
      is_block_size(d.get<"block_bytes">()) ? d.get<"block_bytes">() : kSectorBytes;
  tree.shape.blocks = d.get<"blocks">();
  tree.shape.path_table_bytes = d.get<"path_table_bytes">();
  tree.shape.root_extent = d.sub<"root">().get<"extent">();
  tree.shape.root_bytes = d.sub<"root">().get<"bytes">();
  tree.root_record = d.place_of<"root">() - view.start();
  tree.root_attribute_blocks = d.sub<"root">().get<"attribute_blocks">();
  for (std::size_t i = 0; i < HighSierraDescriptor::count_of<"path_table_l">(); ++i) {
    if (const auto block = d.get<"path_table_l">(i); block != 0) {
      tree.path_tables_l.push_back(block);
    }
    if (const auto block = d.get<"path_table_m">(i); block != 0) {
      tree.path_tables_m.push_back(block);
    }
  }
  return tree;
}

// ---- Identification -----------------------------------------------------------------------------

void damaged(Claim& claim, Severity severity, std::uint64_t at, std::uint64_t bytes,
             std::string message) {
  claim.find(severity, FindingCode::filesystem_damaged, at, bytes, std::move(message));
}

void check_descriptor(Claim& claim, const View& view, const HighSierraDescriptor& d) {
  iso9660::compare_halves(claim, kVolumeDescriptor, d.all().first(d.present()), d.start(),
                          "High Sierra descriptor");
  const std::uint64_t block_bytes = d.get<"block_bytes">();
  if (!is_block_size(block_bytes)) {
    damaged(claim, Severity::fault, d.place_of<"block_bytes">(), 4,
            fmt::format("the descriptor gives blocks of {} bytes, expected 512, 1024 or 2048",
                        block_bytes));
  } else if (d.get<"block">() * block_bytes != d.start() - view.start()) {
    damaged(claim, Severity::caution, d.place_of<"block">(), 8,
            fmt::format("the descriptor says that it stands at block {}, but it stands at block {}",
                        d.get<"block">(), (d.start() - view.start()) / block_bytes));
  }
  if (d.get<"version">() != 1) {
    damaged(claim, Severity::caution, d.place_of<"version">(), 1,
            fmt::format("the descriptor has version {}, expected 1", d.get<"version">()));
  }
  if (!is_root_record(d)) {
    damaged(claim, Severity::fault, d.place_of<"root">(), kDirectoryRecord.bytes,
            fmt::format("the root record has {} bytes and flags 0x{:02X}, expected 34 bytes and a "
                        "directory",
                        d.sub<"root">().get<"length">(), d.sub<"root">().get<"flags">()));
  }
}

// Whether the root directory begins with a record that says the same as the descriptor.
bool check_root(Claim& claim, const View& view, const iso9660::DirectoryTree& tree,
                const HighSierraDescriptor& d) {
  const std::uint64_t place = tree.root_place();
  if (!fits_within(place, tree.shape.root_bytes, tree.shape.volume_bytes()) ||
      tree.shape.root_bytes == 0) {
    damaged(claim, Severity::fault, d.place_of<"root">(), kDirectoryRecord.bytes,
            fmt::format("the root directory has {} bytes at block {}, but the volume has {} blocks",
                        tree.shape.root_bytes, tree.shape.root_extent, tree.shape.blocks));
    return false;
  }
  const auto self = view.record<kDirectoryRecord>(place, ByteOrder::little);
  if (!self.complete()) return false;  // a copy that was cut; the review says so
  claim.records.push_back(self.keep("root directory"));
  if (self.get<"length">() <= kDirectoryRecord.bytes || self.get<"identifier_length">() != 1 ||
      (self.get<"flags">() & iso9660::kDirectoryFlag) == 0) {
    damaged(claim, Severity::fault, self.start(), kDirectoryRecord.bytes,
            fmt::format("the root directory at block {} does not begin with a record of itself",
                        tree.shape.root_extent));
    return false;
  }
  const bool agrees = self.get<"extent">() == tree.shape.root_extent &&
                      self.get<"bytes">() == tree.shape.root_bytes;
  if (!agrees) {
    damaged(claim, Severity::caution, self.place_of<"extent">(), 16,
            fmt::format("the root directory says it has {} bytes at block {}, its descriptor {} "
                        "bytes at block {}",
                        self.get<"bytes">(), self.get<"extent">(), tree.shape.root_bytes,
                        tree.shape.root_extent));
  }
  return agrees;
}

template <FieldName N>
void set_time(Claim& claim, const HighSierraDescriptor& d) {
  // The same digits as in ISO 9660; there is no zone, so UTC stands in for it.
  std::array<std::byte, iso9660::kDate17.bytes> date{};
  std::ranges::copy(d.raw<N>(), date.begin());
  const auto time =
      iso9660::volume_time(FieldReader<iso9660::kDate17>(date.data(), ByteOrder::big));
  if (time.time) claim.facts.set(N.view(), *time.time);
}

void set_facts(Claim& claim, const HighSierraDescriptor& d, const iso9660::DirectoryTree& tree) {
  claim.facts.set("byte_order", "both")
      .set("block_bytes", tree.shape.block_bytes)
      .set("volume_bytes", tree.shape.volume_bytes())
      .set_text("volume_name", d.text<"volume_id">())
      .set("used_bytes", tree.shape.volume_bytes());  // a volume is written once, and full
  set_time<"created">(claim, d);
  set_time<"modified">(claim, d);
  set_time<"expires">(claim, d);
  set_time<"effective">(claim, d);
  claim.facts.set_text("system_id", d.text<"system_id">())
      .set_text("volume_set_id", d.text<"volume_set_id">())
      .set_text("publisher_id", d.text<"publisher_id">())
      .set_text("preparer_id", d.text<"preparer_id">())
      .set_text("application_id", d.text<"application_id">())
      .set("volume_set_size", d.get<"set_size">())
      .set("sequence_number", d.get<"sequence_number">());
}

std::vector<Claim> claims(const View& view, const Context& context) {
  (void)context;
  if (!has_descriptors(view)) return {};
  const Descriptors found = read_descriptors(view);
  if (!found.volume) return {};
  const HighSierraDescriptor& d = *found.volume;
  const iso9660::DirectoryTree tree = tree_of(view, d);
  Claim claim;
  claim.start = view.start();
  claim.bytes = tree.shape.volume_bytes();
  claim.title = "High Sierra volume";
  claim.records.push_back(d.keep());
  if (found.terminator) claim.records.push_back(found.terminator->keep());
  check_descriptor(claim, view, d);
  const bool agrees = check_root(claim, view, tree, d);
  if (!found.terminator && !found.cut) {
    damaged(claim, Severity::caution, saturating_add(view.start(), found.end), kSectorBytes,
            "no terminator stands behind the volume descriptors");
  }
  set_facts(claim, d, tree);
  const bool sound = !any_fault(claim.findings);
  claim.strength = agrees ? (sound ? Strength::proven : Strength::sane)
                          : (claim.findings.empty() ? Strength::sane : Strength::magic);
  std::vector<Claim> result;
  result.push_back(std::move(claim));
  return result;
}

std::unique_ptr<Volume> open(const View& view, const VolumeOptions& options) {
  const bool other_names =
      options.names == NameView::rock_ridge || options.names == NameView::joliet;
  if (other_names || !has_descriptors(view)) return nullptr;
  const Descriptors found = read_descriptors(view);
  if (!found.volume) return nullptr;
  iso9660::VolumeSource source;
  source.view = view;
  source.dialect = iso9660::Dialect::high_sierra;
  source.descriptors_end = found.end;
  source.set_size = found.volume->get<"set_size">();
  source.sequence_number = found.volume->get<"sequence_number">();
  source.trees.push_back(tree_of(view, *found.volume));
  source.trees.front().charset = options.charset.value_or(Charset::ascii);
  source.trees.front().strict_names = true;
  return std::make_unique<iso9660::Iso9660Volume>(std::move(source));
}

}  // namespace
}  // namespace high_sierra

extern const Format high_sierra_format;
const Format high_sierra_format = {.id = "high-sierra",
                                   .title = "High Sierra volume",
                                   .stage = Stage::filesystem,
                                   .of_whole_image = true,
                                   .claims = high_sierra::claims,
                                   .open = high_sierra::open};

}  // namespace platter::filesystem
