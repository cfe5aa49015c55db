// The parts of paths: names from a disk made fit to be shown and followed.
#pragma once

#include <string>
#include <string_view>

#include "core/charset.h"
#include "core/name_scan.h"
#include "core/volume.h"

namespace platter {

/// Whether a name needs neither decoding nor escaping, as most do.
[[nodiscard]] inline bool is_plain(const Entry& entry) noexcept {
  if (entry.plain) return true;
  const bool wide = entry.charset == Charset::ucs2_be || entry.charset == Charset::utf16_le;
  return !wide && is_plain_name(entry.name);
}

/// A part of a path. What no part may be or hold is percent-escaped.
[[nodiscard]] Decoded decode_name(const Entry& entry);

inline void append_part(std::string& path, std::string_view name) {
  if (!path.empty()) path += '/';
  path += name;
}

/// Where a walk is.
struct WalkPath {
  std::string path = {};   ///< decoded
  std::string bytes = {};  ///< as on the disk, once a part was no text; empty while `exact`
  bool exact = true;       ///< whether `path` has those bytes
  bool plain = true;       ///< whether all parts are is_plain()

  /// Where a path ended before parts were appended.
  struct Mark {
    std::size_t path = 0;
    std::size_t bytes = 0;
    bool exact = true;
    bool plain = true;
  };

  void append(const Entry& entry) {
    if (exact && is_plain(entry)) {
      append_part(path, entry.name);
    } else {
      append_decoded(entry);
    }
  }
  [[nodiscard]] Mark mark() const noexcept { return {path.size(), bytes.size(), exact, plain}; }
  void go_back_to(const Mark& mark) {
    path.resize(mark.path);
    bytes.resize(mark.bytes);
    exact = mark.exact;
    plain = mark.plain;
  }
  /// The path as it was at a mark.
  [[nodiscard]] WalkPath up_to(const Mark& mark) const {
    return {path.substr(0, mark.path), bytes.substr(0, mark.bytes), mark.exact, mark.plain};
  }

 private:
  void append_decoded(const Entry& entry);
};

}  // namespace platter
