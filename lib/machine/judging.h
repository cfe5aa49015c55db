// Conditions of a machine, judged one after the other, and the verdict that follows from them.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "machine/machine.h"

namespace platter::machine {

/// One row of a machine's table of conditions. Rows are constexpr; their texts live for ever.
struct Condition {
  std::string_view id;        ///< e.g. "boot-signature"; released vocabulary
  std::string_view sentence;  ///< what has to hold
  std::string_view source;    ///< standard and clause, header, or "common practice, no source"
  bool demanded = true;       ///< the firmware refuses without it; otherwise it is customary
  /// That it holds shows that the image has something to do with this machine. A condition that
  /// holds for most images, such as "the sector is not empty", is not specific.
  bool specific = false;
};

/// Collects the evidence of one row of the survey's `boot` list:
///
///     Judging judging("i386", BootAs::disk);
///     judging.add(kSignature, holds, start + 510, 2, "found 0x0000", "put a boot record there");
///     return std::move(judging).verdict();
class Judging {
 public:
  /// \param machine the machine's released name; lives for ever
  Judging(std::string_view machine, BootAs as);

  /// Adds a condition as it was found.
  /// \param start, bytes where it was decided, image bytes
  /// \param detail       what was found there
  /// \param remedy       what to do about it; kept only when the condition does not hold
  /// \return holds
  bool add(const Condition& condition, bool holds, std::uint64_t start, std::uint64_t bytes,
           std::string detail, std::string remedy = {});

  /// The bytes belong to something else, so that holding conditions are coincidence: the verdict is
  /// `none` unless everything that is demanded holds.
  void rule_out() noexcept { ruled_out_ = true; }

  /// ready: every demanded condition holds, and there is one. incomplete: a specific one holds.
  [[nodiscard]] BootVerdict verdict() &&;

 private:
  BootVerdict result_;
  bool any_demanded_ = false;
  bool any_missing_ = false;
  bool any_specific_ = false;
  bool ruled_out_ = false;
};

}  // namespace platter::machine
