// Attributes and extents of the files of ISO 9660 and High Sierra volumes.
#include <algorithm>

#include <fmt/format.h>

#include "filesystem/iso9660_time.h"
#include "filesystem/iso9660_volume.h"

namespace platter::filesystem::iso9660 {
namespace {

// Marks identities that are serial numbers, since others are places.
constexpr std::uint64_t kSerialMark = std::uint64_t{1} << 63U;

// Bits for reading and running as ECMA-119 9.5.3 places them, and the mode bits that they stand
// for.
struct Permission {
  std::uint64_t bit;
  std::uint32_t mode;
};
constexpr Permission kPermissions[] = {{0x0010, 0400}, {0x0040, 0100}, {0x0100, 0040},
                                       {0x0400, 0010}, {0x1000, 0004}, {0x4000, 0001}};
std::uint32_t mode_of(std::uint64_t allowed) {
  std::uint32_t mode = 0;
  for (const Permission& permission : kPermissions) {
    if ((allowed & permission.bit) != 0) mode |= permission.mode;
  }
  return mode;
}

// The device word is split when only its low part is used and has room for both numbers, as Linux
// fs/isofs/rock.c does.
DeviceNumber device_of(std::uint64_t word) {
  const auto high = static_cast<std::uint32_t>(word >> 32U);
  const auto low = static_cast<std::uint32_t>(word & 0xFFFFFFFFU);
  if (high == 0 && low > 0xFF) return {low >> 8U, low & 0xFFU};
  return {high, low};
}

}  // namespace

void Iso9660Volume::set_attributes(const ParsedRecord& record, const RockFields& rock,
                                   std::uint64_t bytes, Attributes& attributes) {
  const bool directory = record.is_directory() || rock.child.has_value();
  attributes = {.type = directory ? NodeType::directory : NodeType::file,
                .bytes = directory ? record.bytes : bytes};
  attributes.modified = times_.of(record.recorded);
  if (!directory && bytes != 0 && source_.here(record)) {
    attributes.identity = node_at(source_.data_place(record));
  }
  if (rock.any) {
    add_rock(record, rock, attributes);
  } else if (!source_.rock_ridge_shown) {
    add_xa(record, attributes);
    if (record.attribute_blocks != 0) add_attribute_record(record, attributes);
  }
}

void Iso9660Volume::add_rock(const ParsedRecord& record, const RockFields& rock,
                             Attributes& attributes) {
  if (rock.times.modified) attributes.modified = rock.times.modified;
  attributes.accessed = rock.times.accessed;
  attributes.changed = rock.times.changed;
  attributes.created = rock.times.created;
  if (rock.has_mode) {
    attributes.mode = rock.mode & 07777U;
    attributes.uid = rock.uid;
    attributes.gid = rock.gid;
    attributes.links = rock.links;
    const NodeType stated = type_of_mode(rock.mode);
    const bool directory = attributes.type == NodeType::directory;
    if (directory != (stated == NodeType::directory)) {
      find(Severity::caution, FindingCode::filesystem_damaged, node_at(record.place),
           record.all.size(),
           fmt::format("the record of a {} has the mode {:o} of a {}",
                       node_type_name(attributes.type), rock.mode, node_type_name(stated)));
    } else if (stated != NodeType::unknown) {
      attributes.type = stated;
    }
  } else if (rock.has_link) {
    attributes.type = NodeType::symlink;
  }
  switch (attributes.type) {
    case NodeType::symlink:
      attributes.bytes = rock.target.size();
      attributes.identity = 0;
      break;
    case NodeType::char_device:
    case NodeType::block_device:
      if (rock.device) attributes.device = device_of(*rock.device);
      break;
    case NodeType::file:
      if (rock.decompressed && !said_compressed_) {
        said_compressed_ = true;
        find(
            Severity::note, FindingCode::packed_content, node_at(record.place), record.all.size(),
            fmt::format("files are stored compressed, the first of {} bytes in {}; what is read is "
                        "what is stored",
                        *rock.decompressed, attributes.bytes));
      }
      if (rock.filled && !said_sparse_) {
        said_sparse_ = true;
        find(Severity::note, FindingCode::packed_content, node_at(record.place), record.all.size(),
             fmt::format("files are stored without their holes, the first of {} bytes in {}; what "
                         "is read is what is stored",
                         *rock.filled, attributes.bytes));
      }
      break;
    default:
      break;
  }
  if (rock.serial && *rock.serial != 0 && attributes.type != NodeType::directory) {
    attributes.identity = kSerialMark | *rock.serial;
  }
}

// The owner only: the permissions for others share their bits with the form of the data.
void Iso9660Volume::add_xa(const ParsedRecord& record, Attributes& attributes) const {
  if (record.system_use.size() < kXaAttributes.bytes) return;
  const FieldReader<kXaAttributes> xa(record.system_use.data(), ByteOrder::big);
  const auto signature = xa.raw<"signature">();
  if (signature[0] != std::byte{'X'} || signature[1] != std::byte{'A'}) return;
  attributes.uid = static_cast<std::uint32_t>(xa.get<"user">());
  attributes.gid = static_cast<std::uint32_t>(xa.get<"group">());
}

void Iso9660Volume::add_attribute_record(const ParsedRecord& record, Attributes& attributes) const {
  if (source_.dialect == Dialect::high_sierra) return;  // of another form, that no source tells
  const std::uint64_t place = saturating_mul(record.extent, source_.block_bytes());
  if (place >= source_.view.bytes() || !source_.here(record)) return;
  const auto fields = source_.view.record<kAttributeRecord>(place, ByteOrder::big);
  if (!fields.complete() || fields.get<"version">() != 1) return;
  if (const auto created = volume_time(fields.sub<"created">()).time) attributes.created = created;
  if (const auto modified = volume_time(fields.sub<"modified">()).time) {
    attributes.modified = modified;
  }
  if ((record.flags & kProtectionFlag) == 0) return;
  attributes.uid = static_cast<std::uint32_t>(fields.get<"owner">());
  attributes.gid = static_cast<std::uint32_t>(fields.get<"group">());
  attributes.mode = mode_of(~fields.get<"permissions">());
}

// ---- Extents ------------------------------------------------------------------------------------

// The record of the next section of a file: it follows directly or begins the next sector.
bool Iso9660Volume::next_section(const ParsedRecord& section, SingleRecord& next) const {
  if (!section.goes_on() || section.is_directory()) return false;
  const std::uint64_t behind = section.place + section.all.size();
  const std::uint64_t sector = (section.place / kSectorBytes + 1) * kSectorBytes;
  for (const std::uint64_t place : {behind, sector}) {
    if (place > sector || !next.read(source_.view, source_.dialect, place)) continue;
    if (next.get().same_file(section) && !next.get().is_directory()) return true;
  }
  return false;
}

std::uint64_t Iso9660Volume::section_bytes(const ParsedRecord& first) const {
  std::uint64_t total = first.bytes;
  SingleRecord section;
  section.keep(source_.dialect, first);
  SingleRecord next;
  while (next_section(section.get(), next)) {
    total = saturating_add(total, next.get().bytes);
    section.keep(source_.dialect, next.get());
  }
  return total;
}

// The extents of one section, `offset` bytes into the file. An interleaved one takes `unit_blocks`,
// leaves out `gap_blocks`, and so on; its attribute record fills whole units.
void Iso9660Volume::add_section(const ParsedRecord& record, std::uint64_t offset,
                                ExtentJoiner& joiner, bool& wanted) {
  const std::uint64_t block = source_.block_bytes();
  const std::uint64_t limit = std::max(source_.volume_bytes(), source_.view.bytes());
  const bool interleaved = record.unit_blocks != 0 && record.gap_blocks != 0;
  const std::uint64_t unit = interleaved ? record.unit_blocks * block : record.bytes;
  const std::uint64_t step = interleaved ? unit + record.gap_blocks * block : record.bytes;
  std::uint64_t place = source_.data_place(record);
  if (interleaved) {
    const std::uint64_t units = divide_up(record.attribute_blocks, record.unit_blocks);
    place = saturating_add(saturating_mul(record.extent, block), units * step);
  }
  for (std::uint64_t done = 0; done < record.bytes && wanted;) {
    const bool nowhere = place >= limit || !source_.here(record);
    const std::uint64_t bytes = nowhere ? record.bytes - done : std::min(unit, record.bytes - done);
    wanted = joiner.add({.offset = saturating_add(offset, done),
                         .start = nowhere ? 0 : node_at(place),
                         .bytes = bytes,
                         .absent = nowhere});
    if (saturating_add(place, bytes) > source_.volume_bytes() && source_.here(record)) {
      const bool there = saturating_add(place, bytes) <= source_.view.bytes();
      find(there ? Severity::caution : Severity::fault, FindingCode::extent_beyond_end,
           node_at(record.place), record.all.size(),
           fmt::format("a file has {} bytes from byte {} of the volume on, which has {} bytes",
                       bytes, place, source_.volume_bytes()));
    }
    done += bytes;
    place = saturating_add(place, step);
  }
}

// Whether all bytes of a file lie side by side and where they may be: nothing has to be said.
bool Iso9660Volume::is_in_one_piece(const ParsedRecord& record) const {
  if (record.goes_on() || record.is_directory()) return false;
  if (record.bytes == 0) return true;
  const std::uint64_t place = source_.data_place(record);
  return record.unit_blocks == 0 && source_.here(record) &&
         fits_within(place, record.bytes, std::min(source_.view.bytes(), source_.volume_bytes()));
}

void Iso9660Volume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  ExtentJoiner joiner(visit);
  bool wanted = true;
  if (node == root()) {
    visit({.start = node_at(tree().root_place()), .bytes = tree().shape.root_bytes});
    return;
  }
  // Most often the entry that is just being visited.
  if (visited_ != nullptr && visited_->node == node && visited_->extent_known) {
    if (visited_->extent.bytes != 0) visit(visited_->extent);
    return;
  }
  SingleRecord section;
  if (!read_node(node, section) || section.get().is_parent()) return;
  if (section.begins_directory()) {
    visit({.start = node, .bytes = section.get().bytes});
    return;
  }
  // What makers store as the data of links and devices are somebody else's blocks.
  if (source_.rock_ridge_shown && !section.get().is_directory()) {
    NodeType type = NodeType::file;
    if (visited_ != nullptr && visited_->node == node && visited_->attributes_known) {
      type = visited_->attributes.type;
    } else {
      read_rock(section.get(), looked_up_);
      if (looked_up_.has_mode) type = type_of_mode(looked_up_.mode);
    }
    if (type != NodeType::file) return;
  }
  // Sections that together are larger than the volume cannot all be true.
  std::uint64_t room = std::max(source_.volume_bytes(), source_.view.bytes());
  SingleRecord next;
  for (std::uint64_t offset = 0; wanted;) {
    const ParsedRecord& record = section.get();
    if (record.bytes > room) {
      wanted = joiner.add({.offset = offset, .bytes = record.bytes, .absent = true});
    } else {
      add_section(record, offset, joiner, wanted);
      room -= record.bytes;
    }
    offset = saturating_add(offset, record.bytes);
    if (!wanted || !next_section(record, next)) break;
    section.keep(source_.dialect, next.get());
  }
  if (wanted) joiner.finish();
}

}  // namespace platter::filesystem::iso9660
