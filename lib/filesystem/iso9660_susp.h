// System use entries of directory records: the System Use Sharing Protocol and Rock Ridge.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/claim.h"
#include "core/layout.h"
#include "core/view.h"
#include "filesystem/iso9660_structures.h"

namespace platter::filesystem::iso9660 {

#define PLATTER_SUSP_HEAD(signature_meaning)                                                \
  text("signature", 0, 2, signature_meaning), u8("length", 2, "of the entry", unit::bytes), \
      u8("version", 3, "1")

inline constexpr Field kSuspHeadFields[] = {PLATTER_SUSP_HEAD("kind of entry")};
inline constexpr Structure kSuspHead =
    structure("system use entry", "IEEE P1281 4.1", 4, kSuspHeadFields);

inline constexpr Field kSuspStartFields[] = {
    PLATTER_SUSP_HEAD("SP"),
    be16("check", 4, "0xBEEF"),
    u8("skip", 6, "bytes to skip in all other system use fields", unit::bytes),
};
inline constexpr Structure kSuspStart =
    structure("system use protocol indicator", "IEEE P1281 5.3", 7, kSuspStartFields);
inline constexpr std::uint64_t kSuspCheck = 0xBEEF;

inline constexpr Field kSuspContinuationFields[] = {
    PLATTER_SUSP_HEAD("CE"),
    both32("extent", 4, "place of the continuation area", unit::logical_blocks),
    both32("offset", 12, "of the area in its block", unit::bytes),
    both32("bytes", 20, "length of the area", unit::bytes),
};
inline constexpr Structure kSuspContinuation =
    structure("system use continuation", "IEEE P1281 5.1", 28, kSuspContinuationFields);

// Identifier, description and source follow.
inline constexpr Field kSuspReferenceFields[] = {
    PLATTER_SUSP_HEAD("ER"),
    u8("identifier_length", 4, "of the extension's name", unit::bytes),
    u8("description_length", 5, "of the text that describes it", unit::bytes),
    u8("source_length", 6, "of the text that says where it is specified", unit::bytes),
    u8("extension_version", 7, "1"),
};
inline constexpr Structure kSuspReference =
    structure("system use extensions reference", "IEEE P1281 5.5", 8, kSuspReferenceFields);

inline constexpr Field kSuspStopFields[] = {PLATTER_SUSP_HEAD("ST")};
inline constexpr Structure kSuspStop =
    structure("system use terminator", "IEEE P1281 5.4", 4, kSuspStopFields);

// Rock Ridge entries. PX of the 1994 draft has a serial number behind these fields.
inline constexpr Field kRockModeFields[] = {
    PLATTER_SUSP_HEAD("PX"),
    both32("mode", 4, "POSIX file mode"),
    both32("links", 12, "number of links"),
    both32("uid", 20, "owner"),
    both32("gid", 28, "group"),
};
inline constexpr Structure kRockMode =
    structure("Rock Ridge POSIX attributes", "IEEE P1282 4.1.1", 36, kRockModeFields);

inline constexpr Field kRockDeviceFields[] = {
    PLATTER_SUSP_HEAD("PN"),
    both32("high", 4, "high part of the device number"),
    both32("low", 12, "low part of the device number"),
};
inline constexpr Structure kRockDevice =
    structure("Rock Ridge device number", "IEEE P1282 4.1.2", 20, kRockDeviceFields);

// Components follow: flags, length, text.
inline constexpr Field kRockLinkFields[] = {
    PLATTER_SUSP_HEAD("SL"),
    u8("flags", 4, "0x01 continued in the next SL entry"),
};
inline constexpr Structure kRockLink =
    structure("Rock Ridge symbolic link", "IEEE P1282 4.1.3", 5, kRockLinkFields);

inline constexpr Field kRockComponentFields[] = {
    u8("flags", 0, "0x01 continued, 0x02 this directory, 0x04 parent, 0x08 root"),
    u8("length", 1, "of the text that follows", unit::bytes),
};
inline constexpr Structure kRockComponent =
    structure("Rock Ridge link component", "IEEE P1282 4.1.3.1", 2, kRockComponentFields);

// The name follows.
inline constexpr Field kRockNameFields[] = {
    PLATTER_SUSP_HEAD("NM"),
    u8("flags", 4, "0x01 continued in the next NM entry, 0x02 this directory, 0x04 parent"),
};
inline constexpr Structure kRockName =
    structure("Rock Ridge name", "IEEE P1282 4.1.4", 5, kRockNameFields);

// Times follow in the order of the bits: 7 bytes each, 17 in the long form.
inline constexpr Field kRockTimesFields[] = {
    PLATTER_SUSP_HEAD("TF"),
    u8("flags", 4,
       "0x01 created, 0x02 modified, 0x04 accessed, 0x08 attributes changed, 0x10 backed up, "
       "0x20 expires, 0x40 effective, 0x80 long form"),
};
inline constexpr Structure kRockTimes =
    structure("Rock Ridge times", "IEEE P1282 4.1.6", 5, kRockTimesFields);

// What the 1994 draft put behind PX.
inline constexpr Field kRockSerialFields[] = {
    PLATTER_SUSP_HEAD("PX"),
    both32("mode", 4, "POSIX file mode"),
    both32("links", 12, "number of links"),
    both32("uid", 20, "owner"),
    both32("gid", 28, "group"),
    both32("serial", 36, "file serial number, equal for all names of a file"),
};
inline constexpr Structure kRockSerial =
    structure("Rock Ridge POSIX attributes with serial number", "IEEE P1282 4.1.1, version 1.12",
              44, kRockSerialFields);

// CL stands where a directory belongs that was moved elsewhere, PL in that directory's parent
// record.
inline constexpr Field kRockPlaceFields[] = {
    PLATTER_SUSP_HEAD("CL or PL"),
    both32("extent", 4, "place of the directory", unit::logical_blocks),
};
inline constexpr Structure kRockPlace =
    structure("Rock Ridge directory link", "IEEE P1282 4.1.5.1 and 4.1.5.2", 12, kRockPlaceFields);

inline constexpr Field kRockSparseFields[] = {
    PLATTER_SUSP_HEAD("SF"),
    both32("high", 4, "high part of the size that the file has when its holes are filled"),
    both32("low", 12, "low part of that size"),
    u8("depth", 20, "levels of tables in front of the data"),
};
inline constexpr Structure kRockSparse =
    structure("Rock Ridge sparse file", "IEEE P1282 4.1.7, version 1.12", 21, kRockSparseFields);

// Not part of Rock Ridge, but stored beside it.
inline constexpr Field kCompressedFields[] = {
    PLATTER_SUSP_HEAD("ZF"),
    text("algorithm", 4, 2, "pz = zlib"),
    u8("header_words", 6, "length of the file's header", "4 bytes"),
    u8("block_shift", 7, "binary logarithm of the compression block"),
    both32("bytes", 8, "size when decompressed", unit::bytes),
};
inline constexpr Structure kCompressed =
    structure("compressed file", "Linux fs/isofs/rock.h, RR_ZF_s", 16, kCompressedFields);

#undef PLATTER_SUSP_HEAD

/// Bits in SL, NM and their components.
inline constexpr std::uint64_t kRockContinues = 0x01;
inline constexpr std::uint64_t kRockCurrent = 0x02;
inline constexpr std::uint64_t kRockParent = 0x04;
inline constexpr std::uint64_t kRockRoot = 0x08;
inline constexpr std::uint64_t kRockVolumeRoot = 0x10;

/// Bits in TF.
inline constexpr std::uint64_t kRockCreated = 0x01;
inline constexpr std::uint64_t kRockModified = 0x02;
inline constexpr std::uint64_t kRockAccessed = 0x04;
inline constexpr std::uint64_t kRockChanged = 0x08;
inline constexpr std::uint64_t kRockLongTimes = 0x80;

/// One system use entry.
struct SystemUseEntry {
  std::array<char, 2> signature{};
  std::span<const std::byte> bytes;  ///< the whole entry; valid until the next call of next()
  std::uint64_t start = 0;           ///< image bytes

