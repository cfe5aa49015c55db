#include "filesystem/iso9660_record.h"

#include <algorithm>

#include <fmt/format.h>

#include "filesystem/high_sierra_structures.h"

namespace platter::filesystem::iso9660 {
namespace {

template <const Structure& S>
void decode(const std::byte* bytes, ParsedRecord& record) {
  const FieldReader<S> fields(bytes, ByteOrder::little);
  record.attribute_blocks = fields.template get<"attribute_blocks">();
  record.extent = fields.template get<"extent">();
  record.bytes = fields.template get<"bytes">();
  record.flags = fields.template get<"flags">();
  record.unit_blocks = fields.template get<"unit_blocks">();
  record.gap_blocks = fields.template get<"gap_blocks">();
  record.sequence_number = fields.template get<"sequence_number">();
  record.recorded = fields.template raw<"recorded">();
}

template <const Structure& S>
bool halves_of_differ(const ParsedRecord& record) {
  const FieldReader<S> fields(record.all.data(), ByteOrder::little);
  return record.extent != fields.template big_half<"extent">() ||
         record.bytes != fields.template big_half<"bytes">() ||
         record.sequence_number != fields.template big_half<"sequence_number">();
}

// Both dialects have these two at the same places.
using Head = FieldReader<kDirectoryRecord>;
static_assert(Head::offset_of<"identifier_length">() ==
              FieldReader<high_sierra::kDirectoryRecord>::offset_of<"identifier_length">());
static_assert(kDirectoryRecord.bytes == high_sierra::kDirectoryRecord.bytes);

}  // namespace

bool ParsedRecord::same_file(const ParsedRecord& other) const noexcept {
  return is_associated() == other.is_associated() &&
         std::ranges::equal(identifier, other.identifier);
}

bool halves_differ(Dialect dialect, const ParsedRecord& record) noexcept {
  return dialect == Dialect::ecma119 ? halves_of_differ<kDirectoryRecord>(record)
                                     : halves_of_differ<high_sierra::kDirectoryRecord>(record);
}

RecordState parse_record(Dialect dialect, std::span<const std::byte> bytes, std::uint64_t place,
                         ParsedRecord& record) {
  constexpr std::size_t kFixed = kDirectoryRecord.bytes;
  const std::size_t length = bytes.empty() ? 0 : std::to_integer<std::size_t>(bytes[0]);
  if (length == 0) return RecordState::none;
  if (length <= kFixed) return RecordState::too_short;
  if (length > bytes.size()) return RecordState::too_long;
  const std::size_t name = Head(bytes.data(), ByteOrder::little).get<"identifier_length">();
  if (name == 0 || kFixed + name > length) return RecordState::too_short;
  record.place = place;
  record.all = bytes.first(length);
  record.identifier = bytes.subspan(kFixed, name);
  // The system use field begins at an even place.
  const std::size_t use = std::min(length, kFixed + name + (name % 2 == 0 ? 1 : 0));
  record.system_use = record.all.subspan(use);
  if (dialect == Dialect::ecma119) {
    decode<kDirectoryRecord>(bytes.data(), record);
  } else {
    decode<high_sierra::kDirectoryRecord>(bytes.data(), record);
  }
  return RecordState::good;
}

bool SingleRecord::read(const View& view, Dialect dialect, std::uint64_t place) {
  const std::size_t present = view.read(place, bytes_);
  record_ = {};
  return parse_record(dialect, std::span(bytes_).first(present), place, record_) ==
         RecordState::good;
}

void SingleRecord::keep(Dialect dialect, const ParsedRecord& record) {
  std::ranges::copy(record.all, bytes_.begin());
  static_cast<void>(
      parse_record(dialect, std::span(bytes_).first(record.all.size()), record.place, record_));
}

DirectoryReader::DirectoryReader(const View& view, Dialect dialect, std::uint64_t place,
                                 std::uint64_t bytes, std::vector<std::byte>& buffer,
                                 std::size_t read)
    : view_(view),
      dialect_(dialect),
      place_(place),
      bytes_(std::min(bytes, view.bytes() - std::min(place, view.bytes()))),
      buffer_(buffer),
      cut_(bytes > bytes_),
      chunk_bytes_(static_cast<std::size_t>(std::min<std::uint64_t>(read, bytes_))) {}

// Has the sector of the next record in the buffer; false at the end of the directory.
bool DirectoryReader::fill() {
  if (at_ >= bytes_) return false;
  if (at_ < chunk_at_ + chunk_bytes_) return true;
  chunk_at_ = at_ - at_ % kSectorBytes;
  const auto wanted = static_cast<std::size_t>(std::min<std::uint64_t>(kChunk, bytes_ - chunk_at_));
  if (buffer_.size() < wanted) buffer_.resize(wanted);
  chunk_bytes_ = view_.read(place_ + chunk_at_, std::span(buffer_).first(wanted));
  return at_ < chunk_at_ + chunk_bytes_;
}

DirectoryReader::Step DirectoryReader::skip_sector(std::string words) {
  words_ = std::move(words);
  broken_at_ = at_;
  return Step::broken;
}

DirectoryReader::Step DirectoryReader::peek(ParsedRecord& record) {
  if (broken_at_ == at_) at_ = (at_ / kSectorBytes + 1) * kSectorBytes;
  while (fill()) {
    const std::size_t offset = static_cast<std::size_t>(at_ - chunk_at_);
    const std::size_t sector_left = kSectorBytes - at_ % kSectorBytes;
    const auto bytes = std::span<const std::byte>(buffer_).subspan(
        offset, std::min(sector_left, chunk_bytes_ - offset));
    switch (parse_record(dialect_, bytes, place_ + at_, record)) {
      case RecordState::good:
        if (at_ != 0 && at_ % kSectorBytes == 0 && record.is_self() && record.is_directory()) {
          bytes_ = at_;
          return skip_sector("another directory begins before this one ends");
        }
        length_ = record.all.size();
        return Step::record;
      case RecordState::none:
        at_ += sector_left;
        break;
      case RecordState::too_short:
        return skip_sector(fmt::format(
            "a directory record of {} bytes has no room for its fields and its identifier",
            std::to_integer<unsigned>(bytes[0])));
      case RecordState::too_long:
        if (cut_ && at_ + bytes.size() == bytes_) return Step::end;  // the image ends here
        return skip_sector(fmt::format(
            "a directory record of {} bytes crosses the end of its sector or directory, {} bytes "
            "on",
            std::to_integer<unsigned>(bytes[0]), bytes.size()));
    }
  }
  return Step::end;
}

}  // namespace platter::filesystem::iso9660
