#include "framing/framed_source.h"

#include <algorithm>

namespace platter::framing {

// First byte of a frame's user bytes in the image.
std::optional<std::uint64_t> FramedSource::user_place(std::uint64_t frame) const {
  const bool headless = layout_.headless();
  const auto cut = static_cast<std::size_t>(missing_head(headless));
  const std::uint64_t place = layout_.place_of(frame);
  std::array<std::byte, sector_code::frame_bytes> stored{};
  sector_code::Frame whole;
  const auto head = std::span(stored).first(kHeadBytes - cut);
  image_->read(place, head);
  full_frame(head, headless, whole);
  auto kind = kind_of_head(std::span(whole).first<kHeadBytes>());
  if (!kind) {
    const auto all = std::span(stored).first(sector_code::frame_bytes - cut);
    image_->read(place, all);
    full_frame(all, headless, whole);
    kind = sector_code::classify(whole);
  }
  const auto offset = user_offset(*kind);
  if (!offset) return std::nullopt;
  return place + *offset - cut;
}

std::size_t FramedSource::read(std::uint64_t offset, std::span<std::byte> out) const {
  if (offset >= size()) return 0;
  const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size() - offset));
  for (std::size_t done = 0; done < count;) {
    const std::uint64_t at = offset + done;
    const auto inside = static_cast<std::size_t>(at % sector_code::user_bytes);
    const std::size_t wanted = std::min(count - done, sector_code::user_bytes - inside);
    const auto part = out.subspan(done, wanted);
    std::size_t got = 0;
    if (const auto place = user_place(layout_.pregap + at / sector_code::user_bytes)) {
      got = image_->read(*place + inside, part);
    }
    std::ranges::fill(part.subspan(got), std::byte{0});
    done += wanted;
  }
  return count;
}

std::optional<std::uint64_t> FramedSource::stored_place(std::uint64_t plain) const {
  if (plain >= size()) return std::nullopt;
  const auto place = user_place(layout_.pregap + plain / sector_code::user_bytes);
  if (!place) return std::nullopt;
  return *place + plain % sector_code::user_bytes;
}

}  // namespace platter::framing