  [[nodiscard]] bool is(std::string_view wanted) const noexcept {
    return std::string_view(signature.data(), signature.size()) == wanted;
  }
  /// The entry read by a table; nothing when it is too short for that.
  template <const Structure& S>
  [[nodiscard]] std::optional<FieldReader<S>> as() const noexcept {
    if (bytes.size() < S.bytes) return std::nullopt;
    return FieldReader<S>(bytes.data(), ByteOrder::big);
  }
};

/// Walks the entries of one directory record's system use field and of its continuation areas.
/// Ends on any content: at most kMostAreas areas are read, and none begins twice at one place.
class SystemUse {
 public:
  static constexpr std::size_t kMostAreas = 32;

  /// \param view         the volume
  /// \param block_bytes  size of a logical block
  /// \param field        the system use field, after the bytes to skip
  /// \param start        where the field stands, in image bytes
  SystemUse(const View& view, std::uint64_t block_bytes, std::vector<std::byte> field,
            std::uint64_t start)
      : view_(view), block_bytes_(block_bytes), area_(std::move(field)), start_(start) {}

  /// The next entry; false at the end.
  bool next(SystemUseEntry& entry);

  /// What was wrong with the areas that were walked, or "".
  [[nodiscard]] const std::string& trouble() const noexcept { return trouble_; }
  /// Where that was, in image bytes.
  [[nodiscard]] std::uint64_t trouble_start() const noexcept { return trouble_start_; }

 private:
  struct Continuation {
    std::uint64_t place;  // byte in the view
    std::uint64_t bytes;
    std::uint64_t entry;  // where the CE entry stands, in image bytes
  };

  bool go_on();
  void note(std::string words, std::uint64_t at);
  void remember(const SystemUseEntry& entry);

  View view_;
  std::uint64_t block_bytes_;
  std::vector<std::byte> area_;
  std::uint64_t start_;
  std::size_t at_ = 0;
  bool cut_ = false;  // the image ends within the area
  std::optional<Continuation> continuation_;
  std::vector<std::uint64_t> visited_;
  std::string trouble_;
  std::uint64_t trouble_start_ = 0;
};

/// What the first record of the root directory says about extensions.
struct RootExtensions {
  bool present = false;     ///< the image holds the whole record
  bool susp = false;        ///< it has an SP entry
  bool rock_ridge = false;  ///< a Rock Ridge ER entry, or entries that only Rock Ridge has
  std::uint64_t skip = 0;   ///< bytes to skip in other system use fields
  std::string extension;    ///< identifier of the first ER entry
};

/// Reads the first record of a directory and reports what is wrong with its system use entries.
/// \param directory   byte offset of the directory in the view
/// \param block_bytes size of a logical block
[[nodiscard]] RootExtensions root_extensions(Claim& claim, const View& view,
                                             std::uint64_t directory, std::uint64_t block_bytes);

}  // namespace platter::filesystem::iso9660
