#include "filesystem/iso9660_rock.h"

#include <algorithm>

#include "filesystem/iso9660_time.h"

namespace platter::filesystem::iso9660 {
namespace {

using Bytes = std::span<const std::byte>;

template <const Structure& S>
FieldReader<S> fields_of(Bytes entry) {
  return FieldReader<S>(entry.data(), ByteOrder::big);
}

constexpr unsigned signature(char first, char second) {
  return static_cast<unsigned>(static_cast<unsigned char>(first)) << 8U |
         static_cast<unsigned char>(second);
}

bool starts_protocol(Bytes field) {
  return field.size() >= kSuspStart.bytes &&
         fields_of<kSuspHead>(field).raw<"signature">()[0] == std::byte{'S'} &&
         fields_of<kSuspHead>(field).raw<"signature">()[1] == std::byte{'P'} &&
         fields_of<kSuspStart>(field).get<"check">() == kSuspCheck;
}

std::uint32_t narrow(std::uint64_t value) {
  return static_cast<std::uint32_t>(value);
}

std::string_view text_of(Bytes text) {
  return {reinterpret_cast<const char*>(text.data()), text.size()};
}

}  // namespace

void RecordingTimes::decode(Bytes raw, std::uint64_t key) noexcept {
  std::array<std::byte, kDate7.bytes> bytes{};
  std::ranges::copy(raw.first(std::min(raw.size(), bytes.size())), bytes.begin());
  time_ = recording_time(FieldReader<kDate7>(bytes.data(), ByteOrder::big)).time;
  key_ = key;
}

void RockFields::clear() {
  any = has_mode = has_name = has_link = has_times = relocated = false;
  serial.reset();
  device.reset();
  child.reset();
  parent.reset();
  filled.reset();
  decompressed.reset();
  times = {};
  name = {};
  target.clear();
  trouble = {};
}

void RockReader::note(RockFields& fields, std::string_view words, std::uint64_t place) {
  if (!fields.trouble.empty()) return;
  fields.trouble = words;
  fields.trouble_place = place;
}

void RockReader::read(const ParsedRecord& record, std::uint64_t skip, RockFields& fields) {
  fields.clear();
  area_count_ = 0;
  next_.reset();
  name_goes_on_ = link_goes_on_ = component_goes_on_ = false;
  Bytes field = record.system_use;
  if (record.is_self() && starts_protocol(field)) skip = 0;
  if (skip > field.size()) return;
  std::uint64_t place = record.place + record.all.size() - field.size() + skip;
  walk(field.subspan(static_cast<std::size_t>(skip)), place, fields);
  while (const auto area = next_area(fields, place))
    walk(*area, place, fields);
}

void RockReader::walk(Bytes area, std::uint64_t place, RockFields& fields) {
  stopped_ = false;
  while (area.size() >= kSuspHead.bytes && !stopped_) {
    const auto length = static_cast<std::size_t>(fields_of<kSuspHead>(area).get<"length">());
    // Zeros fill the rest of a field; what is shorter than its own head is no entry.
    if (area[0] == std::byte{0} || length < kSuspHead.bytes) return;
    if (length > area.size()) {
      note(fields, "a system use entry is longer than what is left of its field", place);
      return;
    }
    take(area.first(length), place, fields);
    area = area.subspan(length);
    place += length;
  }
}

void RockReader::take(Bytes entry, std::uint64_t place, RockFields& fields) {
  const unsigned kind =
      std::to_integer<unsigned>(entry[0]) << 8U | std::to_integer<unsigned>(entry[1]);
  const auto holds = [&](const Structure& structure) { return entry.size() >= structure.bytes; };
  switch (kind) {
    case signature('C', 'E'):
      take_continuation(entry, place, fields);
      return;
    case signature('S', 'T'):
      stopped_ = true;
      return;
    case signature('P', 'X'):
      if (fields.has_mode || !holds(kRockMode)) return;
      fields.has_mode = true;
      fields.mode = narrow(fields_of<kRockMode>(entry).get<"mode">());
      fields.links = narrow(fields_of<kRockMode>(entry).get<"links">());
      fields.uid = narrow(fields_of<kRockMode>(entry).get<"uid">());
      fields.gid = narrow(fields_of<kRockMode>(entry).get<"gid">());
      if (holds(kRockSerial)) {
        fields.serial = narrow(fields_of<kRockSerial>(entry).get<"serial">());
      }
      break;
    case signature('N', 'M'):
      take_name(entry, place, fields);
      break;
    case signature('S', 'L'):
      take_link(entry, place, fields);
      break;
    case signature('T', 'F'):
      take_times(entry, fields);
      break;
    case signature('P', 'N'):
      if (fields.device || !holds(kRockDevice)) return;
      fields.device = fields_of<kRockDevice>(entry).get<"high">() << 32U |
                      fields_of<kRockDevice>(entry).get<"low">();
      break;
    case signature('C', 'L'):
      if (holds(kRockPlace)) fields.child = fields_of<kRockPlace>(entry).get<"extent">();
      break;
    case signature('P', 'L'):
      if (holds(kRockPlace)) fields.parent = fields_of<kRockPlace>(entry).get<"extent">();
      break;
    case signature('R', 'E'):
      fields.relocated = true;
      break;
    case signature('S', 'F'):
      if (!holds(kRockSparse)) return;
      fields.filled = fields_of<kRockSparse>(entry).get<"high">() << 32U |
                      fields_of<kRockSparse>(entry).get<"low">();
      break;
    case signature('Z', 'F'):
      if (holds(kCompressed)) fields.decompressed = fields_of<kCompressed>(entry).get<"bytes">();
      return;
    default:
      return;
  }
  fields.any = true;
}

void RockReader::take_name(Bytes entry, std::uint64_t place, RockFields& fields) {
  if (entry.size() < kRockName.bytes || (fields.has_name && !name_goes_on_)) return;
  const std::uint64_t flags = fields_of<kRockName>(entry).get<"flags">();
  fields.has_name = true;
  name_goes_on_ = (flags & kRockContinues) != 0;
  if ((flags & (kRockCurrent | kRockParent)) != 0) {
    fields.name = (flags & kRockCurrent) != 0 ? "." : "..";
    return;
  }
  Bytes text = entry.subspan(kRockName.bytes);
  // Most names stand in one piece in the record; blocks of continuation areas come and go.
  if (fields.name.empty() && !name_goes_on_ && area_count_ == 0) {
    fields.name = text_of(text);
    return;
  }
  if (fields.name.size() + text.size() > kLongestName) {
    note(fields, "a Rock Ridge name is longer than 255 bytes and was cut", place);
    text = text.first(kLongestName - fields.name.size());
  }
  fields.joined_name.assign(fields.name).append(text_of(text));
  fields.name = fields.joined_name;
}

// Components are joined by '/', except behind the root and behind one that goes on.
void RockReader::take_link(Bytes entry, std::uint64_t place, RockFields& fields) {
  if (entry.size() < kRockLink.bytes || (fields.has_link && !link_goes_on_)) return;
  fields.has_link = true;
  link_goes_on_ = (fields_of<kRockLink>(entry).get<"flags">() & kRockContinues) != 0;
  Bytes rest = entry.subspan(kRockLink.bytes);
  while (rest.size() >= kRockComponent.bytes) {
    const auto component = fields_of<kRockComponent>(rest);
    const std::uint64_t flags = component.get<"flags">();
    const auto length = static_cast<std::size_t>(component.get<"length">());
    rest = rest.subspan(kRockComponent.bytes);
    if (length > rest.size()) {
      note(fields, "a component of a link is longer than its SL entry", place);
      return;
    }
    std::string& target = fields.target;
    if (!target.empty() && !target.ends_with('/') && !component_goes_on_) target += '/';
    component_goes_on_ = (flags & kRockContinues) != 0;
    if ((flags & kRockCurrent) != 0) {
      target += '.';
    } else if ((flags & kRockParent) != 0) {
      target += "..";
    } else if ((flags & (kRockRoot | kRockVolumeRoot)) != 0) {
      target = "/";
    } else {
      target += text_of(rest.first(length));
    }
    rest = rest.subspan(length);
    if (target.size() > kLongestLink) {
      note(fields, "a Rock Ridge link is longer than 4096 bytes and was cut", place);
      target.resize(kLongestLink);
      return;
    }
  }
}

void RockReader::take_times(Bytes entry, RockFields& fields) {
  if (entry.size() < kRockTimes.bytes) return;
  const bool first = !fields.has_times;
  fields.has_times = true;
  if (!first || entry.size() > times_entry_.size()) {
    decode_times(entry, fields.times);
    return;
  }
  if (entry.size() != times_entry_bytes_ ||
      std::memcmp(entry.data(), times_entry_.data(), entry.size()) != 0) {
    times_of_entry_ = {};
    decode_times(entry, times_of_entry_);
    std::ranges::copy(entry, times_entry_.begin());
    times_entry_bytes_ = entry.size();
  }
  fields.times = times_of_entry_;
}

void RockReader::decode_times(Bytes entry, RockTimes& times) {
  const std::uint64_t flags = fields_of<kRockTimes>(entry).get<"flags">();
  const bool is_long = (flags & kRockLongTimes) != 0;
  const std::size_t width = is_long ? kDate17.bytes : kDate7.bytes;
  // The stamps stand in the order of these bits; those behind them are of no use here.
  static_assert(kRockCreated == 1 && kRockModified == 2 && kRockAccessed == 4 && kRockChanged == 8);
  std::optional<Timestamp>* const wanted[] = {&times.created, &times.modified, &times.accessed,
                                              &times.changed};
  Bytes rest = entry.subspan(kRockTimes.bytes);
  for (std::size_t i = 0; i < std::size(wanted); ++i) {
    if ((flags >> i & 1U) == 0) continue;
    if (rest.size() < width) return;
    const Bytes raw = rest.first(width);
    rest = rest.subspan(width);
    if (wanted[i]->has_value()) continue;
    *wanted[i] = is_long ? volume_time(FieldReader<kDate17>(raw.data(), ByteOrder::big)).time
                         : times_[i].of(raw);
  }
}

// The last continuation entry of an area counts, and is followed after the area.
void RockReader::take_continuation(Bytes entry, std::uint64_t place, RockFields& fields) {
  if (entry.size() < kSuspContinuation.bytes) return;
  const auto continuation = fields_of<kSuspContinuation>(entry);
  const std::uint64_t offset = continuation.get<"offset">();
  const std::uint64_t bytes = continuation.get<"bytes">();
  if (!fits_within(offset, bytes, block_bytes_)) {
    note(fields, "a continuation area reaches past the end of its block", place);
    return;
  }
  const std::uint64_t block = saturating_mul(continuation.get<"extent">(), block_bytes_);
  if (!fits_within(saturating_add(block, offset), bytes, volume_bytes_)) {
    note(fields, "a continuation area lies past the end of the volume", place);
    return;
  }
  next_ = ContinuationArea{block + offset, bytes};
  next_entry_ = place;
}

std::optional<Bytes> RockReader::next_area(RockFields& fields, std::uint64_t& place) {
  if (!next_) return std::nullopt;
  const ContinuationArea area = *next_;
  next_.reset();
  const bool visited = std::ranges::any_of(
      areas(), [&](const ContinuationArea& seen) { return seen.place == area.place; });
  if (visited) {
    note(fields, "a continuation area leads back to one before it", next_entry_);
    return std::nullopt;
  }
  if (area_count_ == areas_.size()) {
    note(fields, "more continuation areas follow one another than any file needs", next_entry_);
    return std::nullopt;
  }
  areas_[area_count_++] = area;
  const std::uint64_t block = area.place - area.place % block_bytes_;
  if (block != block_place_) {
    block_place_ = kLargest;  // reading may fail
    block_present_ =
        view_.read(block, std::span(block_).first(static_cast<std::size_t>(block_bytes_)));
    block_place_ = block;
  }
  const auto offset = static_cast<std::size_t>(area.place - block);
  place = area.place;
  if (offset >= block_present_) return std::nullopt;  // past the end of the image
  return Bytes(block_).subspan(
      offset, std::min(static_cast<std::size_t>(area.bytes), block_present_ - offset));
}

}  // namespace platter::filesystem::iso9660
