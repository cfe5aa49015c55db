// Big-endian mips with a volume header: the PROM loads the standalone shell from its directory.
#include <algorithm>
#include <optional>

#include <fmt/format.h>

#include "boot/program.h"
#include "core/charset.h"
#include "core/checksum.h"
#include "label/sgi_label.h"
#include "machine/judging.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

using label::kSgiHeader;
using Header = Record<kSgiHeader>;
constexpr std::uint64_t kBlock = 512;
constexpr std::uint32_t kFiles = 15;
constexpr std::size_t kHeaderSlot = 8;
constexpr std::size_t kSlots = 16;
constexpr std::string_view kManual = "NetBSD sys/sys/bootblock.h; IRIX vh(7M)";

constexpr Condition kMagic{"volume-header-magic", "sector 0 starts with 0x0BE5A941", kManual, true,
                           true};
constexpr Condition kChecksum{"volume-header-checksum", "the header's 128 words sum to 0", kManual};
constexpr Condition kHeaderSlice{"header-slice",
                                 "slice 8 is the volume header and starts at block 0",
                                 "IRIX vh(7M): the system partition"};
constexpr Condition kShell{"shell-present", "the volume directory has a file sash",
                           "IRIX vh(7M); on discs its name may go on, such as sashARCS or sash64 "
                           "(installation guides of the time)",
                           true, true};
constexpr Condition kInside{"shell-inside", "that file lies in slice 8 and in the image",
                            "IRIX vh(7M)"};
constexpr Condition kFormat{"shell-format",
                            "that file is a big-endian ECOFF or ELF program for mips",
                            "common practice, no source", true, true};
constexpr Condition kWhole{"shell-whole", "that file holds all that its header announces",
                           "common practice, no source", false};
constexpr Condition kBootfile{
    "default-kernel", "the header names a kernel to load",
    "NetBSD sys/sys/bootblock.h; variables of the machine may override it", false};
constexpr Condition kRoot{"root-slice", "the root slice that the header names is defined",
                          "NetBSD sys/sys/bootblock.h", false};

struct Shell {
  std::uint32_t index = 0;
  std::string name;
  std::uint64_t start = 0;  // image bytes
  std::uint64_t bytes = 0;
};

std::optional<Shell> find_shell(const Header& header, const View& image, BootAs as) {
  constexpr std::string_view kName = "sash";
  std::optional<Shell> found;
  for (std::uint32_t i = 0; i < kFiles; ++i) {
    const auto file = header.sub<"file">(i);
    const std::string name = file.text<"name">();
    const bool exact = name == kName;
    const bool variant = as == BootAs::optical && name.rfind(kName, 0) == 0;
    if ((!exact && !variant) || file.get<"length">() <= 0 || file.get<"first">() <= 0) continue;
    if (found && !exact) continue;
    const auto first = static_cast<std::uint64_t>(file.get<"first">());
    found = Shell{i, name, saturating_add(image.start(), first * kBlock),
                  static_cast<std::uint64_t>(file.get<"length">())};
    if (exact) break;
  }
  return found;
}

void judge_header(Judging& judging, const Header& header, const View& image) {
  const bool magic = header.complete() && header.get<"magic">() == label::kSgiMagic;
  judging.add(kMagic, magic, image.start(), 4,
              fmt::format("0x{:08X} stands there", header.get<"magic">()), "write a volume header");
  const auto stored = static_cast<std::uint32_t>(header.get<"checksum">());
  const std::uint32_t left = sum_of_words32(header.all(), ByteOrder::big);
  judging.add(kChecksum, header.complete() && left == 0 && !all_zero(image, 0, kBlock),
              header.place_of<"checksum">(), 4,
              fmt::format("0x{:08X} is stored, the words give 0x{:08X}", stored, stored - left),
              "make the checksum right after changing the header");
  const auto slice = header.sub<"slice">(kHeaderSlot);
  judging.add(kHeaderSlice,
              slice.get<"blocks">() != 0 && slice.get<"first">() == 0 && slice.get<"type">() == 0,
              header.place_of<"slice">(kHeaderSlot), label::kSgiSlice.bytes,
              fmt::format("{} blocks from block {}, type {}", slice.get<"blocks">(),
                          slice.get<"first">(), slice.get<"type">()),
              "define slice 8 as volume header from block 0 on");
}

void judge_shell(Judging& judging, const Header& header, const View& image,
                 const std::optional<Shell>& shell) {
  const std::uint64_t directory = header.place_of<"file">();
  judging.add(
      kShell, shell.has_value(), shell ? header.place_of<"file">(shell->index) : directory,
      shell ? label::kSgiFile.bytes : kFiles * label::kSgiFile.bytes,
      shell ? fmt::format("{} has {} bytes at byte {}",
                          decode_text(shell->name, Charset::ascii).utf8, shell->bytes, shell->start)
            : "no such file",
      "put the standalone shell into the volume directory, or name another program to the "
      "PROM by hand");
  if (!shell) return;
  const auto slice = header.sub<"slice">(kHeaderSlot);
  const std::uint64_t at = shell->start - image.start();
  const bool in_slice = fits_within(at, shell->bytes, slice.get<"blocks">() * kBlock);
  const bool in_image = fits_within(at, shell->bytes, image.bytes());
  judging.add(kInside, in_slice && in_image, shell->start, shell->bytes,
              !in_image  ? fmt::format("the image ends at byte {}", image.start() + image.bytes())
              : in_slice ? "inside both"
                         : fmt::format("slice 8 ends at byte {}", slice.get<"blocks">() * kBlock),
              "get a complete image, or enlarge the volume header slice");
  const boot::Program program = boot::identify_program(image, at);
  const bool right = (program.format == boot::ProgramFormat::ecoff ||
                      program.format == boot::ProgramFormat::elf) &&
                     program.machine == "mips" && program.order == ByteOrder::big;
  judging.add(kFormat, right, shell->start, shell->bytes, boot::describe(program),
              "use the shell that was made for this machine");
  if (!right) return;
  const std::uint64_t announced = program.text + program.data;
  judging.add(kWhole, announced <= shell->bytes, shell->start, shell->bytes,
              fmt::format("{} bytes of code and data, the file has {}", announced, shell->bytes),
              "get a complete copy of the shell");
}

void judge_customs(Judging& judging, const Header& header) {
  const std::string bootfile = header.text<"bootfile">();
  judging.add(kBootfile, !bootfile.empty(), header.place_of<"bootfile">(), 16,
              bootfile.empty() ? "no name" : decode_text(bootfile, Charset::ascii).utf8,
              "name the kernel in the header, or by hand at the PROM");
  const std::uint64_t root = header.get<"root">();
  const bool defined = root < kSlots && header.sub<"slice">(root).get<"blocks">() != 0;
  judging.add(kRoot, defined, header.place_of<"root">(), 2, fmt::format("slice {}", root),
              "define the root slice");
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("mips-sgi", as);
  const auto header = subject.image.record<kSgiHeader>(0, ByteOrder::big);
  judge_header(judging, header, subject.image);
  const auto shell = find_shell(header, subject.image, as);
  judge_shell(judging, header, subject.image, shell);
  if (header.get<"magic">() == label::kSgiMagic) judge_customs(judging, header);
  if (as == BootAs::optical) {
    add_block_size(judging, shell ? shell->start : subject.image.start(), kBlock);
  }
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine mips_sgi;
const Machine mips_sgi{"mips-sgi", "PROM of big-endian mips machines with an SGI volume header",
                       judge};

}  // namespace platter::machine
