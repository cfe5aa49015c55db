// Little-endian mips workstations: sector 0 has a magic and a map of the program's blocks.
#include <fmt/format.h>

#include "machine/optical_blocks.h"
#include "machine/sector_machines.h"

namespace platter::machine {
namespace {

constexpr std::string_view kHeader = "NetBSD sys/sys/bootblock.h, struct pmax_boot_block";
constexpr Condition kMagic{"sector-magic", "sector 0 has 0x0002757A at byte 8", kHeader, true,
                           true};
constexpr Condition kMode{"map-mode", "the map is of one piece (0) or of several (1)", kHeader};
constexpr Condition kMap{"map-pieces", "every piece of the map has a length, and the list ends",
                         kHeader};
constexpr Condition kAddress{"load-address",
                             "the program is loaded to an address that needs no translation",
                             "MIPS architecture, kseg0 and kseg1: 0x80000000 to 0xBFFFFFFF"};
constexpr Condition kEntry{"entry-inside",
                           "the entry is a multiple of 4 inside what is loaded, all of which is in "
                           "the image",
                           "common practice, no source", true, true};

boot::Extent first_piece(const boot::PmaxSector& sector) {
  return sector.pieces.empty() ? boot::Extent{} : sector.pieces.front();
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("mips-dec", as);
  const View& image = subject.image;
  const boot::PmaxSector sector = boot::read_pmax_sector(image);
  const auto& record = sector.record;
  judging.add(kMagic, sector.magic_holds, record.place_of<"magic">(), 4,
              fmt::format("0x{:08X} stands there", record.get<"magic">()),
              "let a boot installer write the sector");
  judging.add(kMode, sector.mode_holds, record.place_of<"mode">(), 4,
              fmt::format("{}", record.get<"mode">()), "set it to 0 for one piece");
  judging.add(kMap, sector.map_holds && sector.map_ends, record.place_of<"extent">(),
              boot::kPmaxExtent.bytes,
              fmt::format("pieces: {}, bytes: {}{}", sector.pieces.size(), sector.bytes,
                          sector.map_ends ? "" : ", no end of the list"),
              "let a boot installer write the map");
  judging.add(kAddress, sector.address_holds, record.place_of<"load">(), 4,
              fmt::format("0x{:08X}", record.get<"load">()),
              "link the program for an address from 0x80000000 on");
  judging.add(kEntry, sector.address_holds && sector.place_fits && sector.entry_inside,
              record.place_of<"entry">(), 4, fmt::format("0x{:08X}", record.get<"entry">()),
              "set the entry to an address inside the program");
  judge_program(judging, image, first_piece(sector), sector.place_fits);
  if (as == BootAs::optical) {
    add_block_size(judging, first_piece(sector).start, boot::kBootBlock);
  }
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine mips_dec;
const Machine mips_dec{"mips-dec", "PROM of little-endian mips workstations (pmax)", judge};

}  // namespace platter::machine
