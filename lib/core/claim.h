// What one format says about a range of bytes.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/facts.h"
#include "core/finding.h"
#include "core/record.h"
#include "core/view.h"
#include "core/volume.h"

namespace platter {

/// How sure a format is. `shape` claims (no magic, only plausible) never stand beside better ones.
enum class Strength : std::uint8_t {
  shape,   ///< looks like it, nothing proves it
  magic,   ///< the magic is right, other fields contradict it
  sane,    ///< the magic and the fields that must agree with it
  proven,  ///< a checksum, or several independent structures, agree
};

/// What a slice is for; decides which slices may overlap and what is looked for inside.
enum class SliceRole : std::uint8_t {
  data,
  swap,
  whole_disk,  ///< spans the disk by custom; overlaps everything
  container,   ///< holds other slices of the same label (an MBR extended partition)
  metadata,    ///< the label's own blocks (volume header, partition map)
  file,        ///< a file in a label's directory (SGI volume directory, LIF)
  unused,      ///< declared free
};

/// One byte range that a label gives a name or a number.
struct Slice {
  std::string id;           ///< the part of the layer id: "a", "1", "sash"
  std::uint64_t start = 0;  ///< image bytes, as the label says
  std::uint64_t bytes = 0;  ///< as the label says, even past the end of the image
  SliceRole role = SliceRole::data;
  std::optional<std::uint64_t> type;  ///< the label's type code where it has one
  Facts facts;                        ///< name, type, type_name first
};

/// What a format found. All places are image bytes.
struct Claim {
  Strength strength = Strength::sane;
  std::uint64_t start = 0;
  std::uint64_t bytes = 0;  ///< label: the disk it describes; filesystem: the volume it claims
  std::string title;        ///< a few words for a person, e.g. "Sun disk label"
  Facts facts;
  std::vector<RecordData> records;
  std::vector<Finding> findings;
  std::vector<Slice> slices;                 ///< labels; boot catalogs: their images
  std::shared_ptr<const ByteSource> framed;  ///< framing only: the bytes behind it

  /// Adds a finding at [start, start + bytes) of the image.
  void find(Severity severity, FindingCode code, std::uint64_t at, std::uint64_t length,
            std::string message) {
    findings.push_back({severity, code, {}, at, length, std::move(message)});
  }
};

/// What a format may know of the place it looks at.
struct Context {
  View image = {};                     ///< everything behind the framing
  const Slice* slice = nullptr;        ///< the slice looked into; nullptr for the image itself
  std::string_view label_format = {};  ///< the label that made the slice, e.g. "mbr"
  /// Stage::boot only: the label or filesystem claim below which boot code is looked for, with its
  /// format's id; nullptr when the image itself or a slice is looked into.
  const Claim* below = nullptr;
  std::string_view below_format = {};
};

/// Boot formats are asked three times: about the image, about every slice that is looked into, and
/// (with Context::below) about every label and filesystem that was found. Most answer to one of
/// them only.
enum class Stage : std::uint8_t { framing, label, filesystem, boot };

/// One row of the registry: how a format is recognised and, for filesystems, opened.
struct Format {
  std::string_view id;     ///< released format id, e.g. "sun"
  std::string_view title;  ///< e.g. "Sun disk label"
  Stage stage = Stage::label;
  /// Labels: looked for inside slices too. Filesystems: belongs to the whole image even when a
  /// slice starts at the same byte (optical volumes).
  bool inside_slices = false;
  bool of_whole_image = false;
  /// Every claim this format can make on the view. Not this format: an empty vector, nothing
  /// allocated. May throw IoError; never anything else.
  std::vector<Claim> (*claims)(const View& view, const Context& context) = nullptr;
  /// Opens a filesystem that claims() found at the start of `view`; nullptr when files cannot be
  /// listed (identification only).
  std::unique_ptr<Volume> (*open)(const View& view, const VolumeOptions& options) = nullptr;
};

}  // namespace platter
