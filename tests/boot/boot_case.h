// One bootable image, good or spoiled, and what is expected of the firmware and of platter.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "boot/emulator.h"
#include "boot/images.h"
#include "machine/machine.h"

namespace platter::test {

/// A family of firmware: the machine, the image that it starts from, and how steady its word is.
struct Family {
  std::string_view name;     ///< e.g. "sparc-disk"
  std::string_view line;     ///< name in the line that the boot code prints
  std::string_view machine;  ///< platter's row
  BootAs as = BootAs::disk;
  Emulator (*emulator)() = nullptr;
  Bytes (*good)() = nullptr;
  /// Now and then this firmware refuses a good image, so that one refusal is no evidence.
  bool refuses_at_random = false;
};

/// What the firmware was seen to do; recorded, and held to be so on every run.
enum class Seen : std::uint8_t {
  boots,     ///< the line appears; with something spoiled: the firmware tolerates that
  refuses,   ///< the line never appears, and the firmware says no
  starts,    ///< control is handed over, and nothing comes
  unsteady,  ///< differs from run to run: shown, not held to anything
};

struct BootCase {
  std::string_view name;
  const Family& family;
  /// Id of a condition of platter's row that does not hold because of what was spoiled; "" when all
  /// that is demanded has to hold.
  std::string_view condition;
  Verdict verdict = Verdict::ready;  ///< platter's
  Seen seen = Seen::boots;
  bool quick = false;      ///< part of the short run
  std::string_view words;  ///< what was spoiled, for a person
  void (*spoil)(Bytes& image) = nullptr;

  [[nodiscard]] Bytes image() const {
    Bytes bytes = family.good();
    if (spoil != nullptr) spoil(bytes);
    return bytes;
  }
};

/// The one table of expectations: tests/boot/table_*.cpp.
[[nodiscard]] std::span<const BootCase> pc_boot_cases();
[[nodiscard]] std::span<const BootCase> workstation_boot_cases();
[[nodiscard]] std::span<const BootCase> ppc_and_mips_boot_cases();
[[nodiscard]] std::vector<const BootCase*> all_boot_cases();

/// What came of all tries with one image.
struct Outcome {
  const BootCase* subject = nullptr;
  std::vector<Run> runs = {};
  std::string firmware = {};  ///< emulator and firmware with their versions
  std::string trouble = {};   ///< why the emulator could not be run

  [[nodiscard]] bool as_recorded() const;
  [[nodiscard]] std::string words() const;  ///< e.g. "refused, refused, booted"
};

/// Runs every case, two at a time. In the order of the cases.
[[nodiscard]] std::vector<Outcome> witness(const std::vector<const BootCase*>& cases);

/// platter's answer for the image's machine, and whether it is the one that the table has.
struct Judgement {
  std::string verdict;       ///< "ready", or "no such machine"
  std::string failing = {};  ///< ids of the conditions that do not hold, customary ones in brackets
  std::string differs = {};  ///< what is not as the table has it; "" when nothing
};
[[nodiscard]] Judgement judge(const BootCase& subject);

/// The page of all outcomes, in Markdown.
[[nodiscard]] std::string evidence_page(const std::vector<Outcome>& outcomes);

}  // namespace platter::test
