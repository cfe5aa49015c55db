// The files of a filesystem: one read-only interface for all of them.
//
// A volume answers from the image whenever it is asked and keeps nothing that grows with the number
// of files. It hands out directory entries and extents one by one, so that a directory of a million
// names costs no more memory than one of ten. Everything on the image is hostile: a volume checks
// each number before it is used, reports what cannot be right as a finding, and goes on with what
// makes sense. What can loop or multiply (directories, file sizes, shared blocks) is bounded here
// or by whoever walks the tree (files/walk.h); each function says by whom.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/charset.h"
#include "core/facts.h"
#include "core/finding.h"
#include "core/function_ref.h"

namespace platter {

/// A file within its volume: an inode number, a cluster, the place of a directory record. Only the
/// volume that gave it knows what it means.
using NodeId = std::uint64_t;

enum class NodeType : std::uint8_t {
  file,
  directory,
  symlink,
  char_device,
  block_device,
  fifo,
  socket,
  unknown,  ///< the inode is free, damaged, or of a kind that no reader could use
};

/// "file", "directory", "symlink", "char-device", ...: the words of the JSON key `type`.
[[nodiscard]] std::string_view node_type_name(NodeType type) noexcept;

/// The type that a Unix mode word states in its upper bits (0170000); `unknown` for no such type.
[[nodiscard]] NodeType type_of_mode(std::uint32_t mode) noexcept;

struct DeviceNumber {
  std::uint32_t major = 0;
  std::uint32_t minor = 0;
  friend bool operator==(const DeviceNumber&, const DeviceNumber&) = default;
};

/// What a filesystem tells about a file. What it has no field for is left out, never made up.
struct Attributes {
  NodeType type = NodeType::unknown;
  std::uint64_t bytes = 0;                 ///< size as stated; may be absurd
  std::optional<std::uint32_t> mode = {};  ///< permission bits, 07777
  std::optional<std::uint32_t> uid = {};
  std::optional<std::uint32_t> gid = {};
  std::optional<std::uint32_t> links = {};
  std::optional<Timestamp> modified = {};
  std::optional<Timestamp> accessed = {};
  std::optional<Timestamp> changed = {};  ///< of the inode (ctime)
  std::optional<Timestamp> created = {};
  std::uint32_t modified_nanoseconds = 0;
  std::optional<DeviceNumber> device = {};
  /// Equal for all names of one file; 0 when the filesystem has no hard links.
  std::uint64_t identity = 0;
};

/// A run of a file's bytes and where it lies. Holes are gaps between extents: they read as zero.
struct Extent {
  std::uint64_t offset = 0;  ///< in the file
  std::uint64_t start = 0;   ///< in the image (see Claim); absent: not meaningful
  std::uint64_t bytes = 0;
  /// The bytes should be somewhere, but the pointer to them is nonsense or could not be read.
  bool absent = false;
};

/// One name in a directory. The views live as long as the visit.
struct Entry {
  std::string_view name;             ///< the bytes on the disk, without padding
  Charset charset = Charset::ascii;  ///< how they are to be read
  NodeId node = 0;
  std::uint64_t place = 0;  ///< image byte of the entry; for findings
  /// What attributes() would say of the node, where the entry itself tells; else null.
  const Attributes* attributes = nullptr;
  /// The one extent that each_extent() would visit, of 0 bytes for none at all, where the entry
  /// itself tells; else null.
  const Extent* extent = nullptr;
  /// The name is_plain_name(), as the volume found out already; false says nothing.
  bool plain = false;
};

enum class BlockUse : std::uint8_t { free, used, metadata, bad };

/// A run of bytes of the image and what the volume's own maps say about it.
struct BlockRun {
  std::uint64_t start = 0;
  std::uint64_t bytes = 0;
  BlockUse use = BlockUse::free;
};

/// Which of several sets of names an optical volume shows.
enum class NameView : std::uint8_t { best, plain, rock_ridge, joliet };

struct VolumeOptions {
  NameView names = NameView::best;
  /// How names are read when the filesystem declares nothing (FAT short names, Unix names).
  std::optional<Charset> charset = {};
};

/// The files of one filesystem. Not for several threads at once. Only IoError is ever thrown.
class Volume {
 public:
  Volume() = default;
  Volume(const Volume&) = delete;
  Volume& operator=(const Volume&) = delete;
  virtual ~Volume() = default;

  [[nodiscard]] virtual NodeId root() const = 0;

