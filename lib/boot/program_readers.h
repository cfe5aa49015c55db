// The readers behind identify_program(), one per family of formats. Each answers nothing when the
// header is not of its kind.
#pragma once

#include <optional>

#include "boot/program.h"

namespace platter::boot {

/// Longer parts than this are no statement of a header but bytes of something else.
inline constexpr std::uint64_t kMostProgramBytes = std::uint64_t{1} << 28U;

[[nodiscard]] std::optional<Program> read_aout(const View& view, std::uint64_t offset);
[[nodiscard]] std::optional<Program> read_elf(const View& view, std::uint64_t offset);
/// COFF, ECOFF and XCOFF.
[[nodiscard]] std::optional<Program> read_coff(const View& view, std::uint64_t offset);
[[nodiscard]] std::optional<Program> read_som(const View& view, std::uint64_t offset);
[[nodiscard]] std::optional<Program> read_fcode(const View& view, std::uint64_t offset);

}  // namespace platter::boot
