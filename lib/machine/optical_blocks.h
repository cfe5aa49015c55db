// The block size of optical drives, for machines that read a disc as if it were a disk.
#pragma once

#include <cstdint>

#include "machine/judging.h"

namespace platter::machine {

/// Adds the customary condition that what the firmware reads does not need a drive with 512-byte
/// blocks.
/// \param start       where something that is read begins, image bytes
/// \param block_bytes unit in which the label counts
void add_block_size(Judging& judging, std::uint64_t start, std::uint64_t block_bytes);

}  // namespace platter::machine
