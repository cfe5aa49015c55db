#include "filesystem/hfsplus_names.h"

#include <algorithm>
#include <iterator>

namespace platter::filesystem {
namespace {

// Every `step`-th unit from `first` to `last` becomes the one as far from `to`.
struct Folding {
  std::uint16_t first;
  std::uint16_t last;
  std::uint16_t to;
  std::uint16_t step = 1;
};

// Upper to lower case, of Unicode as it was in 1998: the order of catalogs must never change. The
// facts are those of technical note 1150, as Linux fs/hfsplus/tables.c has them too.
constexpr Folding kFoldings[] = {
    {0x0041, 0x005A, 0x0061},    {0x00C6, 0x00C6, 0x00E6},    {0x00D0, 0x00D0, 0x00F0},
    {0x00D8, 0x00D8, 0x00F8},    {0x00DE, 0x00DE, 0x00FE},    {0x0110, 0x0110, 0x0111},
    {0x0126, 0x0126, 0x0127},    {0x0132, 0x0132, 0x0133},    {0x013F, 0x0141, 0x0140, 2},
    {0x014A, 0x014A, 0x014B},    {0x0152, 0x0152, 0x0153},    {0x0166, 0x0166, 0x0167},
    {0x0181, 0x0181, 0x0253},    {0x0182, 0x0184, 0x0183, 2}, {0x0186, 0x0186, 0x0254},
    {0x0187, 0x0187, 0x0188},    {0x0189, 0x018A, 0x0256},    {0x018B, 0x018B, 0x018C},
    {0x018E, 0x018E, 0x01DD},    {0x018F, 0x018F, 0x0259},    {0x0190, 0x0190, 0x025B},
    {0x0191, 0x0191, 0x0192},    {0x0193, 0x0193, 0x0260},    {0x0194, 0x0194, 0x0263},
    {0x0196, 0x0196, 0x0269},    {0x0197, 0x0197, 0x0268},    {0x0198, 0x0198, 0x0199},
    {0x019C, 0x019C, 0x026F},    {0x019D, 0x019D, 0x0272},    {0x019F, 0x019F, 0x0275},
    {0x01A2, 0x01A4, 0x01A3, 2}, {0x01A7, 0x01A7, 0x01A8},    {0x01A9, 0x01A9, 0x0283},
    {0x01AC, 0x01AC, 0x01AD},    {0x01AE, 0x01AE, 0x0288},    {0x01B1, 0x01B2, 0x028A},
    {0x01B3, 0x01B5, 0x01B4, 2}, {0x01B7, 0x01B7, 0x0292},    {0x01B8, 0x01B8, 0x01B9},
    {0x01BC, 0x01BC, 0x01BD},    {0x01C4, 0x01C4, 0x01C6},    {0x01C5, 0x01C5, 0x01C6},
    {0x01C7, 0x01C7, 0x01C9},    {0x01C8, 0x01C8, 0x01C9},    {0x01CA, 0x01CA, 0x01CC},
    {0x01CB, 0x01CB, 0x01CC},    {0x01E4, 0x01E4, 0x01E5},    {0x01F1, 0x01F1, 0x01F3},
    {0x01F2, 0x01F2, 0x01F3},    {0x0391, 0x03A1, 0x03B1},    {0x03A3, 0x03A9, 0x03C3},
    {0x03E2, 0x03EE, 0x03E3, 2}, {0x0402, 0x0402, 0x0452},    {0x0404, 0x0406, 0x0454},
    {0x0408, 0x040B, 0x0458},    {0x040F, 0x040F, 0x045F},    {0x0410, 0x0418, 0x0430},
    {0x041A, 0x042F, 0x043A},    {0x0460, 0x0474, 0x0461, 2}, {0x0478, 0x0480, 0x0479, 2},
    {0x0490, 0x04BE, 0x0491, 2}, {0x04C3, 0x04C3, 0x04C4},    {0x04C7, 0x04C7, 0x04C8},
    {0x04CB, 0x04CB, 0x04CC},    {0x0531, 0x0556, 0x0561},    {0x10A0, 0x10C5, 0x10D0},
    {0x2160, 0x216F, 0x2170},    {0xFF21, 0xFF3A, 0xFF41},
};

constexpr bool is_ignored(std::uint16_t unit) {
  return (unit >= 0x200C && unit <= 0x200F) || (unit >= 0x202A && unit <= 0x202E) ||
         (unit >= 0x206A && unit <= 0x206F) || unit == 0xFEFF;
}

std::uint16_t unit_at(std::string_view name, std::size_t at) {
  const auto byte = [&](std::size_t i) {
    return static_cast<unsigned>(static_cast<unsigned char>(name[i]));
  };
  return static_cast<std::uint16_t>(byte(at) << 8U | byte(at + 1));
}

// The next unit that counts, from `at` on; 0 at the end.
std::uint16_t next_folded(std::string_view name, std::size_t& at) {
  std::uint16_t unit = 0;
  while (unit == 0 && at + 1 < name.size()) {
    unit = fold_hfsplus_unit(unit_at(name, at));
    at += 2;
  }
  return unit;
}

}  // namespace

std::uint16_t fold_hfsplus_unit(std::uint16_t unit) noexcept {
  if (unit < 0x80) {
    if (unit == 0) return 0xFFFF;
    return unit >= 'A' && unit <= 'Z' ? static_cast<std::uint16_t>(unit + 0x20) : unit;
  }
  const Folding* end = std::end(kFoldings);
  const Folding* found = std::upper_bound(
      std::begin(kFoldings), end, unit,
      [](std::uint16_t wanted, const Folding& folding) { return wanted < folding.first; });
  if (found != std::begin(kFoldings)) {
    --found;
    if (unit <= found->last && (unit - found->first) % found->step == 0) {
      return static_cast<std::uint16_t>(found->to + (unit - found->first));
    }
  }
  return is_ignored(unit) ? std::uint16_t{0} : unit;
}

int compare_hfsplus_names(std::string_view a, std::string_view b, bool by_case) {
  if (by_case) return a.compare(b);  // of big-endian units the bytes have the same order
  std::size_t at_a = 0;
  std::size_t at_b = 0;
  while (true) {
    const int unit_a = next_folded(a, at_a);
    const int unit_b = next_folded(b, at_b);
    if (unit_a != unit_b || unit_a == 0) return unit_a - unit_b;
  }
}

std::string hfsplus_name_of(std::string_view ascii) {
  std::string name;
  for (const char c : ascii) {
    name.push_back('\0');
    name.push_back(c);
  }
  return name;
}

const std::string& hfsplus_private_name() {
  static const std::string kName = std::string(8, '\0') + hfsplus_name_of("HFS+ Private Data");
  return kName;
}

bool is_hfsplus_linked_name(std::string_view name) {
  static const std::string kBeginning = hfsplus_name_of(kHfsPlusLinkedFile);
  return name.starts_with(kBeginning);
}

}  // namespace platter::filesystem
