// m68k machines with a dlV label: the ROM reads a copy of the label and loads the boot program from
// one of two places that it names.
#include <algorithm>
#include <optional>

#include <fmt/format.h>

#include "boot/program.h"
#include "label/dlv_copy.h"
#include "machine/judging.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

using label::DlvCopy;
using Head = FieldReader<label::kDlvHead>;
constexpr std::string_view kHeader =
    "NetBSD sys/sys/bootblock.h (cd_ fields); Darwin "
    "bsd/dev/disk_label.h";
constexpr Condition kLabel{"label-version", "a copy of the label with a known version is there",
                           kHeader, true, true};
constexpr Condition kSum{"label-checksum", "a copy's checksum holds", kHeader};
constexpr Condition kPointer{"boot-pointer",
                             "the label points to a boot program in the front porch, behind its "
                             "own copies",
                             kHeader};
constexpr Condition kPresent{"boot-program-present", "something stands at that place",
                             "common practice, no source"};
constexpr Condition kMachine{"boot-program-machine",
                             "its header, where it has a known one, is for m68k",
                             "NetBSD, m68k dlV port, stand/boot/Makefile: an a.out header"};
constexpr Condition kRoom{"boot-program-room",
                          "it ends before the second boot program and the end of the porch",
                          "the boot installer of NetBSD's m68k dlV port"};
constexpr Condition kSecond{"second-program", "the second pointer leads to the same program",
                            "common practice, no source", false};

std::optional<DlvCopy> best_copy(const View& image) {
  std::optional<DlvCopy> best;
  for (std::uint64_t number = 0; number < label::kDlvCopies; ++number) {
    for (const std::uint64_t block : label::kDlvDeviceBlocks) {
      auto copy = label::read_dlv_copy(image, label::dlv_copy_at(number, block));
      if (copy && (!best || (copy->good && !best->good))) best = std::move(copy);
      if (number == 0) break;
    }
  }
  return best;
}

std::uint64_t sector_bytes(const Head& head) {
  const std::int64_t stated = head.get<"sector_bytes">();
  return stated > 0 && is_power_of_two_in(static_cast<std::uint64_t>(stated), 512, 8192)
             ? static_cast<std::uint64_t>(stated)
             : 512;
}

// Image bytes of a boot program, or nothing when its pointer leads out of the porch or onto the
// first copy of the label.
std::optional<std::uint64_t> program_place(const Head& head, const View& image,
                                           std::uint32_t index) {
  const std::int64_t block = head.get<"boot_block">(index);
  const std::uint64_t unit = sector_bytes(head);
  if (block <= 0 || block >= head.get<"front_porch">()) return std::nullopt;
  const std::uint64_t at = static_cast<std::uint64_t>(block) * unit;
  if (at < label::kDlvLong.bytes) return std::nullopt;
  return image.start() + at;
}

void judge_program(Judging& judging, const Head& head, const View& image, std::uint64_t place) {
  constexpr std::uint64_t kFirstLook = 512;
  const std::uint64_t at = place - image.start();
  const boot::Program program = boot::identify_program(image, at);
  judging.add(kPresent, program.format != boot::ProgramFormat::none, place, kFirstLook,
              boot::describe(program), "let a boot installer write the program");
  const bool foreign = program.is_known() && program.machine != "m68k" && !program.machine.empty();
  judging.add(kMachine, !foreign, place, kFirstLook, boot::describe(program),
              "use the program that was made for this machine");
  const auto second = program_place(head, image, 1);
  std::uint64_t end =
      image.start() + static_cast<std::uint64_t>(head.get<"front_porch">()) * sector_bytes(head);
  if (second && *second > place) end = std::min(end, *second);
  judging.add(kRoom, program.file_bytes <= end - place, place, end - place,
              program.file_bytes == 0
                  ? fmt::format("there is room for {} bytes", end - place)
                  : fmt::format("{} of {} bytes", program.file_bytes, end - place),
              "use a smaller program, or a larger front porch");
  if (!second || *second == place) return;
  const std::uint64_t bytes =
      program.file_bytes != 0 ? std::min(program.file_bytes, end - place) : kFirstLook;
  const bool same =
      image.read_vector(at, bytes) == image.read_vector(*second - image.start(), bytes);
  judging.add(kSecond, same, *second, bytes, same ? "the same bytes" : "other bytes",
              "write the program to both places");
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  Judging judging("m68k-dlv", as);
  const View& image = subject.image;
  const auto copy = best_copy(image);
  judging.add(kLabel, copy.has_value(), copy ? copy->start : image.start(), 4,
              copy ? std::string(name_of(label::kDlvVersions, copy->head().get<"version">()))
                   : "no copy of a label",
              "write a dlV label");
  judging.add(kSum, copy && copy->good, copy ? copy->checksum_place() : image.start(), 2,
              copy ? fmt::format("0x{:04X} is stored, the content gives 0x{:04X}", copy->stored,
                                 copy->computed)
                   : "there is no label to sum up",
              "write the label again");
  std::optional<std::uint64_t> place;
  std::string found = "there is no label";
  if (copy) {
    const Head head = copy->head();
    place = program_place(head, image, 0);
    if (!place) place = program_place(head, image, 1);
    found = fmt::format("label sectors {} and {}, porch of {}", head.get<"boot_block">(0),
                        head.get<"boot_block">(1), head.get<"front_porch">());
  }
  judging.add(kPointer, place.has_value(),
              (copy ? copy->start : image.start()) + Head::offset_of<"boot_block">(), 8,
              std::move(found), "let a boot installer set the pointers");
  if (copy && place) judge_program(judging, copy->head(), image, *place);
  if (as == BootAs::optical)
    add_block_size(judging, place.value_or(image.start()), copy ? sector_bytes(copy->head()) : 512);
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine m68k_dlv;
const Machine m68k_dlv{"m68k-dlv", "ROM monitor of m68k workstations with a dlV label", judge};

}  // namespace platter::machine
