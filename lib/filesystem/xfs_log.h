// Whether an XFS volume was left in order, as its log tells.
#pragma once

#include <cstdint>
#include <string_view>

#include "filesystem/xfs_shape.h"

namespace platter::filesystem {

enum class XfsLogState : std::uint8_t {
  clean,    ///< ends with the record of an unmount, or was never written
  unclean,  ///< changes may not be in their places yet
  unknown,  ///< on a device of its own, not all there, or not to be made out
};

/// Looks for the end of the log by its cycle numbers, as Linux fs/xfs/xfs_log_recover.c does
/// (xlog_find_head, xlog_check_unmount_rec). Reads some twenty blocks and the last record.
[[nodiscard]] XfsLogState xfs_log_state(const View& view, const XfsSuper& super,
                                        const XfsShape& shape);

/// "clean", "not clean", "unknown": the words of the fact `clean`.
[[nodiscard]] std::string_view xfs_log_word(XfsLogState state) noexcept;

}  // namespace platter::filesystem
