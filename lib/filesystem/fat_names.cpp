#include "filesystem/fat_names.h"

#include <algorithm>
#include <chrono>
#include <span>

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kLastMark = 0x40;

char character(std::byte byte) {
  return static_cast<char>(byte);
}

std::size_t unpadded(std::span<const std::byte> field) {
  std::size_t length = field.size();
  while (length != 0 && field[length - 1] == std::byte{' '})
    --length;
  return length;
}

// A letter of the code page in lower case: ASCII, and the letters that code page 437 has in both
// cases (Unicode Consortium mapping table; Linux fs/nls/nls_cp437.c lowers the same ones).
char lowered(char c, Charset charset) {
  if (c >= 'A' && c <= 'Z') return static_cast<char>(c + ('a' - 'A'));
  if (charset != Charset::cp437) return c;
  constexpr std::string_view kUpper = "\x80\x8E\x8F\x90\x92\x99\x9A\xA5\xE4\xE8";
  constexpr std::string_view kLower = "\x87\x84\x86\x82\x91\x94\x81\xA4\xE5\xED";
  const std::size_t at = kUpper.find(c);
  return at == std::string_view::npos ? c : kLower[at];
}

std::uint16_t unit_at(std::string_view utf16, std::size_t at) {
  return static_cast<std::uint16_t>(static_cast<unsigned char>(utf16[at]) |
                                    static_cast<unsigned char>(utf16[at + 1]) << 8U);
}

}  // namespace

std::optional<Timestamp> fat_time(std::uint64_t date, std::uint64_t time,
                                  std::uint64_t hundredths) {
  using namespace std::chrono;
  const year_month_day day{year{1980 + static_cast<int>(date >> 9U & 0x7FU)},
                           month{static_cast<unsigned>(date >> 5U & 0xFU)},
                           std::chrono::day{static_cast<unsigned>(date & 0x1FU)}};
  if (!day.ok()) return std::nullopt;
  const std::uint64_t hour = time >> 11U & 0x1FU;
  const std::uint64_t minute = time >> 5U & 0x3FU;
  const std::uint64_t second = (time & 0x1FU) * 2;
  if (hour > 23 || minute > 59 || second > 59) return std::nullopt;
  const auto days = sys_days(day).time_since_epoch().count();
  return Timestamp{static_cast<std::int64_t>(days) * 86400 +
                   static_cast<std::int64_t>(hour * 3600 + minute * 60 + second +
                                             std::min<std::uint64_t>(hundredths / 100, 1))};
}

FatShortName::FatShortName(const FatEntry& entry, Charset charset) {
  const std::uint64_t flags = entry.get<"case_flags">();
  const auto add = [&](std::span<const std::byte> field, bool lower) {
    for (const std::byte byte : field.first(unpadded(field))) {
      char c = character(byte);
      if (static_cast<unsigned char>(c) < 0x20) legal_ = false;
      if (lower) c = lowered(c, charset);
      text_[length_++] = c;
    }
  };
  const auto base = entry.raw<"name">();
  add(base, (flags & kFatLowerBase) != 0);
  if (base[0] == std::byte{kFatRealE5}) {
    text_[0] = static_cast<char>(kFatDeleted);
    legal_ = std::ranges::none_of(base.subspan(1), [](std::byte b) { return b < std::byte{0x20}; });
  }
  if (base[0] == std::byte{' '}) legal_ = false;
  const auto extension = entry.raw<"name_extension">();
  if (unpadded(extension) == 0) return;
  text_[length_++] = '.';
  add(extension, (flags & kFatLowerExtension) != 0);
}

bool is_dot_entry(const FatEntry& entry, std::size_t dots) {
  const auto base = entry.raw<"name">();
  for (std::size_t i = 0; i < base.size(); ++i) {
    if (base[i] != (i < dots ? std::byte{'.'} : std::byte{' '})) return false;
  }
  return unpadded(entry.raw<"name_extension">()) == 0;
}

std::uint8_t fat_checksum(const FatEntry& entry) {
  unsigned sum = 0;
  for (const std::byte byte : entry.all().first(11)) {
    sum = ((sum & 1U) << 7U | sum >> 1U) + std::to_integer<unsigned>(byte);
    sum &= 0xFFU;
  }
  return static_cast<std::uint8_t>(sum);
}

bool FatLongName::add(const FieldReader<kFatLongName>& part) {
  const bool held = holds_parts();
  const std::uint64_t sequence = part.get<"sequence">();
  const std::size_t number = sequence & ~kLastMark;
  const auto checksum = static_cast<std::uint8_t>(part.get<"checksum">());
  const bool first = (sequence & kLastMark) != 0;
  const bool follows = held && !first && number == next_ && number != 0 && checksum == checksum_;
  if (!follows) {
    clear();
    if (!first || number == 0 || number > kFatMostParts) return false;
    parts_ = number;
    checksum_ = checksum;
  }
  char* out = bytes_.data() + (number - 1) * kPartBytes;
  for (const auto& units :
       {part.raw<"first_units">(), part.raw<"second_units">(), part.raw<"third_units">()}) {
    out = std::ranges::transform(units, out, character).out;
  }
  next_ = number - 1;
  return follows || !held;
}

std::optional<std::string_view> FatLongName::name_for(const FatEntry& entry) const {
  if (!holds_parts() || next_ != 0 || checksum_ != fat_checksum(entry)) return std::nullopt;
  std::string_view name(bytes_.data(), parts_ * kPartBytes);
  for (std::size_t at = 0; at < name.size(); at += 2) {
    if (unit_at(name, at) == 0) name = name.substr(0, at);
  }
  if (name.empty()) return std::nullopt;
  return name;
}

bool is_legal_long_name(std::string_view utf16) {
  constexpr std::u16string_view kForbidden = u"\"*/:<>?\\|";
  for (std::size_t at = 0; at + 1 < utf16.size(); at += 2) {
    const auto unit = static_cast<char16_t>(unit_at(utf16, at));
    if (unit < 0x20 || kForbidden.find(unit) != std::u16string_view::npos) return false;
  }
  return true;
}

}  // namespace platter::filesystem
