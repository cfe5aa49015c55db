#include "filesystem/iso9660_names.h"

#include <algorithm>

#include "core/name_scan.h"

namespace platter::filesystem::iso9660 {
namespace {

std::string_view text_of(std::span<const std::byte> bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

bool is_wide(Charset charset) noexcept {
  return charset == Charset::ucs2_be;
}

// A character of ASCII as it stands on the disk.
bool ends_in(std::string_view name, std::string_view ascii, Charset charset) noexcept {
  if (!is_wide(charset)) return name.ends_with(ascii);
  if (name.size() < 2 * ascii.size()) return false;
  name.remove_prefix(name.size() - 2 * ascii.size());
  for (std::size_t i = 0; i < ascii.size(); ++i) {
    if (name[2 * i] != '\0' || name[2 * i + 1] != ascii[i]) return false;
  }
  return true;
}

void append(std::string& name, std::string_view ascii, Charset charset) {
  for (const char c : ascii) {
    if (is_wide(charset)) name += '\0';
    name += c;
  }
}

}  // namespace

std::string_view shown_identifier(const ParsedRecord& record, Charset charset) {
  std::string_view name = text_of(record.identifier);
  if (record.is_directory()) return name;
  const std::size_t width = is_wide(charset) ? 2 : 1;
  if (name.size() > 2 * width && ends_in(name, ";1", charset)) name.remove_suffix(2 * width);
  if (!is_wide(charset) && name.size() > 1 && name.ends_with('.')) name.remove_suffix(1);
  return name;
}

bool is_impossible_name(std::string_view name, Charset charset) noexcept {
  if (!is_wide(charset)) {
    return name.empty() || name == "." || name == ".." || has_slash_or_nul(name);
  }
  using namespace std::string_view_literals;
  if (name.empty() || name == "\0."sv || name == "\0.\0."sv) return true;
  for (std::size_t i = 0; i + 1 < name.size(); i += 2) {
    if (name[i] == '\0' && (name[i + 1] == '/' || name[i + 1] == '\0')) return true;
  }
  return false;
}

bool needs_suffix(std::string_view name, Charset charset, bool associated) noexcept {
  if (associated) return true;
  // Most names have no ';' at all.
  if (name.find(';') == std::string_view::npos) return false;
  const std::size_t width = is_wide(charset) ? 2 : 1;
  while (ends_in(name, ";", charset))
    name.remove_suffix(width);
  return ends_in(name, kAssociatedSuffix, charset);
}

void add_suffix(std::string& name, Charset charset, bool associated) {
  append(name, associated ? kAssociatedSuffix : ";", charset);
}

bool is_strict_identifier(const ParsedRecord& record) noexcept {
  std::string_view name = text_of(record.identifier);
  const auto is_d = [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
  };
  if (record.is_directory()) return std::ranges::all_of(name, is_d);
  const std::size_t semicolon = name.find(';');
  if (semicolon != std::string_view::npos) {
    const std::string_view version = name.substr(semicolon + 1);
    if (!std::ranges::all_of(version, [](char c) { return c >= '0' && c <= '9'; })) return false;
    name = name.substr(0, semicolon);
  }
  return std::ranges::count(name, '.') <= 1 &&
         std::ranges::all_of(name, [&](char c) { return c == '.' || is_d(c); });
}

}  // namespace platter::filesystem::iso9660
