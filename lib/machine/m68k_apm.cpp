// 68k machines whose ROM reads an APM: a driver from block 0, then the boot blocks of an HFS slice.
#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "machine/apm_subject.h"
#include "machine/judging.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

// Code is looked for in so much of a range; more would only cost time.
constexpr std::uint64_t kLookedAt = std::uint64_t{1} << 20U;
constexpr std::uint64_t kFor68k = 1;           // system type of a driver descriptor
constexpr std::uint64_t kBootBlocks = 0x4C4B;  // first two bytes of a volume that starts
constexpr std::uint64_t kValidAndAllocated = 0x03;

constexpr Condition kDriver{"driver-for-68k", "block 0 names a driver of system type 1",
                            "NetBSD sys/sys/bootblock.h, driver descriptor", true, true};
constexpr Condition kInside{"driver-inside", "that driver lies in the image and is not all zero",
                            "NetBSD sys/sys/bootblock.h, driver descriptor"};
constexpr Condition kSum{"driver-checksum",
                         "the driver's checksum is right, where the slice's name asks for it",
                         "technical note DV 12 of the machines' maker (1989)"};
constexpr Condition kSlice{"hfs-slice", "the map has a slice of an HFS volume",
                           "from memory; no source at hand"};
constexpr Condition kStart{"hfs-boot-blocks", "the HFS slice begins with 4C 4B",
                           "from memory; no source at hand", true, true};
constexpr Condition kStatus{"slice-status", "the HFS slice is marked valid and allocated",
                            "NetBSD sys/sys/bootblock.h, status bits", false};

std::optional<std::size_t> driver_for_68k(const ApmSubject& apm) {
  for (std::size_t i = 0; i < apm.boot.codes.size(); ++i) {
    if (apm.boot.codes[i].driver && apm.boot.codes[i].system == kFor68k) return i;
  }
  return std::nullopt;
}

void judge_sum(Judging& judging, const ApmSubject& apm, const boot::ApmCode& code) {
  if (!code.entry) {
    judging.add(kSum, true, code.start, code.bytes, "no slice covers the driver; no sum is kept");
    return;
  }
  const auto& entry = apm.boot.map.entries[*code.entry];
  const bool asked = boot::rom_verifies_sum(entry) && code.has_boot_code;
  const std::uint64_t stored = entry.get<"boot_checksum">();
  const std::string detail =
      !asked ? "the slice's name does not ask for it"
      : code.sum == boot::SumState::good || code.sum == boot::SumState::bad
          ? fmt::format("stored 0x{:04X}, computed 0x{:04X}", stored, code.computed)
          : fmt::format("stored 0x{:04X}, not computed: the code is not there or very long",
                        stored);
  judging.add(kSum, !asked || code.sum == boot::SumState::good, entry.place_of<"boot_checksum">(),
              4, detail, "install the driver again; some ROMs do not look at the sum");
}

void judge_driver(Judging& judging, const ApmSubject& apm, const View& image) {
  const auto found = driver_for_68k(apm);
  const std::uint64_t count = apm.boot.drivers.get<"drivers">();
  judging.add(kDriver, found.has_value(), apm.boot.drivers.place_of<"drivers">(), 2,
              found ? fmt::format("driver {} of {}", *apm.boot.codes[*found].driver + 1, count)
                    : fmt::format("{} drivers, none of system type 1", count),
              "install a driver and name it in block 0");
  if (!found) {
    for (const Condition* condition : {&kInside, &kSum}) {
      judging.add(*condition, false, apm.boot.drivers.place_of<"drivers">(), 2,
                  "there is no such driver", "install a driver and name it in block 0");
    }
    return;
  }
  const boot::ApmCode& code = apm.boot.codes[*found];
  const std::uint64_t offset = code.start - image.start();
  const bool inside = fits_within(offset, code.bytes, image.bytes()) &&
                      !all_zero(image, offset, std::min(code.bytes, kLookedAt));
  judging.add(kInside, inside, code.start, code.bytes,
              fmt::format("{} bytes from byte {} on", code.bytes, code.start),
              "install the driver, or get a complete copy");
  judge_sum(judging, apm, code);
}

void judge_volume(Judging& judging, const ApmSubject& apm, const View& image) {
  const auto found = apm_slice_of(apm, "hfs");
  judging.add(kSlice, found.has_value(), apm.map_at, apm.unit,
              found ? fmt::format("entry {}", *found + 1)
                    : fmt::format("{} entries, none for HFS", apm.boot.map.entries.size()),
              "add a slice with an HFS volume");
  if (!found) {
    judging.add(kStart, false, apm.map_at, apm.unit, "there is no HFS slice",
                "add a slice with an HFS volume");
    return;
  }
  const auto& entry = apm.boot.map.entries[*found];
  const std::uint64_t start = saturating_mul(entry.get<"first">(), apm.unit);
  const std::uint64_t first = image.number(start, 2, ByteOrder::big);
  judging.add(kStart, first == kBootBlocks, saturating_add(image.start(), start), 2,
              fmt::format("found 0x{:04X}", first),
              "install a system on the volume, which writes its boot blocks");
  judging.add(kStatus, (entry.get<"status">() & kValidAndAllocated) == kValidAndAllocated,
              entry.place_of<"status">(), 4, fmt::format("status 0x{:X}", entry.get<"status">()),
              "write the slice's entry again");
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  const View& image = subject.image;
  Judging judging("m68k-apm", as);
  const ApmSubject apm = read_apm(subject);
  add_apm_signatures(judging, apm, image);
  // Without any signature what reads like a driver or a volume is coincidence.
  if (!apm.has_driver_magic() && !apm.has_map()) judging.rule_out();
  judge_driver(judging, apm, image);
  judge_volume(judging, apm, image);
  if (as == BootAs::optical && apm.has_map()) add_block_size(judging, apm.map_at, apm.unit);
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine m68k_apm;
const Machine m68k_apm = {"m68k-apm", "ROM of 68k desktop machines that reads an APM", judge};

}  // namespace platter::machine
