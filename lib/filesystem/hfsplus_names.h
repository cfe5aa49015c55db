// Names of HFS+: UTF-16, big-endian, decomposed; and the order in which its catalog keeps them.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace platter::filesystem {

/// A UTF-16 unit as names are compared where case does not matter: lower case, 0 when it counts for
/// nothing, and 0xFFFF for NUL.
[[nodiscard]] std::uint16_t fold_hfsplus_unit(std::uint16_t unit) noexcept;

/// Orders names as the catalog does. Below, at or above 0. The names are bytes as on the disk.
[[nodiscard]] int compare_hfsplus_names(std::string_view a, std::string_view b, bool by_case);

/// ASCII text as it stands on the disk.
[[nodiscard]] std::string hfsplus_name_of(std::string_view ascii);

/// The private directory that holds the files of hard links, below the root: four NULs in front, so
/// that it is the last name of all.
[[nodiscard]] const std::string& hfsplus_private_name();
/// How the names of those files begin; their number follows.
inline constexpr std::string_view kHfsPlusLinkedFile = "iNode";
/// Whether a name, as on the disk, begins so.
[[nodiscard]] bool is_hfsplus_linked_name(std::string_view name);

}  // namespace platter::filesystem
