// 64-bit sparc: the firmware interprets FCode from the boot block.
#include <fmt/format.h>

#include "machine/optical_blocks.h"
#include "machine/sun_label_judge.h"

namespace platter::machine {
namespace {

constexpr std::uint64_t kFcodeHeader = 8;

bool accepts(const boot::SunBootBlock& block) {
  return block.program.format == boot::ProgramFormat::fcode;
}

constexpr SunFamily kFamily{
    "sparc64",
    "f",
    "f is for sun4u",
    {"boot-block-format", "sector 1 of the slice starts with an FCode header",
     "NetBSD usr.sbin/installboot/arch/sparc64.c; IEEE 1275-1994, FCode program format", true,
     true},
    accepts,
    "put a boot block in FCode there"};
constexpr Condition kLength{"fcode-length",
                            "the FCode program has a length and fits the 15 sectors",
                            "IEEE 1275-1994, FCode program format; NetBSD sys/sys/bootblock.h"};
constexpr Condition kChecksum{"fcode-checksum",
                              "the FCode header's checksum is the sum of the bytes behind it",
                              "IEEE 1275-1994, FCode program format; that firmware checks it is "
                              "from memory"};

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging(kFamily.id, as);
  const SunChoice choice = judge_sun_label(judging, kFamily, subject.image, as);
  const boot::Program& program = choice.block.program;
  const std::uint64_t place = choice.start + boot::kSunBootAt;
  if (choice.accepted) {
    judging.add(
        kLength, program.file_bytes > kFcodeHeader && program.file_bytes <= boot::kSunBootBytes,
        place, kFcodeHeader, fmt::format("{} of {} bytes", program.file_bytes, boot::kSunBootBytes),
        "write the program's length, with its header, into the header");
    judging.add(kChecksum, program.stored_sum == program.computed_sum, place, kFcodeHeader,
                fmt::format("0x{:04X} is stored, the bytes give 0x{:04X}", program.stored_sum,
                            program.computed_sum),
                "make the checksum right after changing the program");
  }
  if (as == BootAs::optical) add_block_size(judging, place, boot::kSunBootAt);
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine sparc64;
const Machine sparc64{"sparc64", "firmware of 64-bit sparc workstations (sun4u)", judge};

}  // namespace platter::machine
