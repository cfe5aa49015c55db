// m68k machines that start from a Sun label: the monitor loads 15 sectors and jumps in.
#include "machine/sun_label_judge.h"

namespace platter::machine {
namespace {

bool accepts(const boot::SunBootBlock& block) {
  if (block.program.format == boot::ProgramFormat::raw) return block.raw_machine == "m68k";
  return block.program.format == boot::ProgramFormat::aout && block.program.machine == "m68k";
}

constexpr SunFamily kFamily{
    "m68k-sun",
    "ef",
    "e is for sun3, f for sun3x",
    {"boot-block-format", "sector 1 of the slice starts with m68k code or an a.out header for m68k",
     "NetBSD sys/sys/bootblock.h (sun68k); the monitor jumps in without looking, so that this is "
     "told by the code's look",
     true, true},
    accepts,
    "put a boot block for m68k there"};

BootVerdict judge(const BootSubject& subject, BootAs as) {
  return judge_sun_family(kFamily, subject, as);
}

}  // namespace

extern const Machine m68k_sun;
const Machine m68k_sun{"m68k-sun", "monitor of m68k workstations with a Sun label (sun2, sun3)",
                       judge};

}  // namespace platter::machine
