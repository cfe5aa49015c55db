#include "boot/families.h"

namespace platter::test::family {
namespace {

// What every command line of QEMU ends with: no network, the console in a file, no second try.
// Images are attached so that nothing is written to them.
Emulator qemu(std::vector<std::string> machine, const std::string& drive) {
  Emulator emulator;
  emulator.command = std::move(machine);
  for (const char* word : {"-nic", "none", "-nographic", "-monitor", "none", "-no-reboot",
                           "-serial", "file:LOG", "-drive"}) {
    emulator.command.emplace_back(word);
  }
  emulator.command.push_back("file=IMAGE,format=raw," + drive);
  return emulator;
}

// SeaBIOS 1.16.2 in its source: src/boot.c (texts of a refusal), src/cdrom.c (codes behind them).
Emulator pc(const std::string& order, const std::string& drive) {
  Emulator emulator =
      qemu({"qemu-system-i386", "-M", "pc", "-m", "16", "-boot", "order=" + order + ",strict=on"},
           drive);
  emulator.refusals = {"Boot failed", "No bootable device"};
  emulator.handover = "Booting from";
  emulator.banner = "SeaBIOS (version";
  return emulator;
}
Emulator pc_disk() {
  return pc("c", "if=ide,snapshot=on");
}
Emulator pc_floppy() {
  return pc("a", "if=floppy,snapshot=on");
}
Emulator pc_disc() {
  return pc("d", "if=ide,media=cdrom,readonly=on,index=2");
}

Emulator hppa(const std::string& order, const std::string& drive) {
  Emulator emulator = qemu({"qemu-system-hppa", "-boot", "order=" + order}, drive);
  emulator.refusals = {"LIF magic is", "SeaBIOS wants SYSTEM HALT"};
  emulator.handover = "HARD Booted.";
  emulator.banner = "Firmware Version";
  return emulator;
}
Emulator hppa_with_disk() {
  return hppa("c", "if=scsi,snapshot=on");
}
Emulator hppa_with_disc() {
  return hppa("d", "if=scsi,media=cdrom,readonly=on");
}

// OpenBIOS ends at its prompt when nothing could be started.
Emulator openbios(std::vector<std::string> machine, const std::string& drive) {
  Emulator emulator = qemu(std::move(machine), drive);
  emulator.refusals = {"No valid state has been set", "\n0 > "};
  emulator.banner = "OpenBIOS v";
  return emulator;
}
Emulator sparc(const std::string& order, const std::string& drive) {
  Emulator emulator =
      openbios({"qemu-system-sparc", "-M", "SS-5", "-m", "32", "-boot", "order=" + order},
               "if=scsi,bus=0," + drive);
  emulator.handover = "switching to new context";
  return emulator;
}
Emulator sparc_with_disk() {
  return sparc("c", "unit=0,snapshot=on");
}
Emulator sparc_with_disc() {
  return sparc("d", "unit=2,media=cdrom,readonly=on");
}

Emulator sparc64(const std::string& order, const std::string& drive) {
  Emulator emulator =
      openbios({"qemu-system-sparc64", "-M", "sun4u", "-m", "64", "-boot", "order=" + order},
               "if=ide," + drive);
  emulator.handover = "Evaluating FCode";
  return emulator;
}
Emulator sparc64_with_disk() {
  return sparc64("c", "snapshot=on");
}
Emulator sparc64_with_disc() {
  return sparc64("d", "media=cdrom,readonly=on,index=2");
}

// Boot scripts and PReP images are loaded at 64 MiB, so there must be more than that.
Emulator ppc(const std::string& order, const std::string& drive) {
  Emulator emulator =
      openbios({"qemu-system-ppc", "-M", "g3beige", "-m", "128", "-boot", "order=" + order},
               "if=ide," + drive);
  emulator.handover = "switching to new context";
  return emulator;
}
Emulator ppc_with_disk() {
  return ppc("c", "snapshot=on");
}
Emulator ppc_with_disc() {
  return ppc("d", "media=cdrom,readonly=on,index=2");
}

// No firmware here: the emulator's own code reads the disk.
Emulator gxemul(const std::string& machine) {
  Emulator emulator;
  emulator.command = {"gxemul", "-e", machine, "-d", "d0:IMAGE"};
  emulator.refusals = {"Weird load address", "wrong magic", "booting directly from disk failed"};
  emulator.handover = "starting at";
  emulator.on_terminal = true;
  return emulator;
}
Emulator pmax() {
  return gxemul("3max");
}
Emulator sgi() {
  return gxemul("ip32");
}

}  // namespace

const Family i386_disk = {"i386-disk", "i386", "i386", BootAs::disk, pc_disk, make_i386_disk};
const Family i386_floppy = {"i386-floppy", "i386",    "i386",
                            BootAs::disk,  pc_floppy, make_i386_floppy};
const Family el_torito_none = {
    "eltorito-none", "eltorito", "i386",
    BootAs::optical, pc_disc,    [] { return make_el_torito_disc(Emulation::none); }};
const Family el_torito_floppy = {
    "eltorito-floppy", "eltorito", "i386",
    BootAs::optical,   pc_disc,    [] { return make_el_torito_disc(Emulation::floppy); }};
const Family el_torito_disk = {
    "eltorito-disk", "eltorito", "i386",
    BootAs::optical, pc_disc,    [] { return make_el_torito_disc(Emulation::disk); }};
const Family hppa_disk = {"hppa-disk",  "hppa",         "hppa",
                          BootAs::disk, hppa_with_disk, make_hppa_volume};
const Family hppa_disc = {"hppa-disc",     "hppa",         "hppa",
                          BootAs::optical, hppa_with_disc, make_hppa_volume};
const Family sparc_disk = {"sparc-disk", "sparc",         "sparc",
                           BootAs::disk, sparc_with_disk, make_sparc_disk};
const Family sparc_disc = {"sparc-disc",    "sparc",         "sparc",
                           BootAs::optical, sparc_with_disc, make_sparc_disc};
const Family sparc64_disk = {"sparc64-disk",    "sparc64",         "sparc64", BootAs::disk,
                             sparc64_with_disk, make_sparc64_disk, true};
const Family sparc64_disc = {"sparc64-disc",    "sparc64",       "sparc64", BootAs::optical,
                             sparc64_with_disc, make_sparc_disc, true};
const Family apm_disk = {"apm-disk",    "ppc",         "ppc-of", BootAs::disk,
                         ppc_with_disk, make_apm_disk, true};
const Family chrp_disc = {"chrp-disc",   "chrp",         "ppc-of", BootAs::optical,
                          ppc_with_disc, make_chrp_disc, true};
const Family prep_disk = {"prep-disk",   "prep",         "ppc-prep", BootAs::disk,
                          ppc_with_disk, make_prep_disk, true};
const Family pmax_disk = {"pmax-disk", "pmax", "mips-dec", BootAs::disk, pmax, make_pmax_disk};
const Family sgi_disk = {"sgi-disk", "sgi", "mips-sgi", BootAs::disk, sgi, make_sgi_disk};

}  // namespace platter::test::family
