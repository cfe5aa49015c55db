#include "filesystem/iso9660_path_table.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter::filesystem::iso9660 {
namespace {

void differs(Claim& claim, std::uint64_t at, std::uint64_t bytes, std::string message) {
  claim.find(Severity::fault, FindingCode::path_table_differs, at, bytes, std::move(message));
}

// A table as a descriptor names it.
struct NamedTable {
  std::string name;         // e.g. "the primary's path table L"
  std::uint64_t block = 0;  // as the descriptor says
  std::uint64_t field = 0;  // where it says so, in image bytes
  ByteOrder order = ByteOrder::little;
};

NamedTable table_l(const VolumeDescriptor& d, const std::string& role) {
  return {fmt::format("the {} path table L", role), d.get<"path_table_l">(),
          d.place_of<"path_table_l">(), ByteOrder::little};
}
NamedTable table_m(const VolumeDescriptor& d, const std::string& role) {
  return {fmt::format("the {} path table M", role), d.get<"path_table_m">(),
          d.place_of<"path_table_m">(), ByteOrder::big};
}
NamedTable copy_of_l(const VolumeDescriptor& d, const std::string& role) {
  return {fmt::format("the copy of the {} path table L", role), d.get<"optional_path_table_l">(),
          d.place_of<"optional_path_table_l">(), ByteOrder::little};
}
NamedTable copy_of_m(const VolumeDescriptor& d, const std::string& role) {
  return {fmt::format("the copy of the {} path table M", role), d.get<"optional_path_table_m">(),
          d.place_of<"optional_path_table_m">(), ByteOrder::big};
}

bool in_volume(Claim& claim, const NamedTable& table, const TreeShape& shape) {
  const bool after_system_area = shape.place_of(table.block) >= kFirstDescriptor * kSectorBytes;
  if (after_system_area &&
      fits_within(shape.place_of(table.block), shape.path_table_bytes, shape.volume_bytes())) {
    return true;
  }
  if (table.block == 0) {  // a reader that needs the other order is lost, the volume is not
    claim.find(Severity::caution, FindingCode::path_table_differs, table.field, 4,
               fmt::format("{} is at block 0, which means that there is none", table.name));
    return false;
  }
  differs(claim, table.field, 4,
          fmt::format("{} has {} bytes at block {}, but the volume has {} blocks from 0 on",
                      table.name, shape.path_table_bytes, table.block, shape.blocks));
  return false;
}

PathTable table_at(const View& view, const NamedTable& table, const TreeShape& shape) {
  return {view, shape.place_of(table.block), shape.path_table_bytes, table.order};
}

bool is_root_identifier(std::span<const std::byte> identifier) {
  return identifier.size() == 1 && identifier[0] == std::byte{0};
}

// Whether the first record is the root's and agrees with the root record of the descriptor.
bool root_first(Claim& claim, const PathTable& table, const std::string& name,
                const TreeShape& shape) {
  const auto& record = table.record();
  if (is_root_identifier(table.identifier()) && record.get<"parent">() == 1 &&
      record.get<"extent">() == shape.root_extent) {
    return true;
  }
  differs(claim, record.start(), kPathRecord.bytes,
          fmt::format("{} begins with a directory at block {} with parent {}, but the root "
                      "directory is at block {} and its own parent",
                      name, record.get<"extent">(), record.get<"parent">(), shape.root_extent));
  return false;
}

// A parent's record stands before those of its children (ECMA-119 6.9.1).
bool parent_before(Claim& claim, const PathTable& table, const std::string& name) {
  const std::uint64_t parent = table.record().get<"parent">();
  if (table.number() == 1 || (parent >= 1 && parent < table.number())) return true;
  differs(claim, table.record().place_of<"parent">(), 2,
          fmt::format("record {} of {} has parent {}, which does not stand before it",
                      table.number(), name, parent));
  return false;
}

std::optional<std::uint64_t> check_records(Claim& claim, const View& view, const NamedTable& named,
                                           const TreeShape& shape) {
  PathTable table = table_at(view, named, shape);
  for (;;) {
    switch (table.next()) {
      case PathTable::Step::record:
        if (table.number() == 1 && !root_first(claim, table, named.name, shape)) return {};
        if (!parent_before(claim, table, named.name)) return {};
        break;
      case PathTable::Step::end:
        return table.number();
      case PathTable::Step::absent:
        return {};
      case PathTable::Step::broken:
        differs(claim, table.place(), kPathRecord.bytes,
                fmt::format("{} has no valid record after record {}, but goes on to its {} bytes",
                            named.name, table.number(), shape.path_table_bytes));
        return {};
    }
  }
}

bool same_record(const PathTable& a, const PathTable& b) {
  return a.record().get<"extent">() == b.record().get<"extent">() &&
         a.record().get<"parent">() == b.record().get<"parent">() &&
         a.record().get<"attribute_blocks">() == b.record().get<"attribute_blocks">() &&
         std::ranges::equal(a.identifier(), b.identifier());
}

// Reports the first record in which two tables differ.
void compare(Claim& claim, const View& view, const NamedTable& first, const NamedTable& second,
             const TreeShape& shape) {
  PathTable a = table_at(view, first, shape);
  PathTable b = table_at(view, second, shape);
  for (;;) {
    const auto step_a = a.next();
    const std::uint64_t place = b.place();
    const auto step_b = b.next();
    if (step_a == PathTable::Step::absent || step_b == PathTable::Step::absent) return;
    const bool records = step_a == PathTable::Step::record && step_b == PathTable::Step::record;
    if (records ? same_record(a, b) : step_a == step_b) {
      if (!records) return;
      continue;
    }
    const std::uint64_t number = std::max(a.number(), b.number());
    differs(claim, place, kPathRecord.bytes,
            records
                ? fmt::format("record {} of {} (block {}, parent {}) differs from {} (block {}, "
                              "parent {})",
                              number, second.name, b.record().get<"extent">(),
                              b.record().get<"parent">(), first.name, a.record().get<"extent">(),
                              a.record().get<"parent">())
                : fmt::format("{} and {} do not both have a record {}", first.name, second.name,
                              number));
    return;
  }
}

}  // namespace

