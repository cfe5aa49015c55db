// PReP firmware: the load image in a slice of MBR type 0x41.
#include <algorithm>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "boot/prep_boot.h"
#include "label/mbr_label.h"
#include "machine/judging.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

// Code is looked for in so much of a range; more would only cost time.
constexpr std::uint64_t kLookedAt = std::uint64_t{1} << 20U;
using Mbr = Record<label::kMbr>;
using Slot = FieldReader<label::kMbrEntry>;

constexpr std::uint64_t kBlock = 512;

constexpr Condition kSignature{"boot-signature", "the first sector ends in 55 AA",
                               "Linux arch/ppc/boot/utils/mkprep.c"};
constexpr Condition kSlice{"prep-slice", "the table has an entry of type 41",
                           "Linux arch/ppc/boot/utils/mkprep.c", true, true};
constexpr Condition kInside{"prep-slice-inside", "that slice starts in the image",
                            "Linux arch/ppc/boot/utils/mkprep.c"};
constexpr Condition kEntry{"entry-offset",
                           "the slice's second sector gives an entry inside the load image",
                           "Linux arch/ppc/boot/utils/mkprep.c", true, true};
constexpr Condition kLength{"load-length", "the load image lies in its slice and in the image",
                            "Linux arch/ppc/boot/utils/mkprep.c"};
constexpr Condition kCode{"load-image-present", "what is entered is not all zero",
                          "common practice, no source"};
constexpr Condition kFirst{"prep-slice-first", "no other slice stands before it in the table",
                           "seen with the firmware of an emulator; no source", false};
constexpr Condition kActive{"prep-slice-active", "its entry is marked active",
                            "Linux arch/ppc/boot/utils/mkprep.c", false};

bool is_extended(std::uint64_t type) {
  return type == 0x05 || type == 0x0F || type == 0x85;
}

// A load image where its slice has lost its type: entry and length are what makers write.
bool looks_like_image(const View& image, const Slot& slot) {
  const std::uint64_t start = saturating_mul(slot.get<"first">(), kBlock);
  const auto header =
      image.record<boot::kPrepHeader>(start + boot::kPrepHeaderPlace, ByteOrder::little);
  const std::uint64_t entry = header.get<"entry">();
  return header.complete() && entry >= kBlock && entry <= 8 * kBlock && entry % 4 == 0 &&
         entry < header.get<"length">() &&
         header.get<"length">() <= saturating_mul(slot.get<"sectors">(), kBlock);
}

struct Choice {
  std::uint32_t index = 0;
  bool typed = false;
  bool first = false;  // of those that hold anything
};

std::optional<Choice> choose(const View& image, const Mbr& mbr) {
  std::optional<Choice> untyped;
  bool first = true;
  for (std::uint32_t i = 0; i < Mbr::count_of<"entry">(); ++i) {
    const Slot slot = mbr.sub<"entry">(i);
    const std::uint64_t type = slot.get<"type">();
    if (type == boot::kPrepType && slot.get<"sectors">() != 0) return Choice{i, true, first};
    if (type == 0 || is_extended(type)) continue;
    if (!untyped && looks_like_image(image, slot)) untyped = Choice{i, false, first};
    first = false;
  }
  return untyped;
}

void judge_image(Judging& judging, const View& image, const Slot& slot, BootAs as) {
  const std::uint64_t start = saturating_mul(slot.get<"first">(), kBlock);
  const std::uint64_t bytes = saturating_mul(slot.get<"sectors">(), kBlock);
  const auto header =
      image.record<boot::kPrepHeader>(start + boot::kPrepHeaderPlace, ByteOrder::little);
  const std::uint64_t entry = header.get<"entry">();
  const std::uint64_t length = header.get<"length">();
  const auto program = boot::client_program_at(image, start);
  const bool plain = program == boot::ClientProgram::none;
  const bool entered = judging.add(
      kEntry, plain && entry != 0 && entry < length, header.place_of<"entry">(), 4,
      plain ? fmt::format("entry {}, length {}", entry, length)
            : fmt::format("the slice begins with an {}", boot::client_program_name(program)),
      "write the load image with its entry and length, little-endian, in the second sector");
  const bool whole = judging.add(
      kLength, plain && length != 0 && length <= bytes && fits_within(start, length, image.bytes()),
      header.place_of<"length">(), 4,
      fmt::format("length {}, the slice has {} bytes from byte {} on, the image {}", length, bytes,
                  start, image.bytes()),
      "make the slice as large as its load image, or get a complete copy");
  const bool there =
      entered && whole && !all_zero(image, start + entry, std::min(length - entry, kLookedAt));
  judging.add(kCode, there, image.start() + start + (entered ? entry : 0),
              entered && whole ? length - entry : 0,
              there ? "there is something" : "nothing is there to run",
              "copy the load image into the slice");
  if (as == BootAs::optical) add_block_size(judging, image.start() + start, kBlock);
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  const View& image = subject.image;
  Judging judging("ppc-prep", as);
  const auto mbr = image.record<label::kMbr>(0, ByteOrder::little);
  judging.add(kSignature, mbr.get<"signature">() == label::kMbrSignature,
              mbr.place_of<"signature">(), 2,
              fmt::format("found 0x{:04X}, read as little-endian", mbr.get<"signature">()),
              "write a partition table into the first sector");
  const bool table = mbr.get<"signature">() == label::kMbrSignature;
  const auto choice = choose(image, mbr);
  const auto at = mbr.place_of<"entry">(choice ? choice->index : 0);
  // Without 55 AA any 16 bytes read like an entry, so that a type alone says nothing then.
  const bool typed = choice && choice->typed;
  const bool believed =
      typed && (table || looks_like_image(image, mbr.sub<"entry">(choice->index)));
  judging.add(kSlice, believed, at, label::kMbrEntry.bytes,
              typed ? fmt::format("entry {}", choice->index + 1)
              : choice
                  ? fmt::format("entry {} holds a load image and has type 0x{:02X}",
                                choice->index + 1, mbr.sub<"entry">(choice->index).get<"type">())
                  : "there is none",
              "give the load image a slice of type 41");
  const bool looked_at = believed || (choice && !typed && table);
  if (!looked_at) {
    for (const Condition* condition : {&kInside, &kEntry, &kLength, &kCode}) {
      judging.add(*condition, false, at, 0, "there is no such slice",
                  "give the load image a slice of type 41");
    }
    return std::move(judging).verdict();
  }
  const Slot slot = mbr.sub<"entry">(choice->index);
  const std::uint64_t start = saturating_mul(slot.get<"first">(), kBlock);
  judging.add(
      kInside, start < image.bytes(), at + Slot::offset_of<"first">(), 4,
      fmt::format("it starts at sector {} of {}", slot.get<"first">(), image.bytes() / kBlock),
      "get a complete copy");
  judge_image(judging, image, slot, as);
  judging.add(kFirst, choice->first, at, label::kMbrEntry.bytes,
              fmt::format("it is entry {}", choice->index + 1),
              "put it first; firmware was seen that looks at no other");
  judging.add(kActive, slot.get<"flag">() == 0x80, at, 1,
              fmt::format("flag 0x{:02X}", slot.get<"flag">()), "mark it as active");
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine ppc_prep;
const Machine ppc_prep = {"ppc-prep", "PReP firmware", judge};

}  // namespace platter::machine
