#include "filesystem/xfs_log.h"

#include <algorithm>
#include <optional>

#include "filesystem/xfs_structures.h"

namespace platter::filesystem {
namespace {

// A record has at most 256 KiB and a head for each 32 KiB of it.
constexpr std::uint64_t kMostBack = 512 + 8 + 1;
constexpr std::uint64_t kHeadCovers = 32 * 1024;

class Log {
 public:
  Log(View view, std::uint64_t blocks) : view_(std::move(view)), blocks_(blocks) {}

  XfsLogState state() {
    const auto head = find_end();
    if (!head) return XfsLogState::unknown;
    if (*head == 0 && cycle(0) == 0) return XfsLogState::clean;  // never written
    for (std::uint64_t back = 1; back <= std::min(kMostBack, blocks_); ++back) {
      const std::uint64_t block = (*head + blocks_ - back) % blocks_;
      if (word(block) == kXfsLogMagic) return state_of_record(block, *head);
    }
    return XfsLogState::unclean;
  }

 private:
  [[nodiscard]] std::uint64_t word(std::uint64_t block) const {
    return view_.number(block * kXfsLogBlock, 4, ByteOrder::big);
  }
  // A block begins with the cycle it was written in; a record's head has it behind the magic.
  [[nodiscard]] std::uint64_t cycle(std::uint64_t block) const {
    constexpr std::uint64_t kCycle = FieldReader<kXfsLogRecord>::offset_of<"cycle">();
    const std::uint64_t first = word(block);
    return first == kXfsLogMagic ? view_.number(block * kXfsLogBlock + kCycle, 4, ByteOrder::big)
                                 : first;
  }

  // The block behind the last one that was written.
  [[nodiscard]] std::optional<std::uint64_t> find_end() const {
    const std::uint64_t first = cycle(0);
    const std::uint64_t last = cycle(blocks_ - 1);
    if (first == last || first == 0) return 0;
    // Cycles fall once: to the one before, or to none where the log was not filled yet.
    if (last != 0 && first != last + 1) return std::nullopt;
    std::uint64_t low = 0;  // still the first cycle
    std::uint64_t high = blocks_ - 1;
    while (high - low > 1) {
      const std::uint64_t middle = low + (high - low) / 2;
      (cycle(middle) == first ? low : high) = middle;
    }
    return high;
  }

  [[nodiscard]] XfsLogState state_of_record(std::uint64_t block, std::uint64_t head) const {
    const auto record = view_.record<kXfsLogRecord>(block * kXfsLogBlock, ByteOrder::big);
    const bool large = record.get<"version">() == 2 && record.get<"size">() > kHeadCovers;
    const std::uint64_t heads = large ? divide_up(record.get<"size">(), kHeadCovers) : 1;
    const std::uint64_t length = heads + divide_up(record.get<"bytes">(), kXfsLogBlock);
    if (record.get<"operations">() != 1 || (block + length) % blocks_ != head) {
      return XfsLogState::unclean;
    }
    const auto operation =
        view_.record<kXfsLogOperation>((block + heads) % blocks_ * kXfsLogBlock, ByteOrder::big);
    return (operation.get<"flags">() & kXfsLogUnmount) != 0 ? XfsLogState::clean
                                                            : XfsLogState::unclean;
  }

  View view_;
  std::uint64_t blocks_;  // of 512 bytes
};

}  // namespace

XfsLogState xfs_log_state(const View& view, const XfsSuper& super, const XfsShape& shape) {
  const std::uint64_t blocks = super.get<"log_blocks">();
  if (super.get<"log_start">() == 0 || blocks == 0) return XfsLogState::unknown;
  const std::uint64_t first = shape.block_of(super.get<"log_start">(), blocks);
  if (first >= shape.blocks) return XfsLogState::unknown;
  const std::uint64_t bytes = blocks * shape.block_bytes;
  const View part = view.sub(saturating_mul(first, shape.block_bytes), bytes);
  if (part.bytes() < bytes) return XfsLogState::unknown;
  try {
    return Log(part, bytes / kXfsLogBlock).state();
  } catch (const IoError&) {
    return XfsLogState::unknown;
  }
}

std::string_view xfs_log_word(XfsLogState state) noexcept {
  switch (state) {
    case XfsLogState::clean:
      return "clean";
    case XfsLogState::unclean:
      return "not clean";
    case XfsLogState::unknown:
      break;
  }
  return "unknown";
}

}  // namespace platter::filesystem
