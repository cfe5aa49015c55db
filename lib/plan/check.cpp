#include "plan/check.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/numbers.h"
#include "plan/capacity.h"

namespace platter::plan {
namespace {

/// READ(6) and WRITE(6) have 21 bits of block address (X3.131-1994).
constexpr std::uint64_t kSixByteBlocks = std::uint64_t{1} << 21;
constexpr std::uint64_t kSigned32Bytes = std::uint64_t{1} << 31;

// Families whose firmware asks an optical drive for 512-byte blocks. Common practice, no source;
// what stands before the first hyphen of a machine's name decides.
constexpr std::array<std::string_view, 7> kAsksFor512 = {"sparc", "m68k",  "mips", "mipsel",
                                                         "vax",   "alpha", "hppa"};

bool asks_for_512(std::string_view machine) {
  const std::string_view family = machine.substr(0, machine.find('-'));
  return std::ranges::find(kAsksFor512, family) != kAsksFor512.end();
}

std::string quoted(std::string_view name) {
  return fmt::format("'{}'", printable(name));
}

std::string both(std::uint64_t bytes) {
  return fmt::format("{} ({})", in_blocks(bytes), readable_size(bytes));
}

std::string in_words(const Geometry& geometry) {
  return fmt::format("{} x {} x {}", geometry.cylinders, geometry.heads,
                     geometry.sectors_per_track);
}

class Checker {
 public:
  explicit Checker(const Plan& plan) : plan_(plan) {}

  std::vector<Finding> run() {
    check_card();
    for (std::size_t i = 0; i < plan_.regions.size(); ++i)
      check_region(i);
    return std::move(findings_);
  }

 private:
  void find(Severity severity, FindingCode code, const Region& region, Extent place,
            std::string message) {
    findings_.push_back(
        {severity, code, region.name, place.start, place.bytes, std::move(message)});
  }

  void find(Severity severity, FindingCode code, const Region& region, std::string message) {
    find(severity, code, region, {region.start, region.bytes}, std::move(message));
  }

  // Both sizes known and different: plan.card_bytes is the smaller one.
  void check_card() {
    if (!plan_.written_card_bytes || *plan_.written_card_bytes == plan_.card_bytes) return;
    findings_.push_back({Severity::caution,
                         FindingCode::region_beyond_card,
                         {},
                         plan_.card_bytes,
                         *plan_.written_card_bytes - plan_.card_bytes,
                         fmt::format("the plan states a card of {}, the card at hand has {}",
                                     both(*plan_.written_card_bytes), both(plan_.card_bytes))});
  }

  void check_region(std::size_t index) {
    const Region& region = plan_.regions[index];
    check_place(region, index);
    check_alignment(region);
    check_bus_id(region, index);
    check_geometry(region);
    if (region.known) check_image(region, *region.known);
    if (region.device == Device::disk) {
      check_reach(region);
    } else {
      check_optical(region);
    }
  }

  void check_place(const Region& region, std::size_t index) {
    for (std::size_t i = 0; i < index; ++i) {
      const Region& other = plan_.regions[i];
      const std::uint64_t from = std::max(region.start, other.start);
      const std::uint64_t until = std::min(region.end(), other.end());
      if (from >= until) continue;
      find(Severity::fault, FindingCode::region_overlap, region, {from, until - from},
           fmt::format("{} shares {} with {}, from byte {} of the card on", quoted(region.name),
                       both(until - from), quoted(other.name), from));
    }
    if (region.end() > plan_.card_bytes) {
      const std::uint64_t beyond = std::max(region.start, plan_.card_bytes);
      find(Severity::fault, FindingCode::region_beyond_card, region,
           {beyond, region.end() - beyond},
           fmt::format("{} ends {} past the end of the card, which has {}", quoted(region.name),
                       both(region.end() - plan_.card_bytes), both(plan_.card_bytes)));
    }
  }

  void check_alignment(const Region& region) {
    const auto check = [&](std::string_view what, std::uint64_t bytes) {
      if (bytes % region.block_bytes == 0) return;
      find(Severity::fault, FindingCode::region_misaligned, region,
           fmt::format("{} {} {}, no whole number of its blocks of {} bytes", quoted(region.name),
                       what, bytes, region.block_bytes));
    };
    check("starts at byte", region.start);
    check("has a size in bytes of", region.bytes);
  }

