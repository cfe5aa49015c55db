#include "filesystem/iso9660_descriptors.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter::filesystem::iso9660 {
namespace {

// One of the two halves of a number: the little-endian one unless only the other can be right.
template <FieldName N, const Structure& S, typename CanBe>
std::uint64_t chosen(const FieldReader<S>& record, CanBe can_be) {
  const std::uint64_t little = record.template get<N>();
  const std::uint64_t big = record.template big_half<N>();
  return !can_be(little) && can_be(big) ? big : little;
}

template <const Structure& S>
void keep(const View& view, std::uint64_t place, std::vector<Record<S>>& records) {
  records.push_back(view.record<S>(place, ByteOrder::little));
}

void read_one(const View& view, std::uint64_t place, std::uint64_t type, DescriptorSet& set) {
  switch (type) {
    case kBootRecordType:
      keep(view, place, set.boot);
      break;
    case kPrimaryType:
      keep(view, place, set.primary);
      break;
    case kSupplementaryType:
      keep(view, place, set.supplementary);
      break;
    case kPartitionType:
      keep(view, place, set.partitions);
      break;
    case kTerminatorType:
      set.terminator = view.record<kTerminator>(place, ByteOrder::little);
      break;
    default:
      break;  // reserved; readers pass over it (ECMA-119 8.1.1)
  }
}

void compare_number(Claim& claim, const Field& field, std::span<const std::byte> data,
                    std::uint64_t start, std::string_view name) {
  const std::size_t half = field.width / 2;
  const std::uint64_t little = decode_unsigned(data.first(half), ByteOrder::little);
  const std::uint64_t big = decode_unsigned(data.last(half), ByteOrder::big);
  if (little == big) return;
  claim.find(
      Severity::fault, FindingCode::both_endian_differ, start, field.width,
      fmt::format("{} is {} in little-endian and {} in big-endian order", name, little, big));
}

bool size_is_plausible(const VolumeDescriptor& d) {
  return d.get<"blocks">() == d.big_half<"blocks">() && d.get<"blocks">() != 0 &&
         shape_of(d).block_bytes != 0;
}

bool root_is_plausible(const VolumeDescriptor& d) {
  const auto root = d.sub<"root">();
  return is_root_record(d) && root.get<"extent">() != 0 && root.get<"bytes">() != 0 &&
         root.get<"extent">() == root.big_half<"extent">() &&
         root.get<"bytes">() == root.big_half<"bytes">();
}

}  // namespace

bool is_volume(const VolumeDescriptor& d) {
  const bool long_enough = d.present() > VolumeDescriptor::offset_of<"root_identifier">();
  return long_enough && (size_is_plausible(d) || root_is_plausible(d));
}

TreeShape usable(TreeShape shape) {
  if (shape.block_bytes == 0) shape.block_bytes = kSectorBytes;
  return shape;
}

bool has_descriptors(const View& view) {
  constexpr std::uint64_t kPlace = kFirstDescriptor * kSectorBytes;
  return view.holds(kPlace + FieldReader<kDescriptorHead>::offset_of<"standard_id">(), kStandardId);
}

DescriptorSet read_descriptors(const View& view) {
  DescriptorSet set;
  for (std::uint64_t i = 0; i < kMostDescriptors && !set.terminator; ++i) {
    const std::uint64_t place = (kFirstDescriptor + i) * kSectorBytes;
    const auto head = view.record<kDescriptorHead>(place, ByteOrder::little);
    set.cut = place + kSectorBytes > view.bytes();
    if (!head.complete() || head.text<"standard_id">() != kStandardId) break;
    read_one(view, place, head.get<"type">(), set);
    set.end = place + kSectorBytes;
  }
  set.cut = set.cut && !set.terminator;
  return set;
}

TreeShape shape_of(const VolumeDescriptor& descriptor) {
  const auto not_zero = [](std::uint64_t value) { return value != 0; };
  // A block is a power of two, at least 512 bytes, and no larger than a sector (ECMA-119 6.2.2).
  const auto is_block = [](std::uint64_t value) {
    return is_power_of_two_in(value, 512, kSectorBytes);
  };
  TreeShape shape;
  shape.block_bytes = chosen<"block_bytes">(descriptor, is_block);
  if (!is_block(shape.block_bytes)) shape.block_bytes = 0;
  shape.blocks = chosen<"blocks">(descriptor, not_zero);
  shape.path_table_bytes = chosen<"path_table_bytes">(descriptor, not_zero);
  const auto in_volume = [&](std::uint64_t block) { return block != 0 && block < shape.blocks; };
  const auto root = descriptor.sub<"root">();
  shape.root_extent = chosen<"extent">(root, in_volume);
  shape.root_bytes = chosen<"bytes">(root, not_zero);
  return shape;
}

bool is_root_record(const VolumeDescriptor& descriptor) {
  const auto root = descriptor.sub<"root">();
  return root.get<"length">() == kDirectoryRecord.bytes + 1 &&
         (root.get<"flags">() & kDirectoryFlag) != 0 && root.get<"identifier_length">() == 1 &&
         descriptor.get<"root_identifier">() == 0;
}

unsigned joliet_level(const VolumeDescriptor& descriptor) {
  if (descriptor.get<"type">() != kSupplementaryType || is_enhanced(descriptor)) return 0;
  const std::string escapes = descriptor.text<"escape_sequences">();
  const auto found = std::ranges::find_if(
      kJolietEscapes, [&](std::string_view escape) { return escapes.starts_with(escape); });
  if (found == std::end(kJolietEscapes)) return 0;
  return static_cast<unsigned>(found - std::begin(kJolietEscapes)) + 1;
}

bool is_enhanced(const VolumeDescriptor& descriptor) {
  return descriptor.get<"type">() == kSupplementaryType && descriptor.get<"version">() == 2;
}

std::string role_of(const VolumeDescriptor& descriptor) {
  if (descriptor.get<"type">() == kPrimaryType) return "primary";
  if (is_enhanced(descriptor)) return "enhanced";
  const unsigned level = joliet_level(descriptor);
  return level == 0 ? "supplementary" : fmt::format("Joliet level {}", level);
}

std::string descriptor_text(std::span<const std::byte> field, Charset charset) {
  if (charset != Charset::ucs2_be) return unpadded_text(field);
  const auto unit = [&](std::size_t i) {
    return decode_unsigned(field.subspan(i, 2), ByteOrder::big);
  };
  std::size_t used = 0;
  for (std::size_t i = 0; i + 1 < field.size() && unit(i) != 0; i += 2) {
    if (unit(i) != ' ') used = i + 2;
  }
  return {reinterpret_cast<const char*>(field.data()), used};
}

void compare_halves(Claim& claim, const Structure& structure, std::span<const std::byte> data,
                    std::uint64_t start, std::string_view what) {
  for (const Field& field : structure.fields()) {
    if (field.offset + field.bytes() > data.size()) return;
    const auto part = data.subspan(field.offset, field.width);
    const std::string name = fmt::format("the {}'s {}", what, field.name);
    if (field.kind == FieldKind::both_endian) {
      compare_number(claim, field, part, start + field.offset, name);
    } else if (field.kind == FieldKind::records && field.record != nullptr) {
      compare_halves(claim, *field.record, part, start + field.offset, name.substr(4));
    }
  }
}

}  // namespace platter::filesystem::iso9660
