// alpha: the console reads sector 0, sums it up and loads the blocks that it names.
#include <fmt/format.h>

#include "machine/optical_blocks.h"
#include "machine/sector_machines.h"

namespace platter::machine {
namespace {

constexpr std::string_view kManual =
    "Alpha Architecture Reference Manual, (III) 3.6.1; NetBSD sys/sys/bootblock.h";
constexpr Condition kSum{"sector-checksum", "the first 63 words of sector 0 sum to the last",
                         kManual, true, true};
constexpr Condition kPlace{"program-place",
                           "sector 0 names a first block and a length, both above 0", kManual, true,
                           true};
constexpr Condition kFlags{"flags-zero", "the flags are 0", kManual, false};

// Two numbers above 0 are soon found in any file: without the sum, the sector has to look as an
// installer leaves it in every other respect.
bool is_coincidence(const boot::AlphaSector& sector, const View& image) {
  constexpr std::uint64_t kMostProgramBytes = 1U << 20U;
  return belongs_to_a_label(image) || sector.record.get<"flags">() != 0 || !sector.place_fits ||
         sector.program.bytes > kMostProgramBytes;
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("alpha", as);
  const View& image = subject.image;
  const boot::AlphaSector sector = boot::read_alpha_sector(image);
  const auto& record = sector.record;
  judging.add(kSum, sector.sum_holds, record.place_of<"checksum">(), 8,
              fmt::format("0x{:016X} is stored, the words give 0x{:016X}", record.get<"checksum">(),
                          sector.computed),
              "make the checksum right after changing sector 0");
  judging.add(kPlace, sector.place_is_given, record.place_of<"blocks">(), 16,
              fmt::format("{} blocks from block {}", record.get<"blocks">(), record.get<"first">()),
              "let a boot installer write place and length of the program");
  judging.add(kFlags, record.get<"flags">() == 0, record.place_of<"flags">(), 8,
              fmt::format("0x{:X}", record.get<"flags">()), "set the flags to 0");
  judge_program(judging, image, sector.program, sector.place_fits);
  if (as == BootAs::optical) add_block_size(judging, sector.program.start, boot::kBootBlock);
  if (!sector.sum_holds && is_coincidence(sector, image)) judging.rule_out();
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine alpha;
const Machine alpha{"alpha", "console of alpha machines (SRM)", judge};

}  // namespace platter::machine