  void check_bus_id(const Region& region, std::size_t index) {
    if (region.bus_id == plan_.initiator_id) {
      find(Severity::caution, FindingCode::bus_id_reserved, region,
           fmt::format("{} has bus id {}, which the host adapter usually has itself",
                       quoted(region.name), region.bus_id));
    }
    for (std::size_t i = 0; i < index; ++i) {
      const Region& other = plan_.regions[i];
      if (other.bus_id != region.bus_id) continue;
      const std::string_view filled =
          region.bus_id_filled ? "; no other id of this bus is left" : "";
      find(Severity::fault, FindingCode::bus_id_clash, region,
           fmt::format("{} and {} both have bus id {}{}", quoted(other.name), quoted(region.name),
                       region.bus_id, filled));
      return;
    }
  }

  void check_geometry(const Region& region) {
    if (!region.geometry) return;
    const Geometry& geometry = *region.geometry;
    check_product(region, geometry);
    check_widths(region, geometry);
    if (!region.known || !region.known->geometry) return;
    const Geometry& label = *region.known->geometry;
    if (label.heads == geometry.heads && label.sectors_per_track == geometry.sectors_per_track) {
      return;
    }
    find(Severity::caution, FindingCode::geometry_differs, region,
         fmt::format("{} is planned with {} heads and {} sectors per track, the label of its image "
                     "has {} and {}",
                     quoted(region.name), geometry.heads, geometry.sectors_per_track, label.heads,
                     label.sectors_per_track));
  }

  // Cylinders that follow from the size cannot be too many, and nearly always leave a rest.
  void check_product(const Region& region, const Geometry& geometry) {
    const std::uint64_t blocks = region.bytes / kBlockBytes;
    const std::uint64_t product = geometry.blocks();
    if (product == 0) {
      find(Severity::fault, FindingCode::geometry_differs, region,
           fmt::format("a cylinder of {} heads and {} sectors per track has {} blocks, {} only {}",
                       geometry.heads, geometry.sectors_per_track, geometry.cylinder_blocks(),
                       quoted(region.name), blocks));
    } else if (product > blocks) {
      find(Severity::fault, FindingCode::geometry_differs, region,
           fmt::format("{} describe {} blocks, {} has only {}", in_words(geometry), product,
                       quoted(region.name), in_blocks(region.bytes)));
    } else if (product < blocks) {
      find(region.cylinders_filled ? Severity::note : Severity::caution,
           FindingCode::geometry_differs, region,
           {region.start + product * kBlockBytes, region.bytes - product * kBlockBytes},
           fmt::format("{} describe {} of the {} blocks of {}; {} are out of its reach",
                       in_words(geometry), product, blocks, quoted(region.name), blocks - product));
    }
  }

  void check_widths(const Region& region, const Geometry& geometry) {
    if (geometry.cylinders > kMaxCylinders) {
      find(Severity::fault, FindingCode::geometry_differs, region,
           fmt::format("{} has {} cylinders, mode page 04h can say at most {}", quoted(region.name),
                       geometry.cylinders, kMaxCylinders));
    }
    const LabelWidths* widths = find_label_widths(region.label);
    if (widths == nullptr) return;
    const auto compare = [&](std::string_view what, std::uint64_t value, std::uint64_t most) {
      if (value <= most) return;
      find(Severity::fault, FindingCode::geometry_differs, region,
           fmt::format("{} has {} {}, the fields of its {} can say at most {}", quoted(region.name),
                       value, what, widths->title, most));
    };
    compare("cylinders", geometry.cylinders, widths->max_cylinders);
    compare("heads", geometry.heads, widths->max_heads);
    compare("sectors per track", geometry.sectors_per_track, widths->max_sectors);
  }

