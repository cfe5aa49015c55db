// Would that machine's firmware start from this image?
//
// A machine is a firmware family. For each there is an ordered list of conditions; a condition is
// judged from the layers that were found and from the image's bytes, and the answer carries the
// place where it was decided. What an emulator's firmware tolerates is not taken for what a ROM
// tolerates: sources are named with each condition, and what nobody wrote down is called custom.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/layer.h"
#include "core/view.h"

namespace platter {

/// How the image is offered to the machine.
enum class BootAs : std::uint8_t { disk, optical };
[[nodiscard]] std::string_view boot_as_name(BootAs as) noexcept;

/// ready: everything that is demanded holds. incomplete: something of it is there. none: nothing
/// is.
enum class Verdict : std::uint8_t { none, incomplete, ready };
[[nodiscard]] std::string_view verdict_name(Verdict verdict) noexcept;

/// One condition, judged.
struct Evidence {
  std::string_view check;     ///< id of the condition, e.g. "boot-block-present"; lives for ever
  std::string_view sentence;  ///< what has to hold; lives for ever
  std::string_view source;    ///< standard, header, or "common practice, no source"; lives for ever
  bool demanded = true;       ///< the firmware refuses without it; otherwise it is customary
  bool holds = false;
  std::uint64_t start = 0;  ///< where it was decided, image bytes
  std::uint64_t bytes = 0;
  std::string detail;       ///< what was found
  std::string remedy = {};  ///< what to do when it does not hold
};

/// One row of the survey's `boot` list.
struct BootVerdict {
  std::string_view machine;  ///< "sparc", "hppa", ...
  BootAs as = BootAs::disk;
  Verdict verdict = Verdict::none;
  std::vector<Evidence> evidence;  ///< in the order in which the firmware comes to them
};

/// What a machine is judged by: the layers, and the bytes that they count from (plain ones).
struct BootSubject {
  const std::vector<Layer>& layers;
  View image;
};

/// One firmware family.
struct Machine {
  std::string_view id;        ///< released name
  std::string_view firmware;  ///< which firmware that is, in neutral words
  /// Judges every condition. `none` and `incomplete` differ by whether any of the conditions that
  /// belong to this machine alone holds; see judge().
  BootVerdict (*judge)(const BootSubject& subject, BootAs as) = nullptr;
};

/// Every machine, in the order in which lists show them.
[[nodiscard]] std::span<const Machine* const> all_machines() noexcept;
/// The machine of that name, or nullptr.
[[nodiscard]] const Machine* find_machine(std::string_view id) noexcept;

/// A row for every machine, as disk and as optical disc. A machine that comes to bytes that cannot
/// be read gets the verdict `none`, with the place as its only evidence (`readable`).
[[nodiscard]] std::vector<BootVerdict> judge_boot(const BootSubject& subject);

}  // namespace platter
