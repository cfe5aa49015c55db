// hppa: the firmware reads the first 2048 bytes, loads the initial program that they name and jumps
// in.
#include <fmt/format.h>

#include "boot/lif_ipl.h"
#include "machine/judging.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

constexpr std::string_view kRules =
    "boot routine of an open hppa firmware, which names the rules; OpenBSD "
    "sys/arch/hppa/stand/mkboot/mkboot.c";
constexpr Condition kMagic{"volume-magic", "the image starts with 0x8000",
                           "NetBSD sys/sys/bootblock.h, hppa volume header"};
constexpr Condition kGiven{"ipl-given", "the volume header names an initial program (IPL)",
                           "NetBSD sys/sys/bootblock.h, hppa volume header", true, true};
constexpr Condition kStart{"ipl-start", "the IPL starts at a multiple of 2048 above 0", kRules};
constexpr Condition kSize{"ipl-size", "the IPL's length is a multiple of 2048 above 0", kRules};
constexpr Condition kLimit{"ipl-limit", "the IPL has at most 256 KiB", kRules};
constexpr Condition kEntry{"ipl-entry", "the entry is a multiple of 4 inside the IPL", kRules};
constexpr Condition kPresent{"ipl-present", "all of the IPL is in the image and holds something",
                             "common practice, no source"};
constexpr Condition kSum{"ipl-checksum", "the IPL's 32-bit words sum to 0",
                         "OpenBSD sys/arch/hppa/stand/mkboot/mkboot.c makes it so; that firmware "
                         "refuses anything else is from memory",
                         true, true};

void judge_fields(Judging& judging, const boot::LifIpl& ipl) {
  const auto& volume = ipl.volume;
  const std::uint64_t magic = volume.get<"id">();
  const bool magic_holds = volume.complete() && magic == label::kLifMagic;
  judging.add(kMagic, magic_holds, volume.start(), 2, fmt::format("0x{:04X} stands there", magic),
              "write a volume header");
  const std::uint64_t start = volume.get<"ipl_start">();
  const std::uint64_t bytes = volume.get<"ipl_bytes">();
  const std::uint64_t entry = volume.get<"ipl_entry">();
  judging.add(kGiven, magic_holds && ipl.is_given, volume.place_of<"ipl_start">(), 12,
              fmt::format("{} bytes at byte {}, entered at {}", bytes, start, entry),
              "let a boot installer write an IPL and point to it");
  judging.add(kStart, ipl.start_holds, volume.place_of<"ipl_start">(), 4,
              fmt::format("byte {}", start), "move the IPL to a multiple of 2048");
  judging.add(kSize, ipl.size_holds, volume.place_of<"ipl_bytes">(), 4,
              fmt::format("{} bytes", bytes), "pad the IPL with zeros");
  judging.add(kLimit, ipl.limit_holds, volume.place_of<"ipl_bytes">(), 4,
              fmt::format("{} of {} bytes", bytes, boot::kMostIplBytes),
              "let a smaller first program load the rest");
  judging.add(kEntry, ipl.entry_holds, volume.place_of<"ipl_entry">(), 4,
              fmt::format("entered at byte {} of {}", entry, bytes),
              "set the entry to an address inside the IPL");
}

void judge_content(Judging& judging, const boot::LifIpl& ipl, const View& image) {
  const std::uint64_t start = saturating_add(image.start(), ipl.volume.get<"ipl_start">());
  const std::uint64_t bytes = ipl.volume.get<"ipl_bytes">();
  judging.add(kPresent, ipl.is_present && !ipl.is_empty, start, bytes,
              !ipl.is_present
                  ? fmt::format("the image ends at byte {}", image.start() + image.bytes())
              : ipl.is_empty ? "nothing but zeros"
                             : fmt::format("{} bytes", bytes),
              "get a complete image, or write the IPL again");
  const bool summed = ipl.is_present && ipl.limit_holds && bytes != 0;
  judging.add(kSum, summed && ipl.sum == 0 && !ipl.is_empty, start, bytes,
              summed ? fmt::format("the words sum to 0x{:08X}", ipl.sum)
                     : std::string("there is nothing to sum up"),
              "set the last word so that the sum is 0");
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("hppa", as);
  const boot::LifIpl ipl = boot::read_lif_ipl(subject.image);
  judge_fields(judging, ipl);
  judge_content(judging, ipl, subject.image);
  if (as == BootAs::optical) {
    add_block_size(judging, saturating_add(subject.image.start(), ipl.volume.get<"ipl_start">()),
                   label::kLifSector);
  }
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine hppa;
const Machine hppa{"hppa", "processor-dependent code of hppa machines", judge};

}  // namespace platter::machine
