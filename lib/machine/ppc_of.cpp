// Open Firmware of ppc machines. It has three ways to start: boot code in a slice of an APM, a boot
// script in the file \ppc\bootinfo.txt, and a client program in a slice of MBR type 0x41. The one
// that the image offers is judged.
#include <algorithm>
#include <array>
#include <optional>
#include <span>
#include <utility>

#include <fmt/format.h>

#include "boot/chrp_boot.h"
#include "boot/prep_boot.h"
#include "label/mbr_label.h"
#include "machine/apm_subject.h"
#include "machine/judging.h"
#include "machine/kept_record.h"
#include "machine/optical_blocks.h"

namespace platter::machine {
namespace {

// Code is looked for in so much of a range; more would only cost time.
constexpr std::uint64_t kLookedAt = std::uint64_t{1} << 20U;
constexpr std::uint64_t kChrpVolumeType = 0x96;
// Valid, allocated, has start-up code, readable (label/apm_label.h).
constexpr std::uint64_t kBootStatus = 0x1B;

constexpr std::string_view kChrp = "IEEE 1275 CHRP binding 1.7, from memory";
constexpr std::string_view kEmulated = "seen with the firmware of an emulator; no source";

constexpr Condition kOffer{
    "start-offered",
    "there is boot code in an APM slice, a boot script, or a program in a slice of type 41",
    "IEEE 1275 CHRP binding 1.7, from memory", true, true};

// Boot code in an APM slice.
constexpr Condition kStatus{"boot-slice-status",
                            "the slice is marked valid, allocated, with boot code, readable",
                            kEmulated};
constexpr Condition kProcessor{"boot-slice-processor",
                               "the slice is for PowerPC, or its type says Boot or Bootstrap",
                               kEmulated, true, false};
constexpr Condition kSize{"boot-code-size", "the slice gives a length of its boot code",
                          "NetBSD sys/sys/bootblock.h, partition map entry"};
constexpr Condition kInside{"boot-code-inside", "the boot code lies in its slice and in the image",
                            "NetBSD sys/sys/bootblock.h, partition map entry"};
constexpr Condition kEntry{"boot-code-entry", "the entry address lies in the code as it is loaded",
                           "NetBSD sys/sys/bootblock.h, partition map entry"};
constexpr Condition kCode{"boot-code-not-empty", "the boot code is not all zero",
                          "common practice, no source"};
constexpr Condition kSum{"boot-code-checksum",
                         "the checksum of the boot code is right or not given",
                         "technical note DV 12 of the machines' maker (1989), for drivers", false};

// A boot script.
constexpr Condition kScriptInside{"boot-script-inside", "the boot script lies in the image", kChrp};
constexpr Condition kElement{"boot-script-element", "it begins with <CHRP-BOOT>", kChrp};
constexpr Condition kScript{"boot-script-commands", "it has commands in a <BOOT-SCRIPT>", kChrp};
constexpr Condition kCover{"volume-slice",
                           "an MBR entry of type 96 or an APM slice covers the volume", kChrp};
constexpr Condition kName{"boot-script-name", "its name is recorded without a version", kEmulated,
                          false};

// A client program.
constexpr Condition kProgram{"client-program", "the slice of type 41 begins with a program for ppc",
                             kChrp};

void leave_open(Judging& judging, std::span<const Condition* const> conditions, std::uint64_t at,
                std::string_view why) {
  for (const Condition* condition : conditions) {
    judging.add(*condition, false, at, 0, std::string(why));
  }
}

// ---- Boot code in an APM slice

std::string lowered(std::string text) {
  std::ranges::transform(text, text.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
  });
  return text;
}

bool is_for_ppc(const FieldReader<label::kApmEntry>& entry) {
  return lowered(entry.text<"processor">()) == "powerpc";
}
bool is_boot_type(const FieldReader<label::kApmEntry>& entry) {
  const std::string tail = apm_type_tail(entry);
  return tail == "boot" || tail == "bootstrap";
}

// How much speaks for a slice as the one that holds the code; drivers and slices for 68k have none.
unsigned promise_of(const FieldReader<label::kApmEntry>& entry) {
  const std::string processor = entry.text<"processor">();
  const bool driver = apm_type_tail(entry).starts_with("driver");
  if (driver || processor.starts_with("68") || entry.get<"blocks">() == 0) return 0;
  unsigned points = 0;
  if (entry.get<"boot_bytes">() != 0) ++points;
  if ((entry.get<"status">() & label::kApmBootable) != 0) ++points;
  if (is_for_ppc(entry)) ++points;
  if (is_boot_type(entry)) ++points;
  return points;
}

std::optional<std::size_t> boot_slice(const ApmSubject& apm) {
  std::optional<std::size_t> best;
  unsigned most = 1;  // a single hint is none
  for (std::size_t i = 0; i < apm.boot.map.entries.size(); ++i) {
    const unsigned points = promise_of(apm.boot.map.entries[i]);
    if (points <= most) continue;
    most = points;
    best = i;
  }
  return best;
}

void judge_code(Judging& judging, const ApmSubject& apm, const View& image,
                const Record<label::kApmEntry>& entry) {
  const std::uint64_t bytes = entry.get<"boot_bytes">();
  const boot::BootPlace place = boot::boot_place(image, apm.boot.map, entry);
  judging.add(kSize, bytes != 0, entry.place_of<"boot_bytes">(), 4, fmt::format("{} bytes", bytes),
              "write the boot code again, with its length");
  const bool inside = judging.add(kInside, place.inside && bytes != 0, place.start, bytes,
                                  fmt::format("{} bytes from byte {} on", bytes, place.start),
                                  "get a complete copy, or write the boot code again");
  const std::uint64_t load = entry.get<"boot_load">();
  const std::uint64_t address = entry.get<"boot_entry">();
  judging.add(kEntry, address >= load && address - load < std::max<std::uint64_t>(bytes, 1),
              entry.place_of<"boot_entry">(), 4,
              fmt::format("loaded to 0x{:X}, entered at 0x{:X}", load, address),
              "write the boot code again, with its addresses");
  const bool empty =
      !inside || all_zero(image, place.start - image.start(), std::min(bytes, kLookedAt));
  judging.add(kCode, !empty, place.start, bytes, empty ? "there is nothing" : "there is something",
              "write the boot code again");
  const auto code = std::ranges::find(apm.boot.codes, place.start, &boot::ApmCode::start);
  const bool known = code != apm.boot.codes.end() &&
                     (code->sum == boot::SumState::good || code->sum == boot::SumState::bad);
  judging.add(kSum, !known || code->sum == boot::SumState::good, entry.place_of<"boot_checksum">(),
              4,
              known ? fmt::format("stored 0x{:04X}, computed 0x{:04X}",
                                  entry.get<"boot_checksum">(), code->computed)
                    : fmt::format("stored 0x{:04X}, not computed", entry.get<"boot_checksum">()),
              "compare with another copy; the firmware of an emulator does not look at it");
}

void judge_boot_slice(Judging& judging, const ApmSubject& apm, const View& image,
                      std::size_t index) {
  const Record<label::kApmEntry>& entry = apm.boot.map.entries[index];
  judging.add(kOffer, true, entry.start(), label::kApmEntry.bytes,
              fmt::format("entry {} of the APM offers boot code", index + 1));
  add_apm_signatures(judging, apm, image);
  const bool typed = is_boot_type(entry);
  const std::uint64_t status = entry.get<"status">();
  judging.add(kStatus, typed || (status & kBootStatus) == kBootStatus, entry.place_of<"status">(),
              4,
              fmt::format("status 0x{:X}{}", status, typed ? ", not looked at for this type" : ""),
              "set the bits in the slice's entry");
  judging.add(kProcessor, typed || is_for_ppc(entry), entry.place_of<"processor">(), 16,
              fmt::format("processor \"{}\"",
                          printable(decode_text(entry.text<"processor">(), Charset::ascii).utf8)),
              "name PowerPC in the slice's entry");
  judge_code(judging, apm, image, entry);
}

// ---- A boot script

const Layer* script_layer(const BootSubject& subject) {
  return first_layer(subject.layers, LayerKind::boot, "chrp-boot",
                     [](const Layer& layer) { return layer.facts.find("boot_script") != nullptr; });
}

bool is_true(const Layer& layer, std::string_view fact) {
  const FactValue* value = layer.facts.find(fact);
  return value != nullptr && *value == FactValue(true);
}

// As a disk the volume has to be a slice of its own.
bool has_volume_slice(const BootSubject& subject, const Layer& script) {
  bool covered = false;
  for_each_layer(subject.layers, [&](const Layer& layer) {
    const bool counts = layer.kind == LayerKind::slice &&
                        (layer.format == "apm" ||
                         (layer.format == "mbr" && layer.facts.number("type") == kChrpVolumeType));
    if (counts && script.start >= layer.start &&
        fits_within(script.start - layer.start, script.bytes, layer.bytes)) {
      covered = true;
    }
  });
  return covered;
}

void judge_script(Judging& judging, const BootSubject& subject, BootAs as, const Layer& script) {
  judging.add(kOffer, true, script.start, script.bytes, "\\ppc\\bootinfo.txt is there");
  if (as == BootAs::disk) {
    judging.add(kCover, has_volume_slice(subject, script), subject.image.start(), 512,
                "the tables of the image were looked at",
                "give the volume an MBR entry of type 96 or an APM slice");
  }
  const std::uint64_t offset = script.start - subject.image.start();
  judging.add(
      kScriptInside, script.bytes != 0 && fits_within(offset, script.bytes, subject.image.bytes()),
      script.start, script.bytes, fmt::format("{} bytes", script.bytes), "get a complete copy");
  judging.add(kElement, is_true(script, "begins_with_element"), script.start,
              boot::kChrpElement.size(), "the first bytes were compared in any case of letters",
              "begin the file with <CHRP-BOOT>, without a blank before it");
  judging.add(kScript, is_true(script, "boot_script"), script.start, script.bytes,
              fmt::format("\"{}\"", printable(script.facts.words("command"))),
              "write a <BOOT-SCRIPT> element");
  const std::string name = script.facts.words("recorded_name");
  judging.add(kName, name.find(';') == std::string::npos, script.facts.number("directory_record"),
              33, fmt::format("\"{}\"", printable(name)),
              "master the volume without version numbers");
}

// ---- A client program

const Layer* program_layer(const BootSubject& subject) {
  return first_layer(subject.layers, LayerKind::boot, "chrp-boot",
                     [](const Layer& layer) { return layer.facts.find("program") != nullptr; });
}

void judge_program(Judging& judging, const BootSubject& subject, const Layer& program) {
  judging.add(kOffer, true, program.start, program.bytes, "a slice of type 41 holds a program");
  const std::uint64_t offset = program.start - subject.image.start();
  judging.add(kProgram, boot::client_program_at(subject.image, offset) != boot::ClientProgram::none,
              program.start, boot::kElfHead.bytes, program.facts.words("program"));
}

BootVerdict judge(const BootSubject& subject, BootAs as) {
  const View& image = subject.image;
  Judging judging("ppc-of", as);
  const ApmSubject apm = read_apm(subject);
  const auto slice = boot_slice(apm);
  if (const Layer* script = script_layer(subject)) {
    judge_script(judging, subject, as, *script);
  } else if (slice) {
    judge_boot_slice(judging, apm, image, *slice);
  } else if (const Layer* program = program_layer(subject)) {
    judge_program(judging, subject, *program);
  } else {
    judging.add(kOffer, false, image.start(), apm.unit,
                apm_slice_of(apm, "hfs")
                    ? "none of them; what an HFS volume marks for starting is not looked for"
                    : "none of them",
                "add boot code for ppc");
    leave_open(judging, std::array{&kSize, &kCode}, image.start(), "there is no boot code");
  }
  if (as == BootAs::optical && apm.has_map()) add_block_size(judging, apm.map_at, apm.unit);
  return std::move(judging).verdict();
}

}  // namespace

extern const Machine ppc_of;
const Machine ppc_of = {"ppc-of", "Open Firmware", judge};

}  // namespace platter::machine
