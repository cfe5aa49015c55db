// ELF, 32 and 64 bits, either byte order.
#include <algorithm>

#include "boot/program_headers.h"
#include "boot/program_readers.h"

namespace platter::boot {
namespace {

constexpr std::uint64_t kMostSegments = 64;
constexpr std::uint64_t kLoad = 1;
constexpr std::uint64_t kExecutable = 1;
constexpr std::uint64_t kMostType = 4;

template <const Structure& H, const Structure& S>
std::optional<Program> read_class(const View& view, std::uint64_t offset, ByteOrder order) {
  const auto header = view.record<H>(offset, order);
  const std::uint64_t type = header.template get<"type">();
  const std::uint64_t segments = header.template get<"segments">();
  if (!header.complete() || header.template get<"version">() != 1 || type == 0 ||
      type > kMostType || header.template get<"header_bytes">() != H.bytes ||
      segments > kMostSegments ||
      (segments != 0 && header.template get<"segment_bytes">() != S.bytes)) {
    return std::nullopt;
  }
  Program program;
  program.format = ProgramFormat::elf;
  program.machine = name_of(kElfMachines, header.template get<"machine">());
  program.order = order;
  program.entry = header.template get<"entry">();
  program.file_bytes = H.bytes;
  program.record = header.keep();
  for (std::uint64_t i = 0; i < segments; ++i) {
    const std::uint64_t at = saturating_add(header.template get<"segments_at">(), i * S.bytes);
    const auto segment = view.record<S>(saturating_add(offset, at), order);
    program.file_bytes = std::max(program.file_bytes, saturating_add(at, S.bytes));
    if (!segment.complete() || segment.template get<"type">() != kLoad) continue;
    const std::uint64_t bytes = segment.template get<"file_bytes">();
    const std::uint64_t memory = segment.template get<"memory_bytes">();
    const bool code = (segment.template get<"flags">() & kExecutable) != 0;
    std::uint64_t& part = code ? program.text : program.data;
    part = saturating_add(part, bytes);
    program.bss = saturating_add(program.bss, memory > bytes ? memory - bytes : 0);
    program.file_bytes =
        std::max(program.file_bytes, saturating_add(segment.template get<"offset">(), bytes));
  }
  return program;
}

}  // namespace

std::optional<Program> read_elf(const View& view, std::uint64_t offset) {
  if (!view.holds(offset,
                  "\x7F"
                  "ELF"))
    return std::nullopt;
  const auto ident = view.record<kElfIdent>(offset, ByteOrder::big);
  const std::uint64_t data = ident.get<"data">();
  if (!ident.complete() || ident.get<"version">() != 1 || (data != 1 && data != 2)) {
    return std::nullopt;
  }
  const ByteOrder order = data == 1 ? ByteOrder::little : ByteOrder::big;
  switch (ident.get<"file_class">()) {
    case 1:
      return read_class<kElf32, kElf32Segment>(view, offset, order);
    case 2:
      return read_class<kElf64, kElf64Segment>(view, offset, order);
    default:
      return std::nullopt;
  }
}

}  // namespace platter::boot
