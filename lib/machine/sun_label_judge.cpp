#include "machine/sun_label_judge.h"

#include <fmt/format.h>

#include "core/checksum.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

using label::kSunLabel;
using Label = Record<kSunLabel>;
constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kSlots = 8;

constexpr Condition kMagic{"label-magic", "sector 0 ends in the magic 0xDABE and its checksum",
                           "illumos sys/dklabel.h; NetBSD sys/dev/sun/disklabel.h"};
constexpr Condition kChecksum{"label-checksum", "the exclusive-or of the label's 256 words is 0",
                              "illumos sys/dklabel.h; NetBSD sys/dev/sun/disklabel.h", true, true};
constexpr Condition kDiskSlice{"boot-slice", "slice a is defined and starts inside the image",
                               "common practice: firmware starts from slice a unless told "
                               "otherwise"};
constexpr Condition kOpticalSlice{
    "boot-slice",
    "a slice that this firmware takes on a disc is defined and starts inside the image",
    "NetBSD mksunbootcd(8): slices b to f are for sun4, sun4c, sun4m, sun3 or sun4d, sun3x or "
    "sun4e; "
    "NetBSD boot(8) of sparc64: f"};
constexpr Condition kPresent{"boot-block-present", "sectors 1 to 15 of the slice hold something",
                             "NetBSD sys/sys/bootblock.h: 15 blocks from byte 512 of the slice on"};
constexpr Condition kSize{"boot-block-size", "the program fits the 15 sectors that are loaded",
                          "NetBSD sys/sys/bootblock.h: at most 7680 bytes", false};

struct SunSlice {
  std::uint64_t start = 0;  // image bytes
  std::uint64_t blocks = 0;
  bool is_inside = false;
};

SunSlice slice_of(const Label& label, const View& image, char letter) {
  const auto entry = label.sub<"map">(static_cast<std::size_t>(letter - 'a'));
  const std::uint64_t cylinder = label.get<"nhead">() * label.get<"nsect">();
  const std::uint64_t start = saturating_mul(entry.get<"start">(), cylinder, kBlock);
  SunSlice slice;
  slice.blocks = entry.get<"blocks">();
  slice.start = saturating_add(image.start(), start);
  slice.is_inside = slice.blocks != 0 && cylinder != 0 && start < image.bytes();
  return slice;
}

void judge_label(Judging& judging, const Label& label, const View& image) {
  const std::uint64_t magic = label.get<"magic">();
  const bool magic_holds = label.complete() && magic == label::kSunMagic;
  judging.add(kMagic, magic_holds, label.place_of<"magic">(), 2,
              fmt::format("0x{:04X} stands there", magic),
              "write a Sun label, or restore sector 0 from a backup of it");
  const std::uint16_t left = xor_of_words(label.all(), ByteOrder::big);
  const std::uint64_t stored = label.get<"checksum">();
  judging.add(kChecksum, magic_holds && left == 0, image.start(), kBlock,
              magic_holds ? fmt::format("0x{:04X} is stored, the words give 0x{:04X}", stored,
                                        stored ^ left)
                          : "there is no label to sum up",
              "make the checksum right after changing the label");
}

// The first slice of those that the firmware takes whose boot block is what it wants, or else the
// first that is defined at all.
SunChoice choose(const Label& label, const View& image, const SunFamily& family,
                 std::string_view letters) {
  SunChoice choice;
  for (const char letter : letters) {
    const SunSlice slice = slice_of(label, image, letter);
    if (!slice.is_inside) continue;
    const View view = image.sub(slice.start - image.start(), kLargest);
    boot::SunBootBlock block = boot::read_sun_boot_block(view);
    const bool accepted = family.accepts(block);
    if (!choice.slice.empty() && !accepted) continue;
    choice = {std::string(1, letter), slice.start, std::move(block), accepted};
    if (accepted) break;
  }
  return choice;
}

// Slices beside the judged one that hold what this firmware wants; the user may name them to it.
std::string other_candidates(const Label& label, const View& image, const SunFamily& family,
                             const SunChoice& choice) {
  std::string letters;
  for (std::size_t i = 0; i < kSlots; ++i) {
    const auto letter = static_cast<char>('a' + i);
    const SunSlice slice = slice_of(label, image, letter);
    if (!slice.is_inside || (!choice.slice.empty() && slice.start == choice.start)) continue;
    const View view = image.sub(slice.start - image.start(), kLargest);
    if (!family.accepts(boot::read_sun_boot_block(view))) continue;
    letters += fmt::format("{}{}", letters.empty() ? "" : ", ", letter);
  }
  return letters.empty() ? "" : "; such code also stands in " + letters;
}

std::string slice_detail(const SunChoice& choice, const SunFamily& family, BootAs as) {
  std::string text = choice.slice.empty()
                         ? "no such slice"
                         : fmt::format("slice {} starts at byte {}", choice.slice, choice.start);
  if (as == BootAs::optical) text += fmt::format(" ({})", family.optical_who);
  return text;
}

}  // namespace

SunChoice judge_sun_label(Judging& judging, const SunFamily& family, const View& image, BootAs as) {
  const auto label = image.record<kSunLabel>(0, ByteOrder::big);
  judge_label(judging, label, image);
  const bool disk = as == BootAs::disk;
  const SunChoice choice = choose(label, image, family, disk ? "a" : family.optical_slices);
  judging.add(disk ? kDiskSlice : kOpticalSlice, !choice.slice.empty(),
              label.place_of<"map">(choice.slice.empty() || disk
                                        ? 0
                                        : static_cast<std::uint32_t>(choice.slice[0] - 'a')),
              label::kSunMapEntry.bytes,
              slice_detail(choice, family, as) + other_candidates(label, image, family, choice),
              "define the slice, or tell the firmware which one to start from");
  const std::uint64_t place = choice.start + boot::kSunBootAt;
  const bool present = choice.block.program.format != boot::ProgramFormat::none;
  judging.add(kPresent, present, place, boot::kSunBootBytes,
              choice.slice.empty() ? "no slice to look into" : boot::describe(choice.block.program),
              "write a boot block into sectors 1 to 15 of the slice");
  std::string found = boot::describe(choice.block.program);
  if (!choice.block.raw_machine.empty()) {
    found += fmt::format(" that looks like {}", choice.block.raw_machine);
  }
  judging.add(family.format, choice.accepted, place, boot::kSunBootBytes, std::move(found),
              std::string(family.remedy));
  return choice;
}

void judge_sun_size(Judging& judging, const SunChoice& choice) {
  const std::uint64_t needed = choice.block.program.file_bytes;
  judging.add(kSize, needed <= boot::kSunBootBytes, choice.start + boot::kSunBootAt,
              boot::kSunBootBytes,
              needed == 0 ? "the header does not tell a size"
                          : fmt::format("{} of {} bytes", needed, boot::kSunBootBytes),
              "use a smaller first program that loads the rest itself");
}

BootVerdict judge_sun_family(const SunFamily& family, const BootSubject& subject, BootAs as) {
  Judging judging(family.id, as);
  const SunChoice choice = judge_sun_label(judging, family, subject.image, as);
  if (choice.accepted) judge_sun_size(judging, choice);
  if (as == BootAs::optical) {
    add_block_size(judging, choice.start + boot::kSunBootAt, boot::kSunBootAt);
  }
  return std::move(judging).verdict();
}

}  // namespace platter::machine
