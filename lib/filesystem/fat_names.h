// Names and times of FAT directory entries.
#pragma once

#include <array>
#include <optional>
#include <string_view>

#include "core/charset.h"
#include "core/facts.h"
#include "core/record.h"
#include "filesystem/fat_structures.h"

namespace platter::filesystem {

using FatEntry = FieldReader<kFatEntry>;

/// The moment that a date and a time of FAT state, taken as UTC because no zone is stored; nullopt
/// for what is no date, and so for "never".
[[nodiscard]] std::optional<Timestamp> fat_time(std::uint64_t date, std::uint64_t time,
                                                std::uint64_t hundredths = 0);

/// A short name as a person writes it: NAME.EXT without padding, 0x05 in front as 0xE5, letters in
/// lower case where the case flags say so (Linux fs/fat/dir.c and other systems of the long-name
/// age; common practice). The bytes are of the code page.
class FatShortName {
 public:
  explicit FatShortName(const FatEntry& entry, Charset charset = Charset::cp437);
  [[nodiscard]] std::string_view text() const noexcept { return {text_.data(), length_}; }
  /// Bytes below a blank, or a blank in front: no system makes such names.
  [[nodiscard]] bool is_legal() const noexcept { return legal_; }

 private:
  std::array<char, 12> text_{};
  std::size_t length_ = 0;
  bool legal_ = true;
};

/// "." and "..", which are no names.
[[nodiscard]] bool is_dot_entry(const FatEntry& entry, std::size_t dots);

/// The sum over a short name's eleven bytes that every part of its long name repeats.
[[nodiscard]] std::uint8_t fat_checksum(const FatEntry& entry);

/// Gathers the parts of a long name, which come last part first, in front of the short entry.
class FatLongName {
 public:
  /// Takes one more part. Returns false when it does not follow the parts that are held (those are
  /// dropped) or cannot begin a name.
  bool add(const FieldReader<kFatLongName>& part);
  /// The name as little-endian UTF-16 when all its parts are there and belong to that entry.
  [[nodiscard]] std::optional<std::string_view> name_for(const FatEntry& entry) const;
  [[nodiscard]] bool holds_parts() const noexcept { return parts_ != 0; }
  void clear() noexcept { parts_ = 0; }

 private:
  static constexpr std::size_t kPartBytes = kFatPartUnits * 2;
  std::array<char, kPartBytes * kFatMostParts> bytes_{};
  std::size_t parts_ = 0;  ///< of the whole name; 0: none
  std::size_t next_ = 0;   ///< number of the part that must come next; 0: all are there
  std::uint8_t checksum_ = 0;
};

/// Whether UTF-16 text is a legal long name (no controls, none of the characters that stand for
/// something in paths and commands).
[[nodiscard]] bool is_legal_long_name(std::string_view utf16);

}  // namespace platter::filesystem
