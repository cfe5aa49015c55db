// Swapped dumps: every 16-bit or 32-bit word of a disk turned round.
//
// Any bytes can be read that way, and nothing in them says that they should be. So these rows make
// a claim of mere shape about everything; the walk tries it only where nothing was found without,
// and keeps it only when what is found behind it is strong (lib/survey/guess.h).
#include <algorithm>
#include <array>
#include <cstring>
#include <utility>

#include <fmt/format.h>

#include "core/claim.h"
#include "framing/swapped_source.h"

namespace platter::framing {
namespace {

constexpr std::uint64_t kLeastImage = 512;

void turn_words(std::span<std::byte> bytes, unsigned word) noexcept {
  if (word == 2) {
    for (std::size_t i = 0; i + 1 < bytes.size(); i += 2)
      std::swap(bytes[i], bytes[i + 1]);
    return;
  }
  for (std::size_t i = 0; i + 3 < bytes.size(); i += 4) {
    std::swap(bytes[i], bytes[i + 3]);
    std::swap(bytes[i + 1], bytes[i + 2]);
  }
}

std::vector<Claim> claims(const View& view, unsigned word) {
  if (view.bytes() < kLeastImage || view.start() != 0) return {};
  Claim claim;
  claim.strength = Strength::shape;
  claim.framed = std::make_shared<SwappedSource>(view.source(), word);
  claim.bytes = claim.framed->size();
  claim.title = fmt::format("dump with the bytes of every {}-bit word swapped", 8 * word);
  claim.facts.set("word_bytes", word);
  claim.find(Severity::caution, FindingCode::bytes_swapped, 0, view.bytes(),
             fmt::format("the bytes of every {}-bit word are swapped; no machine starts from the "
                         "image as it is",
                         8 * word));
  const std::uint64_t rest = view.bytes() - claim.bytes;
  if (rest != 0) {
    claim.find(Severity::caution, FindingCode::image_odd_size, claim.bytes, rest,
               fmt::format("the image has {} bytes, {} more than whole {}-bit words", view.bytes(),
                           rest, 8 * word));
  }
  std::vector<Claim> all;
  all.push_back(std::move(claim));
  return all;
}

}  // namespace

std::size_t SwappedSource::read(std::uint64_t offset, std::span<std::byte> out) const {
  if (offset >= size_) return 0;
  const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), size_ - offset));
  std::size_t done = 0;
  while (done < count) {
    const std::uint64_t at = offset + done;
    const auto inside = static_cast<std::size_t>(at % word_);
    if (inside == 0 && count - done >= word_) {
      const auto part = out.subspan(done, (count - done) / word_ * word_);
      const std::size_t got = image_->read(at, part);
      turn_words(part.first(got), word_);
      if (got < part.size()) return done + got;  // the image became shorter
      done += part.size();
      continue;
    }
    // A word that is wanted in part.
    std::array<std::byte, 4> whole{};
    const auto bytes = std::span(whole).first(word_);
    if (image_->read(at - inside, bytes) != bytes.size()) return done;
    turn_words(bytes, word_);
    const std::size_t wanted = std::min<std::size_t>(count - done, word_ - inside);
    std::ranges::copy(bytes.subspan(inside, wanted), out.subspan(done).begin());
    done += wanted;
  }
  return count;
}

extern const Format swap16_format;
const Format swap16_format = {
    .id = "swap16",
    .title = "dump with swapped 16-bit words",
    .stage = Stage::framing,
    .claims = [](const View& view, const Context&) { return claims(view, 2); }};

extern const Format swap32_format;
const Format swap32_format = {
    .id = "swap32",
    .title = "dump with swapped 32-bit words",
    .stage = Stage::framing,
    .claims = [](const View& view, const Context&) { return claims(view, 4); }};

}  // namespace platter::framing
