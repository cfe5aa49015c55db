// Filling in what a plan leaves out.
#include <algorithm>
#include <bitset>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/numbers.h"
#include "plan/capacity.h"
#include "plan/check.h"
#include "plan/plan.h"

namespace platter::plan {
namespace {

std::uint64_t aligned_up(std::uint64_t position, std::uint64_t align) {
  return saturating_mul(divide_up(position, align), align);
}

// Fills regions in one after the other; each may depend on the one before.
class Filler {
 public:
  Filler(const WrittenPlan& written, const Known& known, Resolution& result)
      : written_(written), known_(known), result_(result) {}

  void run() {
    fill_card();
    for (std::size_t i = 0; i < written_.regions.size(); ++i)
      fill_region(i);
    fill_bus_ids();
  }

 private:
  Plan& plan() { return result_.plan; }

  void complain(TextPlace place, std::string message) {
    result_.complaints.push_back({place, std::move(message)});
  }

  void fill_card() {
    plan().bus = written_.bus;
    plan().initiator_id = written_.initiator_id;
    if (written_.card_path) plan().card_path = written_.card_path->value;
    if (written_.card_size) plan().written_card_bytes = written_.card_size->value;
    if (!written_.card_size && !known_.card_bytes) {
      complain(written_.card_place,
               "the size of the card is neither stated nor can it be measured; "
               "give [card] a size");
    }
    plan().card_bytes = std::min(plan().written_card_bytes.value_or(kLargest),
                                 known_.card_bytes.value_or(kLargest));
  }

  void fill_region(std::size_t index) {
    const WrittenRegion& from = written_.regions[index];
    Region region;
    region.name = from.name;
    region.device = from.device;
    region.place = from.place;
    region.block_bytes = from.device == Device::optical ? kOpticalBytes : kBlockBytes;
    if (from.block_bytes) region.block_bytes = from.block_bytes->value;
    if (from.image) region.image = from.image->value;
    if (from.machine) region.machine = from.machine->value;
    if (from.image && index < known_.images.size()) region.known = known_.images[index];
    if (from.label) {
      region.label = from.label->value;
    } else if (region.known) {
      region.label = region.known->label_format;
    }
    fill_size(region, from);
    fill_start(region, from);
    fill_geometry(region, from);
    if (region.device == Device::optical) {
      if (const Disc* disc = smallest_disc(region.bytes)) region.disc = disc->name;
    }
    plan().regions.push_back(std::move(region));
  }

  void fill_size(Region& region, const WrittenRegion& from) {
    if (from.size) {
      region.bytes = from.size->value;
      return;
    }
    region.size_filled = true;
    if (from.geometry && from.geometry->value.cylinders) {
      const WrittenGeometry& geometry = from.geometry->value;
      region.bytes = saturating_mul(*geometry.cylinders, geometry.heads, geometry.sectors_per_track,
                                    kBlockBytes);
    } else if (region.known && region.known->bytes > 0) {
      region.bytes = aligned_up(region.known->bytes, region.block_bytes);
    } else if (region.known) {
      complain(from.place, fmt::format("region '{}' has no size, and its image is empty",
                                       printable(from.name)));
    } else {
      complain(from.place,
               fmt::format("region '{}' has no size, and no {} to take it from",
                           printable(from.name), from.image ? "readable image" : "image"));
    }
  }

  void fill_start(Region& region, const WrittenRegion& from) {
    if (from.start) {
      region.start = from.start->value;
    } else {
      const std::uint64_t before = plan().regions.empty() ? 0 : plan().regions.back().end();
      region.start = aligned_up(before, from.align ? from.align->value : written_.align);
      region.start_filled = true;
    }
    if (saturating_add(region.start, region.bytes) == kLargest) {
      complain(from.size ? from.size->place : from.place,
               fmt::format("region '{}' ends past what 64 bits can hold", printable(from.name)));
      region.start = 0;
      region.bytes = 0;
    }
  }

  void fill_geometry(Region& region, const WrittenRegion& from) {
    if (!from.geometry) return;
    const WrittenGeometry& geometry = from.geometry->value;
    region.geometry = Geometry{0, geometry.heads, geometry.sectors_per_track};
    region.cylinders_filled = !geometry.cylinders.has_value();
    region.geometry->cylinders = geometry.cylinders.value_or(region.bytes / kBlockBytes /
                                                             region.geometry->cylinder_blocks());
  }

  // The lowest ids that nobody asked for; when none is left, the check reports the clash.
  void fill_bus_ids() {
    std::bitset<16> taken;
    taken.set(written_.initiator_id);
    for (const WrittenRegion& from : written_.regions) {
      if (from.bus_id) taken.set(from.bus_id->value);
    }
    for (std::size_t i = 0; i < plan().regions.size(); ++i) {
      Region& region = plan().regions[i];
      if (written_.regions[i].bus_id) {
        region.bus_id = written_.regions[i].bus_id->value;
        continue;
      }
      region.bus_id_filled = true;
      while (region.bus_id < highest_bus_id(written_.bus) && taken.test(region.bus_id)) {
        ++region.bus_id;
      }
      taken.set(region.bus_id);
    }
  }

  const WrittenPlan& written_;
  const Known& known_;
  Resolution& result_;
};

std::vector<Gap> gaps_of(const Plan& plan) {
  std::vector<Extent> taken;
  for (const Region& region : plan.regions) {
    if (region.bytes > 0) taken.push_back({region.start, region.bytes});
  }
  std::ranges::sort(taken, {}, &Extent::start);
  std::vector<Gap> gaps;
  std::uint64_t at = 0;
  for (const Extent& extent : taken) {
    const std::uint64_t until = std::min(extent.start, plan.card_bytes);
    if (until > at) gaps.push_back({at, until - at});
    at = std::max(at, extent.start + extent.bytes);
  }
  if (plan.card_bytes > at) gaps.push_back({at, plan.card_bytes - at});
  return gaps;
}

}  // namespace

std::string_view device_word(Device device) noexcept {
  return device == Device::optical ? "optical" : "disk";
}

Resolution resolve(const WrittenPlan& written, const Known& known) {
  Resolution result;
  Filler(written, known, result).run();
  if (!result.complaints.empty()) return result;
  result.plan.gaps = gaps_of(result.plan);
  result.plan.findings = check_plan(result.plan);
  return result;
}

BlockMap card_map(const Plan& plan) {
  BlockMap map;
  for (const Region& region : plan.regions) {
    const std::uint64_t first = region.start / kBlockBytes;
    BlockMap one;
    one.paint(
        {first, divide_up(region.end(), kBlockBytes) - first, BlockState::region, region.name});
    map = united(map, one);  // what the map has already stands
  }
  return united(map, complement(map, plan.card_bytes / kBlockBytes, BlockState::gap));
}

std::string beside(std::string_view plan_path, std::string_view path) {
  const std::size_t slash = plan_path.rfind('/');
  if (path.starts_with('/') || slash == std::string_view::npos) return std::string(path);
  return std::string(plan_path.substr(0, slash + 1)) + std::string(path);
}

}  // namespace platter::plan