PathTable::Step PathTable::next() {
  if (next_ >= end_ || number_ >= kMostRecords) return Step::end;
  const auto head = window_.at(next_, kPathRecord.bytes);
  if (head.empty()) return Step::absent;
  record_ = Record<kPathRecord>(order_, place());
  std::ranges::copy(head, record_.storage().begin());
  record_.set_present(head.size());
  const std::uint64_t length = record_.get<"identifier_length">();
  const std::uint64_t bytes = kPathRecord.bytes + length + length % 2;
  // Some writers leave the last record's pad byte out of the length.
  if (length == 0 || kPathRecord.bytes + length > end_ - next_) return Step::broken;
  const auto name = window_.at(next_ + kPathRecord.bytes, static_cast<std::size_t>(length));
  if (name.empty()) return Step::absent;
  std::ranges::copy(name, identifier_.begin());
  next_ = saturating_add(next_, bytes);
  ++number_;
  return Step::record;
}

std::optional<std::uint64_t> check_path_tables(Claim& claim, const View& view,
                                               const VolumeDescriptor& descriptor,
                                               const TreeShape& shape) {
  const std::string role = role_of(descriptor);
  if (shape.path_table_bytes == 0) {
    differs(claim, descriptor.place_of<"path_table_bytes">(), 8,
            fmt::format("the {} path table has 0 bytes, but must hold the root directory", role));
    return {};
  }
  const NamedTable l = table_l(descriptor, role);
  const NamedTable m = table_m(descriptor, role);
  const bool l_there = in_volume(claim, l, shape);
  const bool m_there = in_volume(claim, m, shape);
  std::optional<std::uint64_t> directories;
  if (l_there) directories = check_records(claim, view, l, shape);
  // Without table L, M stands for it; a broken L is compared with M all the same.
  if (!l_there && m_there) directories = check_records(claim, view, m, shape);
  if (l_there && m_there) compare(claim, view, l, m, shape);
  const NamedTable copies[] = {copy_of_l(descriptor, role), copy_of_m(descriptor, role)};
  for (const NamedTable& copy : copies) {
    if (copy.block == 0 || !in_volume(claim, copy, shape)) continue;
    if (l_there) compare(claim, view, l, copy, shape);
  }
  return directories;
}

}  // namespace platter::filesystem::iso9660
