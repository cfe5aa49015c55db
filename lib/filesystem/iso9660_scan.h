// A walk over all directory records of a tree as they lie on the disk, for maps and checks.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "core/function_ref.h"
#include "filesystem/iso9660_volume.h"

namespace platter::filesystem::iso9660 {

/// A directory on a scan. Places are bytes in the view.
struct ScannedDirectory {
  std::uint64_t place = 0;
  std::uint64_t bytes = 0;   ///< as the record above says; the root's: its descriptor
  std::uint64_t extent = 0;  ///< block, attribute record included
  std::uint64_t parent = 0;  ///< block of the directory that holds its record
  std::uint64_t attribute_blocks = 0;
  std::uint64_t record = 0;  ///< place of its record in the directory above
  std::vector<std::byte> identifier;
};

struct ScanVisitor {
  /// Each directory once, when it is entered; and the length that it gives for itself.
  FunctionRef<void(const ScannedDirectory&, std::uint64_t own_bytes)> directory;
  /// What is no record; the reader says why.
  FunctionRef<void(const DirectoryReader&)> broken;
  /// Each record in it, those for itself and its parent too, with the areas that continue its
  /// system use field.
  FunctionRef<void(const ScannedDirectory&, const ParsedRecord&, const RockFields&,
                   std::span<const ContinuationArea>)>
      record;
};

/// Walks the directories that directory records name; relocated ones come where they lie. One that
/// was entered before is not entered again, one without a record of itself not at all. What it
/// keeps is bounded by the directories that are really there, at least a sector each.
void scan_tree(const VolumeSource& source, const DirectoryTree& tree, const ScanVisitor& visitor);

/// Whether the directory at that byte of the view begins with a record of itself.
[[nodiscard]] bool directory_begins(const VolumeSource& source, std::uint64_t place,
                                    SingleRecord& self);

}  // namespace platter::filesystem::iso9660
