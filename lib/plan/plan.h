// A card and the regions on it.
//
// Two steps: read_plan() turns the text of a plan file into what is written there, resolve() fills
// in what was left out and checks the whole. Neither opens a file: what has to be known of the card
// and of the images is handed in, so the same plan can be judged with neither at hand.
// docs/plan-file.md describes the file.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/finding.h"
#include "plan/block_map.h"
#include "plan/geometry.h"
#include "plan/size.h"

namespace platter::plan {

/// Where something stands in the plan file, both counted from 1.
struct TextPlace {
  std::uint32_t line = 1;
  std::uint32_t column = 1;
  friend bool operator==(const TextPlace&, const TextPlace&) = default;
};

/// Why a plan file cannot be understood.
struct Complaint {
  TextPlace place;
  std::string message;
};

/// "PATH:LINE:COLUMN: MESSAGE", safe for a terminal.
[[nodiscard]] std::string complaint_text(std::string_view path, const Complaint& complaint);

/// A value and the place it was written at.
template <typename Value>
struct Written {
  Value value{};
  TextPlace place;
};
template <typename Value>
using MaybeWritten = std::optional<Written<Value>>;

enum class Device : std::uint8_t { disk, optical };
[[nodiscard]] std::string_view device_word(Device device) noexcept;

/// Ids of an 8-bit bus are 0 to 7, of a 16-bit bus 0 to 15.
enum class Bus : std::uint8_t { narrow, wide };
[[nodiscard]] constexpr std::uint64_t highest_bus_id(Bus bus) noexcept {
  return bus == Bus::wide ? 15 : 7;
}

/// As written: cylinders may be left out.
struct WrittenGeometry {
  std::optional<std::uint64_t> cylinders;
  std::uint64_t heads = 0;
  std::uint64_t sectors_per_track = 0;
};

struct WrittenRegion {
  TextPlace place;
  std::string name;
  Device device = Device::disk;
  MaybeWritten<std::uint64_t> bus_id;
  MaybeWritten<std::uint64_t> start;        ///< bytes
  MaybeWritten<std::uint64_t> align;        ///< bytes
  MaybeWritten<std::uint64_t> size;         ///< bytes
  MaybeWritten<std::uint64_t> block_bytes;  ///< what the emulated device reports
  MaybeWritten<WrittenGeometry> geometry;
  MaybeWritten<std::string> image;
  MaybeWritten<std::string> machine;
  MaybeWritten<std::string> label;  ///< format id of the label that the disk has or will get
};

struct WrittenPlan {
  MaybeWritten<std::string> card_path;
  MaybeWritten<std::uint64_t> card_size;  ///< bytes; from `size` or from `csd`
  std::uint64_t align = kMiB;             ///< bytes; for regions that do not say otherwise
  Bus bus = Bus::narrow;
  std::uint64_t initiator_id = 7;
  TextPlace card_place;
  std::vector<WrittenRegion> regions;
};

struct ReadPlan {
  WrittenPlan plan;
  std::vector<Complaint> complaints;  ///< in file order; the plan is of use only when empty
};

/// Reads the text of a plan file (TOML 1.0).
[[nodiscard]] ReadPlan read_plan(std::string_view text);

/// What somebody who looked at an image tells about it.
struct KnownImage {
  std::uint64_t bytes = 0;             ///< after containers are undone
  std::vector<std::string> container;  ///< outermost first, e.g. {"gzip"}; empty when plain
  std::string member;                  ///< inside an archive
  std::uint64_t claimed_bytes = 0;     ///< what its labels and filesystems say it needs
  std::string claimed_by;              ///< who says so, e.g. "Sun disk label"
  std::string label_format;            ///< format id of its outermost label, or ""
  std::optional<Geometry> geometry;    ///< of that label
  std::uint64_t block_bytes = 0;       ///< unit its content counts in, 0 when unknown
  std::string framing;                 ///< format id, "" when the sectors are plain
  std::string boot_verdict;  ///< for the region's machine: ready, incomplete, none; "" not judged
  std::string boot_reason;   ///< the first condition that does not hold
};

struct Known {
  std::optional<std::uint64_t> card_bytes;        ///< measured, when the card is at hand
  std::vector<std::optional<KnownImage>> images;  ///< one per region, in order; may be shorter
};

struct Region {
  std::string name;
  Device device = Device::disk;
  std::uint64_t bus_id = 0;
  std::uint64_t start = 0;  ///< bytes on the card
  std::uint64_t bytes = 0;
  std::uint64_t block_bytes = kBlockBytes;
  std::optional<Geometry> geometry;
  std::string image;  ///< as written; "" for a blank disk
  std::optional<KnownImage> known;
  std::string machine;
  std::string label;
  std::string disc;  ///< optical: the smallest disc that holds as much, "80-minute disc", or ""
  TextPlace place;

  // Filled in rather than written.
  bool start_filled = false;
  bool size_filled = false;
  bool cylinders_filled = false;
  bool bus_id_filled = false;

  [[nodiscard]] std::uint64_t end() const noexcept { return start + bytes; }
};

/// Bytes of the card that no region has.
using Gap = Extent;

struct Plan {
  std::string card_path;         ///< as written, may be ""
  std::uint64_t card_bytes = 0;  ///< the smaller one of measured and written
  std::optional<std::uint64_t> written_card_bytes;
  Bus bus = Bus::narrow;
  std::uint64_t initiator_id = 7;
  std::vector<Region> regions;    ///< in file order
  std::vector<Gap> gaps;          ///< ascending
  std::vector<Finding> findings;  ///< `layer` is the region's name, places are bytes of the card
};

struct Resolution {
  Plan plan;
  std::vector<Complaint> complaints;  ///< what could not be filled in; the plan is then incomplete
};

/// Fills in starts, sizes, cylinders and bus ids, and checks everything.
[[nodiscard]] Resolution resolve(const WrittenPlan& written, const Known& known);

/// The card as a block map: regions with their names, gaps between. Regions that do not start or
/// end at a whole block are widened to one; where two overlap, the earlier one in the file stands.
[[nodiscard]] BlockMap card_map(const Plan& plan);

/// A path of a plan, seen from where the plan file lies: absolute ones stay as they are.
[[nodiscard]] std::string beside(std::string_view plan_path, std::string_view path);

}  // namespace platter::plan
