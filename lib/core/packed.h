// Containers: compressed streams and archives, through libarchive.
//
// libarchive brings some 20 ms of start-up with it, so it is loaded only when the first bytes of a
// file are those of a container.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/source.h"

namespace platter {

/// The kind of container that these first bytes (at least 512 where there are so many) announce:
/// "gzip", "bzip2", "xz", "zstd", "compress", "zip", "7z", "tar", "cpio"; empty when none.
[[nodiscard]] std::string_view container_kind(std::span<const std::byte> first_bytes) noexcept;

struct Unpacked {
  std::shared_ptr<const ByteSource> source;  ///< nullptr when no single member could be chosen
  std::vector<std::string> container;        ///< filters, then the archive format if there is one
  std::string member;
  std::vector<std::string> members;  ///< every regular file, when `source` is nullptr
};

/// Unpacks a container into an unnamed temporary file. `member` names the file wanted; without it
/// the container must hold exactly one regular file, else `members` lists what is there.
/// Throws IoError when the container is damaged, the member is missing, or more than `limit` bytes
/// would have to be stored.
[[nodiscard]] Unpacked unpack(const ByteSource& packed, const std::string& path,
                              const std::optional<std::string>& member, std::uint64_t limit);

}  // namespace platter
