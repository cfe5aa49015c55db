// Boot media that others made and that do start: what each is for, `ready`; everything else,
// `none`. They come from Debian packages (tools/packages.sh) and from xorriso and genisoimage.
#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include <catch2/catch.hpp>

#include "core/image.h"
#include "support/survey.h"

namespace platter::test {
namespace {

const std::string kInstaller =
    "/usr/lib/debian-installer/images/12/amd64/text/debian-installer/amd64/";

Survey survey_file(const std::string& path) {
  return survey(open_image(path));
}

// "i386/disk ready" and so on for every row that is not `none`, in one string.
std::string verdicts_of(const Survey& survey) {
  std::string all;
  for (const BootVerdict& row : survey.boot) {
    if (row.verdict == Verdict::none) continue;
    all += (all.empty() ? "" : ", ") + std::string(row.machine) + "/" +
           std::string(boot_as_name(row.as)) + " " + std::string(verdict_name(row.verdict));
  }
  return all;
}

std::string missing_of(const Survey& survey, std::string_view machine, BootAs as) {
  std::string all;
  for (const BootVerdict& row : survey.boot) {
    if (row.machine != machine || row.as != as) continue;
    for (const Evidence& item : row.evidence) {
      if (item.demanded && !item.holds) all += std::string(item.check) + " ";
    }
  }
  return all;
}

bool holds(const Survey& survey, BootAs as, std::string_view check) {
  for (const BootVerdict& row : survey.boot) {
    if (row.machine != "i386" || row.as != as) continue;
    for (const Evidence& item : row.evidence) {
      if (item.check == check) return item.holds;
    }
  }
  return false;
}

TEST_CASE("discs of grub-rescue-pc and ipxe start a PC as disc and as disk, and nothing else") {
  for (const char* path :
       {"/usr/lib/grub-rescue/grub-rescue-cdrom.iso", "/usr/lib/grub-rescue/grub-rescue-usb.img",
        "/usr/lib/grub-rescue/grub-rescue-floppy.img", "/usr/lib/ipxe/ipxe.iso"}) {
    CAPTURE(path);
    const Survey found = survey_file(path);
    CHECK(verdicts_of(found) == "i386/disk ready, i386/optical ready");
    CHECK(findings_of(found) == "");
    // The makers' own boot information table, which their loaders read.
    CHECK(holds(found, BootAs::optical, "boot-information-table"));
    CHECK(fact(found, "iso9660/el-torito/1", "boot_information_table") == "good");
  }
}

TEST_CASE("the disc of memtest86+ emulates a diskette and has an EFI image") {
  for (const char* path :
       {"/usr/lib/memtest86+/memtest86+ia32.iso", "/usr/lib/memtest86+/memtest86+x64.iso"}) {
    CAPTURE(path);
    const Survey found = survey_file(path);
    CHECK(verdicts_of(found) == "i386/disk ready, i386/optical ready");
    CHECK(findings_of(found) == "");
    // xorriso -report_el_torito plain: "fd1.4 ... 1 35" and "UEFI ... none ... 8192 824".
    CHECK(fact(found, "iso9660/el-torito/1", "media") == "1.44 MB diskette");
    CHECK(layer(found, "iso9660/el-torito/1")->bytes == 1474560);
    CHECK(fact(found, "iso9660/el-torito/2", "platform") == "EFI");
    CHECK(layer(found, "iso9660/el-torito/2")->bytes == 8192 * 512);
  }
}

TEST_CASE("memtest86+ as a file is a floppy's boot sector with its program behind it") {
  for (const char* path : {"/boot/memtest86+ia32.bin", "/boot/memtest86+x64.bin"}) {
    CAPTURE(path);
    const Survey found = survey_file(path);
    CHECK(verdicts_of(found) == "i386/disk ready");
    CHECK(findings_of(found) == "");
    REQUIRE(layer(found, "pc-boot-code") != nullptr);
  }
}

TEST_CASE("kernels, initial file systems and network programs start nothing by themselves") {
  for (const std::string& path :
       {std::string("/boot/ipxe.lkrn"), std::string("/usr/lib/ipxe/ipxe.pxe"),
        std::string("/usr/lib/ipxe/ipxe.efi"), kInstaller + "linux", kInstaller + "initrd.gz",
        kInstaller + "pxelinux.0", kInstaller + "grubx64.efi"}) {
    CAPTURE(path);
    const Survey found = survey_file(path);
    CHECK(verdicts_of(found) == "");
    CHECK(found.layers.empty());
  }
}

// ---- Discs made now

std::string make(const TemporaryDirectory& directory, const std::string& options) {
  const std::string disc = directory.file("disc.iso");
  const RunResult made = run("cd " + shell_word(directory.path()) + " && " + options);
  INFO(made.err);
  REQUIRE(made.status == 0);
  return disc;
}

// A folder with isolinux, as its manual says that a disc is made.
void put_isolinux(const TemporaryDirectory& directory) {
  const RunResult copied = run("mkdir -p " + shell_word(directory.file("tree")) +
                               " && cp /usr/lib/ISOLINUX/isolinux.bin "
                               "/usr/lib/syslinux/modules/bios/ldlinux.c32 " +
                               shell_word(directory.file("tree")));
  REQUIRE(copied.status == 0);
}

constexpr const char* kIsolinux =
    " -b isolinux.bin -c boot.cat -no-emul-boot -boot-load-size 4 -boot-info-table";

TEST_CASE("isolinux discs made by xorriso and genisoimage start a PC as discs only") {
  for (const char* maker : {"xorriso -as mkisofs", "genisoimage -quiet"}) {
    CAPTURE(maker);
    const TemporaryDirectory directory;
    put_isolinux(directory);
    const Survey found =
        survey_file(make(directory, std::string(maker) + " -o disc.iso" + kIsolinux + " tree"));
    CHECK(verdicts_of(found) == "i386/optical ready");
    CHECK(findings_of(found) == "");
    CHECK(holds(found, BootAs::optical, "boot-information-table"));
    CHECK(layer(found, "iso9660/el-torito/1")->bytes ==
          std::filesystem::file_size("/usr/lib/ISOLINUX/isolinux.bin"));
  }
}

TEST_CASE("an isohybrid disc is a disk too") {
  const TemporaryDirectory directory;
  put_isolinux(directory);
  const Survey found =
      survey_file(make(directory, std::string("xorriso -as mkisofs -o disc.iso "
                                              "-isohybrid-mbr /usr/lib/ISOLINUX/isohdpfx.bin") +
                                      kIsolinux + " tree"));
  CHECK(verdicts_of(found) == "i386/disk ready, i386/optical ready");
  CHECK(findings_of(found) == "");
}

TEST_CASE("every kind of emulation that genisoimage makes, and what xorriso adds as sections") {
  struct Case {
    const char* options;
    std::uint64_t bytes;
    const char* media;
  };
  const Case cases[] = {{"-b image", 1474560, "1.44 MB diskette"},
                        {"-b image", 1228800, "1.2 MB diskette"},
                        {"-b image", 2949120, "2.88 MB diskette"},
                        {"-b image -no-emul-boot -boot-load-size 8", 4096, "no emulation"}};
  for (const Case& each : cases) {
    CAPTURE(each.media);
    const TemporaryDirectory directory;
    std::filesystem::create_directory(directory.file("tree"));
    // The stock boot sector of syslinux-common's sibling: any signed sector will do.
    write_file(directory.file("tree/image"), [&] {
      std::vector<std::byte> bytes = read_file("/usr/lib/syslinux/mbr/mbr.bin");
      bytes.resize(each.bytes);
      bytes[510] = std::byte{0x55};
      bytes[511] = std::byte{0xAA};
      return bytes;
    }());
    const Survey found =
        survey_file(make(directory, std::string("genisoimage -quiet -o disc.iso -c boot.cat ") +
                                        each.options + " tree"));
    CHECK(verdicts_of(found) == "i386/optical ready");
    CHECK(fact(found, "iso9660/el-torito/1", "media") == each.media);
    CHECK(layer(found, "iso9660/el-torito/1")->bytes == each.bytes);
    CHECK(findings_of(found) == "");
  }
}

TEST_CASE("a disc for EFI alone does not start a PC's old firmware, and says why") {
  const TemporaryDirectory directory;
  std::filesystem::create_directory(directory.file("tree"));
  write_file(directory.file("tree/efi.img"), std::vector<std::byte>(65536, std::byte{1}));
  const Survey found = survey_file(
      make(directory, "xorriso -as mkisofs -o disc.iso -c boot.cat -e efi.img -no-emul-boot tree"));
  CHECK(verdicts_of(found) == "i386/optical incomplete");
  CHECK(missing_of(found, "i386", BootAs::optical) == "platform-i386 ");
}

TEST_CASE("three images of one disc as xorriso reports them") {
  const TemporaryDirectory directory;
  std::filesystem::create_directory(directory.file("tree"));
  for (const char* name : {"a.img", "b.img", "c.img"}) {
    write_file(directory.file(std::string("tree/") + name),
               std::vector<std::byte>(10240, static_cast<std::byte>(name[0])));
  }
  const std::string disc =
      make(directory,
           "xorriso -as mkisofs -o disc.iso -c boot.cat -b a.img -no-emul-boot -boot-load-size 4 "
           "-eltorito-alt-boot -b b.img -no-emul-boot -boot-load-size 12 "
           "-eltorito-alt-boot -e c.img -no-emul-boot tree");
  const Survey found = survey_file(disc);
  CHECK(findings_of(found) == "");
  const RunResult report =
      run("xorriso -indev " + shell_word(disc) + " -report_el_torito plain 2>/dev/null");
  std::size_t seen = 0;
  std::size_t at = 0;
  // "El Torito boot img :   2  BIOS  y   none  0x0000  0x00     12          40"
  while ((at = report.out.find("El Torito boot img :", at)) != std::string::npos) {
    unsigned number = 0;
    char platform[16] = {};
    char bootable = 0;
    char media[16] = {};
    unsigned segment = 0;
    unsigned type = 0;
    unsigned count = 0;
    unsigned block = 0;
    REQUIRE(std::sscanf(report.out.c_str() + at, "El Torito boot img : %u %15s %c %15s %x %x %u %u",
                        &number, platform, &bootable, media, &segment, &type, &count, &block) == 8);
    const Layer* image = layer(found, "iso9660/el-torito/" + std::to_string(number));
    REQUIRE(image != nullptr);
    CHECK(image->start == block * 2048ULL);
    CHECK(image->facts.number("sector_count") == count);
    CHECK(image->facts.words("platform") == (std::string(platform) == "UEFI" ? "EFI" : "i386"));
    CHECK(*image->facts.find("bootable") == FactValue(bootable == 'y'));
    ++seen;
    ++at;
  }
  CHECK(seen == 3);
}

TEST_CASE("the options of makers for ppc machines: PReP, CHRP and HFS hybrids") {
  const TemporaryDirectory directory;
  std::filesystem::create_directories(directory.file("tree/ppc"));
  const std::string script = "<CHRP-BOOT>\n<BOOT-SCRIPT>boot &device;:\\x.elf</BOOT-SCRIPT>\n";
  std::vector<std::byte> text;
  for (const char c : script)
    text.push_back(static_cast<std::byte>(c));
  write_file(directory.file("tree/ppc/bootinfo.txt"), text);
  SECTION("xorriso with a CHRP slice") {
    const Survey found =
        survey_file(make(directory, "xorriso -as mkisofs -o disc.iso -chrp-boot-part tree"));
    CHECK(verdicts_of(found) == "i386/disk incomplete, ppc-of/disk ready, ppc-of/optical ready");
    CHECK(findings_of(found) == "");
  }
  SECTION("xorriso without it") {
    const Survey found = survey_file(make(directory, "xorriso -as mkisofs -o disc.iso tree"));
    CHECK(verdicts_of(found) == "ppc-of/disk incomplete, ppc-of/optical ready");
    CHECK(missing_of(found, "ppc-of", BootAs::disk) == "volume-slice ");
  }
  SECTION("genisoimage with an APM and an HFS volume beside it") {
    const Survey found =
        survey_file(make(directory, "genisoimage -quiet -hfs -part -o disc.iso tree 2>/dev/null"));
    REQUIRE(layer(found, "apm") != nullptr);
    CHECK(layer(found, "apm/apm-driver") == nullptr);
    // It writes 55 AA and no code, and no boot blocks unless it is given some.
    CHECK(verdicts_of(found) == "i386/disk incomplete, ppc-of/disk ready, ppc-of/optical ready");
    CHECK(missing_of(found, "i386", BootAs::disk) == "boot-code-present ");
    CHECK(missing_of(found, "m68k-apm", BootAs::disk).find("driver-for-68k") != std::string::npos);
  }
  SECTION("xorriso with a PReP slice") {
    // An image as Linux arch/ppc/boot/utils/mkprep.c lays it out: entry 0x400 and length at 512.
    std::vector<std::byte> image(8192);
    image[510] = std::byte{0x55};
    image[511] = std::byte{0xAA};
    image[513] = std::byte{0x04};
    image[517] = std::byte{0x20};
    image[1024] = std::byte{0x48};
    write_file(directory.file("tree/prep.img"), image);
    std::filesystem::remove_all(directory.file("tree/ppc"));
    const Survey found = survey_file(
        make(directory, "xorriso -as mkisofs -o disc.iso -prep-boot-part tree/prep.img tree"));
    CHECK(verdicts_of(found) ==
          "i386/disk incomplete, ppc-prep/disk ready, ppc-prep/optical ready");
  }
}

}  // namespace
}  // namespace platter::test