  /// What is known of a node. A node that cannot be one has the type `unknown`.
  [[nodiscard]] virtual Attributes attributes(NodeId node) = 0;

  /// Visits the names in a directory in the order of the disk, "." and ".." left out, until `visit`
  /// returns false. A node that is no directory has none. Bounded by the directory's bytes that are
  /// really there; does not notice loops of directories, which is the walker's part.
  virtual void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) = 0;

  /// Visits where a file's bytes lie, by rising offset and without overlap, until `visit` returns
  /// false. Also for directories. Extents reach at most to the file's stated size; neighbours on
  /// the disk need not be joined (see ExtentJoiner). What a file maps is bounded by the blocks of
  /// its volume. Short content inside an inode is an extent too.
  virtual void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) = 0;

  /// Visits the blocks that a file owns besides those of its extents: blocks that lead to its bytes
  /// (indirect blocks), attributes in blocks of their own, whole units that are allotted behind its
  /// end. Offsets are 0.
  virtual void each_further_block(NodeId /*node*/, FunctionRef<bool(const Extent&)> /*visit*/) {}

  /// Where a symbolic link leads, as on the disk; "" for other nodes.
  [[nodiscard]] virtual std::string link_target(NodeId node) = 0;

  /// Visits what the volume's maps say about its blocks, by rising place and without gap, from its
  /// first byte to its last. Nothing is visited by a volume that has no such maps.
  virtual void each_run(FunctionRef<bool(const BlockRun&)> /*visit*/) {}

  /// Compares the volume's own records with one another (counts, maps, copies), as find()ings.
  /// What needs a walk over all files is files/check.h.
  virtual void check_records() {}

  /// Whether Attributes::links is meant to be the number of names that lead to a file. Makers of
  /// optical discs write what the files had where they came from.
  [[nodiscard]] virtual bool counts_names() const { return true; }

  /// Bytes of the unit in which space is given to files; 0 when unknown.
  [[nodiscard]] virtual std::uint64_t unit_bytes() const { return 0; }
  /// Where the first such unit begins, in bytes of the volume.
  [[nodiscard]] virtual std::uint64_t unit_origin() const { return 0; }

  /// Findings since the last call, each place and code once.
  [[nodiscard]] std::vector<Finding> take_findings();

 protected:
  /// Reports what cannot be right at an image byte. Repeated and excessive reports are dropped; the
  /// last one then says how many.
  void find(Severity severity, FindingCode code, std::uint64_t at, std::uint64_t bytes,
            std::string message);

 private:
  std::vector<Finding> findings_;
  std::uint64_t dropped_ = 0;
};

/// Joins extents that follow one another both in the file and on the disk. Absent ones join absent
/// ones. finish() hands out the last; both return false when the visitor wants no more.
class ExtentJoiner {
 public:
  explicit ExtentJoiner(FunctionRef<bool(const Extent&)> visit) noexcept : visit_(visit) {}
  bool add(const Extent& next) {
    if (next.bytes == 0) return true;
    const bool follows = next.absent == held_.absent && held_.offset + held_.bytes == next.offset &&
                         (next.absent || held_.start + held_.bytes == next.start);
    if (held_.bytes != 0 && follows) {
      held_.bytes += next.bytes;
      return true;
    }
    const bool go_on = finish();
    held_ = next;
    return go_on;
  }
  bool finish() {
    if (held_.bytes == 0) return true;
    const bool go_on = visit_(held_);
    held_.bytes = 0;
    return go_on;
  }

 private:
  FunctionRef<bool(const Extent&)> visit_;
  Extent held_;
};

/// Joins runs of equal use that follow one another.
class RunJoiner {
 public:
  explicit RunJoiner(FunctionRef<bool(const BlockRun&)> visit) noexcept : visit_(visit) {}
  bool add(const BlockRun& next) {
    if (next.bytes == 0) return true;
    if (held_.bytes != 0 && held_.use == next.use && held_.start + held_.bytes == next.start) {
      held_.bytes += next.bytes;
      return true;
    }
    const bool go_on = finish();
    held_ = next;
    return go_on;
  }
  bool finish() {
    if (held_.bytes == 0) return true;
    const bool go_on = visit_(held_);
    held_.bytes = 0;
    return go_on;
  }

 private:
  FunctionRef<bool(const BlockRun&)> visit_;
  BlockRun held_;
};

}  // namespace platter
