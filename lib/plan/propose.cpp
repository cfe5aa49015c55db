#include "plan/propose.h"

#include <algorithm>
#include <set>
#include <vector>

#include <fmt/format.h>

#include "core/charset.h"
#include "core/numbers.h"

namespace platter::plan {
namespace {

// TOML 1.0 basic string. Paths that are no UTF-8 cannot be said in TOML; decoding shows them
// percent-escaped, which at least can be seen and mended.
std::string toml_text(std::string_view raw) {
  std::string text = "\"";
  for (const char c : decode_text(raw, Charset::ascii).utf8) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      text += '\\';
      text += c;
    } else if (byte < 0x20 || byte == 0x7F) {
      text += fmt::format("\\u{:04X}", byte);
    } else {
      text += c;
    }
  }
  return text + "\"";
}

std::string toml_size(std::uint64_t bytes, bool optical) {
  if (bytes % kGiB == 0) return fmt::format("\"{} GiB\"", bytes / kGiB);
  if (bytes % kMiB == 0) return fmt::format("\"{} MiB\"", bytes / kMiB);
  if (optical && bytes % kOpticalBytes == 0) return fmt::format("\"{} cd\"", bytes / kOpticalBytes);
  if (bytes % kBlockBytes == 0) return fmt::format("{}", bytes / kBlockBytes);
  return fmt::format("\"{} B\"", bytes);
}

// The file's name without folders and endings; a number behind it when it is taken.
std::string name_for(std::string_view path, std::set<std::string>& taken) {
  std::string_view stem = path.substr(path.find_last_of("/:") + 1);
  const std::size_t dot = stem.find('.', 1);
  stem = stem.substr(0, dot);
  const std::string base = stem.empty() ? "image" : std::string(stem);
  std::string name = base;
  for (int i = 2; !taken.insert(decode_text(name, Charset::ascii).utf8).second; ++i) {
    name = fmt::format("{} {}", base, i);
  }
  return name;
}

// Common practice, no source: disks from 0 up, optical drives from 6 down.
class BusIds {
 public:
  explicit BusIds(bool wide) {
    for (std::uint64_t id = 0; id <= (wide ? 15U : 6U); ++id) {
      if (id != 7) free_.push_back(id);
    }
  }
  std::optional<std::uint64_t> take(bool optical) {
    if (free_.empty()) return std::nullopt;
    auto at = free_.begin();
    if (optical) {  // the highest one that every bus has, else the lowest of the wide ones
      const auto wide_ones = std::ranges::upper_bound(free_, 6);
      at = wide_ones == free_.begin() ? free_.begin() : std::prev(wide_ones);
    }
    const std::uint64_t id = *at;
    free_.erase(at);
    return id;
  }

 private:
  std::vector<std::uint64_t> free_;
};

std::uint64_t region_bytes(const ProposedImage& image) {
  const std::uint64_t wanted = std::max({image.bytes, image.claimed_bytes, std::uint64_t{1}});
  const std::uint64_t block = image.optical ? kOpticalBytes : kBlockBytes;
  return saturating_mul(divide_up(wanted, block), block);
}

}  // namespace

std::string propose_plan(std::span<const ProposedImage> images, std::uint64_t card_bytes,
                         std::string_view card_path) {
  const bool wide = images.size() > 7;
  std::string text =
      "# A first plan from the sizes of the images. Regions without a start follow the one "
      "before,\n"
      "# aligned to 1 MiB. Bus ids are only a habit: disks from 0 up, optical drives from 6 "
      "down.\n\n"
      "[card]\n";
  if (!card_path.empty()) text += fmt::format("path = {}\n", toml_text(card_path));
  text += fmt::format("size = {}\n", toml_size(card_bytes, false));
  if (wide) text += "bus = \"wide\"\n";
  BusIds ids(wide);
  std::set<std::string> names;
  for (const ProposedImage& image : images) {
    const std::uint64_t bytes = region_bytes(image);
    text += fmt::format("\n[[region]]\nname = {}\ndevice = \"{}\"\n",
                        toml_text(name_for(image.path, names)),
                        device_word(image.optical ? Device::optical : Device::disk));
    if (const auto id = ids.take(image.optical)) text += fmt::format("bus_id = {}\n", *id);
    text += fmt::format("size = {}  # {}\n", toml_size(bytes, image.optical), readable_size(bytes));
    if (image.optical) text += "block_bytes = 2048\n";
    if (image.geometry && !image.optical) {
      text += fmt::format("geometry = {{ heads = {}, sectors_per_track = {} }}\n",
                          image.geometry->heads, image.geometry->sectors_per_track);
    }
    text += fmt::format("image = {}\n", toml_text(image.path));
  }
  return text;
}

}  // namespace platter::plan
