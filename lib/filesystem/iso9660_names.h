// From identifiers to the names that are shown.
#pragma once

#include <string>
#include <string_view>

#include "core/charset.h"
#include "filesystem/iso9660_record.h"

namespace platter::filesystem::iso9660 {

/// What the name of an associated file ends in, since it has the same identifier as its file.
inline constexpr std::string_view kAssociatedSuffix = ";associated";

/// The identifier as it is shown: of files, version 1 is left out, and in a tree that is not Joliet
/// a dot without extension too. Other versions stay.
[[nodiscard]] std::string_view shown_identifier(const ParsedRecord& record, Charset charset);

/// Whether a name cannot stand in a directory: "", ".", "..", or one with a '/' or NUL in it.
[[nodiscard]] bool is_impossible_name(std::string_view name, Charset charset) noexcept;

/// Whether a name is not shown as it stands: that of an associated file gets kAssociatedSuffix. A
/// name of another file that ends so already gets a ';' more, so that no two names become equal.
[[nodiscard]] bool needs_suffix(std::string_view name, Charset charset, bool associated) noexcept;
void add_suffix(std::string& name, Charset charset, bool associated);

/// Whether an identifier of a plain tree has only the characters and the form that ECMA-119 7.5 and
/// 7.6 allow: d-characters, for files one dot and a version.
[[nodiscard]] bool is_strict_identifier(const ParsedRecord& record) noexcept;

}  // namespace platter::filesystem::iso9660
