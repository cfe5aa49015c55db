#include "machine/sector_machines.h"

#include <algorithm>

#include <fmt/format.h>

#include "label/mbr_label.h"
#include "label/sgi_label.h"
#include "label/sun_label.h"

namespace platter::machine {
namespace {

constexpr Condition kPresent{"program-present",
                             "the program's blocks are in the image and hold something",
                             "NetBSD sys/sys/bootblock.h"};
// A program is at most some hundred blocks; a field may claim anything.
constexpr std::uint64_t kMostLookedAt = 1U << 20U;

}  // namespace

void judge_program(Judging& judging, const View& image, const boot::Extent& program, bool fits) {
  const std::uint64_t at = program.start - std::min(program.start, image.start());
  const bool empty =
      program.bytes == 0 || all_zero(image, at, std::min(program.bytes, kMostLookedAt));
  judging.add(kPresent, fits && !empty, program.start, program.bytes,
              !fits   ? fmt::format("{} bytes from byte {} on; the image ends at byte {}",
                                    program.bytes, program.start, image.start() + image.bytes())
              : empty ? "nothing but zeros"
                      : fmt::format("{} bytes from byte {} on", program.bytes, program.start),
              "get a complete image, or write the boot program and point to it");
}

bool belongs_to_a_label(const View& image) {
  using namespace label;
  return image.number(FieldReader<kSunLabel>::offset_of<"magic">(), 2, ByteOrder::big) ==
             kSunMagic ||
         image.number(FieldReader<kMbr>::offset_of<"signature">(), 2, ByteOrder::little) ==
             kMbrSignature ||
         image.number(FieldReader<kSgiHeader>::offset_of<"magic">(), 4, ByteOrder::big) ==
             kSgiMagic;
}

}  // namespace platter::machine
