// 32-bit sparc with the open firmware of its time or the monitor before it: label, slice, a.out.
#include "machine/sun_label_judge.h"

namespace platter::machine {
namespace {

bool accepts(const boot::SunBootBlock& block) {
  return block.program.format == boot::ProgramFormat::aout &&
         block.program.order == ByteOrder::big &&
         (block.program.machine == "sparc" || block.program.machine.empty());
}

constexpr SunFamily kFamily{
    "sparc",
    "dcbe",
    "d is for sun4m, c for sun4c, b for sun4, e for sun4d",
    {"boot-block-format", "sector 1 of the slice starts with an a.out header for sparc",
     "NetBSD usr.sbin/installboot/arch/sparc.c: the first word is 0x01030107; the oldest firmware "
     "of the family jumps in without looking",
     true, true},
    accepts,
    "put a boot block with an a.out header there"};

BootVerdict judge(const BootSubject& subject, BootAs as) {
  return judge_sun_family(kFamily, subject, as);
}

}  // namespace

extern const Machine sparc;
const Machine sparc{"sparc", "firmware of 32-bit sparc workstations (sun4, sun4c, sun4m)", judge};

}  // namespace platter::machine
