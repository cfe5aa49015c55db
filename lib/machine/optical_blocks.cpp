#include "machine/optical_blocks.h"

#include <fmt/format.h>

namespace platter::machine {
namespace {

constexpr std::uint64_t kOpticalBlock = 2048;

constexpr Condition kBlockSize{
    "drive-block-size",
    "what the firmware reads begins at a whole 2048-byte block, as a plain CD drive gives it",
    "SCSI-2, CD-ROM devices (2048 bytes by default); that old boot code wants 512 is common "
    "practice, no source",
    false};

}  // namespace

void add_block_size(Judging& judging, std::uint64_t start, std::uint64_t block_bytes) {
  judging.add(kBlockSize, start % kOpticalBlock == 0, start, block_bytes,
              fmt::format("byte {}, in units of {} bytes", start, block_bytes),
              "let the emulated drive report 512-byte blocks");
}

}  // namespace platter::machine