  void check_image(const Region& region, const KnownImage& image) {
    if (image.framing.starts_with("swap")) {
      find(Severity::fault, FindingCode::bytes_swapped, region,
           fmt::format("the bytes of the image of {} are swapped ({}); make the plain image with "
                       "'platter plain' and place that",
                       quoted(region.name), image.framing));
    } else if (!image.framing.empty()) {
      find(Severity::fault, FindingCode::block_size_mismatch, region,
           fmt::format("the image of {} holds whole sectors with their frames ({}); make the plain "
                       "image with 'platter frames --plain' and place that",
                       quoted(region.name), image.framing));
    }
    if (image.bytes > region.bytes) {
      find(Severity::fault, FindingCode::region_too_small, region,
           fmt::format("the image of {} has {}, the region {}; {} are missing", quoted(region.name),
                       both(image.bytes), both(region.bytes), both(image.bytes - region.bytes)));
    }
    if (image.claimed_bytes > region.bytes) {
      find(Severity::fault, FindingCode::region_too_small, region,
           fmt::format("the {} of the image of {} describes {}, the region has {}; {} are missing",
                       image.claimed_by.empty() ? "label or filesystem" : image.claimed_by,
                       quoted(region.name), both(image.claimed_bytes), both(region.bytes),
                       both(image.claimed_bytes - region.bytes)));
    }
    if (image.bytes % region.block_bytes != 0) {
      find(Severity::caution, FindingCode::image_odd_size, region,
           fmt::format("the image of {} has {} bytes, no whole number of blocks of {} bytes",
                       quoted(region.name), image.bytes, region.block_bytes));
    }
    if (region.device == Device::disk && image.block_bytes > region.block_bytes) {
      find(Severity::note, FindingCode::block_size_mismatch, region,
           fmt::format("the image of {} counts in blocks of {} bytes, the disk reports {}",
                       quoted(region.name), image.block_bytes, region.block_bytes));
    }
    if (!region.machine.empty() && !image.boot_verdict.empty() && image.boot_verdict != "ready") {
      find(Severity::fault, FindingCode::boot_missing, region,
           fmt::format("a {} would not start from {}{}{}", printable(region.machine),
                       quoted(region.name), image.boot_reason.empty() ? "" : ": ",
                       image.boot_reason));
    }
  }

  void check_reach(const Region& region) {
    const std::uint64_t blocks = region.bytes / region.block_bytes;
    if (blocks > kSixByteBlocks) {
      const std::uint64_t reached = kSixByteBlocks * region.block_bytes;
      find(Severity::caution, FindingCode::reach_6_byte, region,
           {region.start + reached, region.bytes - reached},
           fmt::format("{} has {} blocks, commands of 6 bytes reach the first {}",
                       quoted(region.name), blocks, kSixByteBlocks));
    }
    if (region.bytes > kSigned32Bytes) {
      find(Severity::caution, FindingCode::reach_2gib, region,
           {region.start + kSigned32Bytes, region.bytes - kSigned32Bytes},
           fmt::format("{} has {}, signed 32-bit byte offsets reach the first 2.00 GiB",
                       quoted(region.name), both(region.bytes)));
    }
  }

  void check_optical(const Region& region) {
    if (region.block_bytes != kOpticalBytes && region.block_bytes != kBlockBytes) {
      find(Severity::fault, FindingCode::block_size_mismatch, region,
           fmt::format("{} is an optical drive of {} bytes a block; such drives report 2048 or 512",
                       quoted(region.name), region.block_bytes));
    }
    if (region.disc.empty()) {
      const Disc& largest = known_discs().back();
      find(Severity::caution, FindingCode::block_size_mismatch, region,
           fmt::format("{} has {}, more than the {} sectors of an {}", quoted(region.name),
                       both(region.bytes), largest.sectors(), largest.name));
    }
    check_optical_blocks(region);
  }

  void check_optical_blocks(const Region& region) {
    const bool asks = asks_for_512(region.machine);
    if (asks && region.block_bytes == kOpticalBytes) {
      find(Severity::note, FindingCode::block_size_mismatch, region,
           fmt::format("{} reports 2048 bytes a block; the firmware of a {} mostly asks optical "
                       "drives for 512 (common practice)",
                       quoted(region.name), printable(region.machine)));
      return;
    }
    if (!region.known || region.known->block_bytes == 0) return;
    if (region.known->block_bytes < region.block_bytes) {
      find(Severity::note, FindingCode::block_size_mismatch, region,
           fmt::format(
               "the image of {} counts in blocks of {} bytes, the drive reports {}; firmware "
               "that reads such a label mostly wants {} (common practice)",
               quoted(region.name), region.known->block_bytes, region.block_bytes,
               region.known->block_bytes));
    } else if (region.known->block_bytes > region.block_bytes && !asks) {
      find(Severity::note, FindingCode::block_size_mismatch, region,
           fmt::format("the image of {} counts in blocks of {} bytes, the drive reports {}",
                       quoted(region.name), region.known->block_bytes, region.block_bytes));
    }
  }

  const Plan& plan_;
  std::vector<Finding> findings_;
};

}  // namespace

std::vector<Finding> check_plan(const Plan& plan) {
  return Checker(plan).run();
}

}  // namespace platter::plan
