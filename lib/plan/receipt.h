// What was placed where, written down once it was proven.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "core/source.h"
#include "plan/size.h"

namespace platter::plan {

/// platter.receipt/1
struct Receipt {
  std::string region;  ///< its name in the plan
  std::string card;    ///< path
  Extent place;        ///< bytes of the card
  std::string image;   ///< path
  std::uint64_t image_bytes = 0;
  std::string image_stamp;       ///< image_stamp() of the file as it was copied, or ""
  std::string sha256;            ///< of the image; "" when no digest was asked for
  std::uint64_t zero_bytes = 0;  ///< zeros that were written behind it
  std::string tool;              ///< "platter VERSION"
  std::int64_t time = 0;         ///< seconds since 1970-01-01 UTC

  friend bool operator==(const Receipt&, const Receipt&) = default;
};

/// Where the receipt of a region lies: beside the plan, with the region's name made safe for a file
/// name; different names never give the same path.
[[nodiscard]] std::string receipt_path(std::string_view plan_path, std::string_view region);

/// Device, file, size and times of a file, as one word that changes when the file does; "" when
/// there is no such regular file.
[[nodiscard]] std::string image_stamp(const std::string& path);

/// The JSON document, ending in a newline.
[[nodiscard]] std::string receipt_text(const Receipt& receipt);
/// Reads it back; keys that are not known are passed over.
[[nodiscard]] Parsed<Receipt> read_receipt(std::string_view text);

/// Writes a receipt so that under its name there is the old one or the whole new one, whatever
/// happens. Throws IoError.
void store_receipt(const std::string& path, const Receipt& receipt);
/// The receipt at a path; nothing when there is none. Throws IoError when it cannot be read or is
/// no receipt.
[[nodiscard]] std::optional<Receipt> load_receipt(const std::string& path);
/// Removes a receipt, lastingly, before the card it speaks of changes. Throws IoError.
void remove_receipt(const std::string& path);

}  // namespace platter::plan
