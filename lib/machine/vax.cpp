// vax: sector 0 is loaded and an identification in it names the program.
#include <fmt/format.h>

#include "machine/optical_blocks.h"
#include "machine/sector_machines.h"

namespace platter::machine {
namespace {

constexpr std::string_view kHeader = "NetBSD sys/sys/bootblock.h, struct vax_boot_block";
constexpr Condition kOne{"byte-3", "byte 3 of sector 0 is 1", kHeader};
constexpr Condition kId{"identification",
                        "the identification has its magic, its zeros and its complement", kHeader,
                        true, true};
constexpr Condition kSum{"identification-sum",
                         "length, load offset and entry sum to the number behind them", kHeader,
                         true, true};
constexpr Condition kEntry{"entry-inside", "the program is entered inside its blocks",
                           "common practice, no source"};
constexpr Condition kBeforeSuperblock{
    "before-superblock", "the program ends before byte 8192",
    "NetBSD usr.sbin/installboot/arch/vax.c: a filesystem's superblock follows", false};

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("vax", as);
  const View& image = subject.image;
  const boot::VaxSector sector = boot::read_vax_sector(image);
  const auto& head = sector.head;
  const auto& id = sector.id;
  judging.add(kOne, sector.one_holds, head.place_of<"one">(), 1,
              fmt::format("0x{:02X} stands there", head.get<"one">()), "set it to 1");
  const std::uint64_t id_place = sector.id_inside ? id.start() : head.place_of<"id_at">();
  judging.add(kId, sector.id_holds, id_place, sector.id_inside ? 8 : 1,
              sector.id_inside
                  ? fmt::format("magic 0x{:02X} and complement 0x{:02X} at byte {}",
                                id.get<"magic">(), id.get<"complement">(), id.start())
                  : fmt::format("word {} leaves no room for it in the sector", head.get<"id_at">()),
              "let a boot installer write the sector");
  judging.add(kSum, sector.sum_holds, id_place, sector.id_inside ? boot::kVaxId.bytes : 1,
              fmt::format("{} blocks, load offset {}, entry {}, sum {}", id.get<"blocks">(),
                          id.get<"load">(), id.get<"entry">(), id.get<"sum">()),
              "make the sum right after changing the identification");
  judging.add(kEntry, sector.entry_inside, id_place, sector.id_inside ? boot::kVaxId.bytes : 1,
              fmt::format("entered at byte {} of {}", id.get<"entry">(), sector.program.bytes),
              "let a boot installer write the sector");
  judge_program(judging, image, sector.program, sector.place_fits);
  if (as == BootAs::disk && sector.place_fits) {
    constexpr std::uint64_t kSuperblock = 8192;
    const std::uint64_t end = sector.program.start - image.start() + sector.program.bytes;
    judging.add(kBeforeSuperblock, end <= kSuperblock, sector.program.start, sector.program.bytes,
                fmt::format("it ends at byte {}", end),
                "harmless when no filesystem starts at block 0");
  }
  if (as == BootAs::optical) add_block_size(judging, sector.program.start, boot::kBootBlock);
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine vax;
const Machine vax{"vax", "boot ROM of vax machines (VMB)", judge};

}  // namespace platter::machine
