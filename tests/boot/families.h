// The families of firmware that can be run, with their emulators' command lines.
#pragma once

#include "boot/boot_case.h"

namespace platter::test::family {

extern const Family i386_disk;
extern const Family i386_floppy;
extern const Family el_torito_none;
extern const Family el_torito_floppy;
extern const Family el_torito_disk;
extern const Family hppa_disk;
extern const Family hppa_disc;
extern const Family sparc_disk;
extern const Family sparc_disc;
extern const Family sparc64_disk;
extern const Family sparc64_disc;
extern const Family apm_disk;
extern const Family chrp_disc;
extern const Family prep_disk;
extern const Family pmax_disk;
extern const Family sgi_disk;

}  // namespace platter::test::family
