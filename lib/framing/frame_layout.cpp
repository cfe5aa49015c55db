#include "framing/frame_layout.h"

#include <algorithm>
#include <cstring>
#include <map>
#include <vector>

#include <fmt/format.h>

namespace platter::framing {
namespace {

namespace code = sector_code;

constexpr std::size_t kSyncBytes = code::sync_pattern.size();
constexpr std::size_t kSubheaderBytes = 8;
constexpr std::size_t kHeaderEnd = 16;  // behind sync and header
// Frames looked at one after another, and spread over the rest of the image.
constexpr std::uint64_t kNear = 16;
constexpr std::uint64_t kSpread = 32;
// A first frame may be damaged, and a few with it.
constexpr std::uint64_t kFirstTries = 8;
// An image that starts with audio is looked into at this many places.
constexpr std::uint64_t kAudioTries = 64;
constexpr std::size_t kEnoughVotes = 4;
constexpr std::size_t kEnoughProofs = 2;
constexpr std::size_t kEnoughPairs = 3;

bool has_sync(const View& image, std::uint64_t at) {
  std::array<std::byte, kSyncBytes> raw{};
  return image.read(at, raw) == raw.size() && raw == code::sync_pattern;
}

// The block of a frame that has a sync and a header that may be one.
std::optional<std::int32_t> block_of(const View& image, std::uint64_t at) {
  std::array<std::byte, 16> head{};
  if (image.read(at, head) != head.size()) return std::nullopt;
  if (!std::ranges::equal(code::sync_pattern, std::span(head).first<kSyncBytes>())) {
    return std::nullopt;
  }
  if ((std::to_integer<unsigned>(head[15]) & 0x1FU) > 2) return std::nullopt;
  return code::parse_address(std::span<const std::byte, 3>(head.data() + 12, 3));
}

class Search {
 public:
  Search(const View& image, std::uint32_t frame_bytes) : image_(image) {
    layout_.frame_bytes = frame_bytes;
    divide(0);
  }

  std::optional<FrameLayout> run() {
    if (layout_.frames == 0) return std::nullopt;
    return layout_.headless() ? without_sync() : with_sync();
  }

 private:
  void divide(std::uint64_t lead) {
    layout_.lead = lead;
    const std::uint64_t least = layout_.headless() ? kHeadlessFrame : code::frame_bytes;
    const std::uint64_t bytes = image_.bytes() - std::min(lead, image_.bytes());
    layout_.frames = bytes < least ? 0 : (bytes - least) / layout_.frame_bytes + 1;
    const std::uint64_t used = layout_.frames * layout_.frame_bytes;
    layout_.rest = bytes > used ? bytes - used : 0;
  }

  // Whether the error detection code vouches for a frame. A frame of zeros has a code of zeros, and
  // so does any run of zeros on a plain disk: zeros vouch for nothing.
  bool proves(std::uint64_t frame) const {
    std::array<std::byte, code::frame_bytes> stored{};
    const std::size_t bytes = code::frame_bytes - missing_head(layout_.headless());
    image_.read(layout_.place_of(frame), std::span(stored).first(bytes));
    code::Frame whole;
    full_frame(std::span(stored).first(bytes), layout_.headless(), whole);
    const auto content = std::span(whole).subspan(kHeaderEnd);
    if (std::ranges::all_of(content, [](std::byte b) { return b == std::byte{0}; })) return false;
    const code::FrameCheck found = code::check(whole);
    return found.sync_ok && found.edc == code::EdcState::good;
  }

  // ---- frames with sync and header ----

  std::optional<FrameLayout> with_sync() {
    const auto first = first_sync();
    if (!first) return std::nullopt;
    gather(*first);
    const std::size_t proofs = proofs_among_voters();
    const bool single = layout_.frames == 1 && proofs == 1 && image_.bytes() == layout_.frame_bytes;
    bool accepted = votes_ >= kEnoughVotes ||
                    (votes_ >= kEnoughProofs && proofs >= kEnoughProofs) || single ||
                    proven_pairs(*first) >= kEnoughPairs;
    // A lead that is no frame, or audio first, also occurs when a plain image holds a file of
    // frames: then only frames from end to end, or with matching codes, count.
    if (layout_.lead != 0) accepted = accepted && layout_.frames >= kNear && covers_everything();
    if (audio_first_) accepted = accepted && proofs != 0 && !image_.holds(32769, "CD001");
    if (!accepted) return std::nullopt;
    layout_.proven = proofs != 0;
    place_in_disc();
    return layout_;
  }

  // First frame with a sync among those worth a try; sets the lead.
  std::optional<std::uint64_t> first_sync() {
    for (std::uint64_t k = 0; k < std::min(kFirstTries, layout_.frames); ++k) {
      if (has_sync(image_, layout_.place_of(k))) return k;
    }
    if (const auto lead = lead_before_sync()) {
      divide(*lead);
      if (layout_.frames != 0) return 0;
    }
    return sync_after_audio();
  }

  // The image may start inside a frame; then the first sync stands less than a frame away.
  std::optional<std::uint64_t> lead_before_sync() const {
    const auto bytes = image_.read_vector(0, layout_.frame_bytes + kSyncBytes - 1);
    const auto found = std::search(bytes.begin(), bytes.end(), code::sync_pattern.begin(),
                                   code::sync_pattern.end());
    if (found == bytes.end()) return std::nullopt;
    return static_cast<std::uint64_t>(found - bytes.begin());
  }

  std::optional<std::uint64_t> sync_after_audio() {
    divide(0);
    if (layout_.rest != 0 || layout_.frames * layout_.frame_bytes != image_.bytes()) {
      return std::nullopt;
    }
    for (std::uint64_t i = 1; i <= kAudioTries; ++i) {
      const std::uint64_t frame =
          layout_.frames / kAudioTries * i + layout_.frames % kAudioTries * i / kAudioTries;
      if (frame == 0) continue;
      if (has_sync(image_, layout_.place_of(frame - 1))) {
        audio_first_ = true;
        return frame - 1 - std::min(frame - 1, kNear / 2);
      }
    }
    return std::nullopt;
  }

  using Votes = std::map<std::int64_t, std::vector<std::uint64_t>>;

  // Every header votes for the block that frame 0 would have.
  void vote(Votes& votes, std::uint64_t frame) const {
    const auto block = block_of(image_, layout_.place_of(frame));
    if (block) votes[*block - static_cast<std::int64_t>(frame)].push_back(frame);
  }

  static const Votes::value_type* most_voted(const Votes& votes) {
    const auto most = std::ranges::max_element(
        votes, {}, [](const Votes::value_type& one) { return one.second.size(); });
    return most == votes.end() ? nullptr : &*most;
  }

  void gather(std::uint64_t first) {
    const std::uint64_t near_end = std::min(first + kNear, layout_.frames);
    Votes votes;
    for (std::uint64_t k = first; k < near_end; ++k)
      vote(votes, k);
    // A disc may consist of several dumps in a row; the plain image goes by the first.
    const auto* nearest = most_voted(votes);
    const bool near_agree = nearest != nullptr && nearest->second.size() > 1;
    if (near_agree) origin_ = nearest->first;
    for (std::uint64_t i = 0; i < kSpread; ++i) {
      const std::uint64_t frame = layout_.frames / kSpread * i;
      if (frame >= near_end) vote(votes, frame);
    }
    const auto* most = most_voted(votes);
    if (most == nullptr) return;
    voters_ = most->second;
    votes_ = voters_.size();
    if (!near_agree) origin_ = most->first;
  }

  std::size_t proofs_among_voters() const {
    std::size_t proofs = 0;
    for (std::size_t i = 0; i < std::min(voters_.size(), kEnoughVotes); ++i) {
      proofs += proves(voters_[i]) ? 1U : 0U;
    }
    return proofs;
  }

  // Neighbours that both match their code: right even where the headers do not count up.
  std::size_t proven_pairs(std::uint64_t first) const {
    std::size_t pairs = 0;
    bool before = false;
    for (std::uint64_t k = first; k < std::min(first + kNear, layout_.frames); ++k) {
      const bool now = block_of(image_, layout_.place_of(k)).has_value() && proves(k);
      pairs += before && now ? 1U : 0U;
      before = now;
    }
    return pairs;
  }

  bool covers_everything() const {
    std::uint64_t synced = 0;
    for (std::uint64_t i = 0; i < kSpread; ++i) {
      const std::uint64_t frame = (layout_.frames - 1) * i / (kSpread - 1);
      synced += has_sync(image_, layout_.place_of(frame)) ? 1U : 0U;
    }
    return synced * 10 >= kSpread * 9;
  }

  void place_in_disc() {
    if (votes_ == 0 || origin_ < code::first_lba || origin_ > code::last_lba) return;
    layout_.first_lba = static_cast<std::int32_t>(origin_);
    // The pause in front of block 0 holds nothing; without it positions are those of the disc.
    const std::uint64_t before = origin_ < 0 ? static_cast<std::uint64_t>(-origin_) : 0;
    if (before < layout_.frames) layout_.pregap = before;
  }

  // ---- frames without ----

  std::optional<FrameLayout> without_sync() {
    const std::uint64_t looked_at = std::min(kNear, layout_.frames);
    std::uint64_t equal = 0;
    for (std::uint64_t k = 0; k < looked_at; ++k) {
      std::array<std::byte, kSubheaderBytes> raw{};
      if (image_.read(layout_.place_of(k), raw) != raw.size()) return std::nullopt;
      equal += std::memcmp(raw.data(), raw.data() + 4, 4) == 0 ? 1U : 0U;
      // Most of them must be, so a plain image is given up after a few looks.
      if (k + 1 - equal > looked_at / 4) return std::nullopt;
    }
    std::uint64_t proofs = 0;
    for (std::uint64_t k = 0; k < looked_at; ++k)
      proofs += proves(k) ? 1U : 0U;
    // Headerless data frames of a volume whose codes were left empty: the volume speaks for them.
    const bool volume = equal == looked_at && image_.holds(16 * kHeadlessFrame + 9, "CD001");
    const bool enough = proofs >= kEnoughVotes || (proofs >= 1 && proofs == layout_.frames);
    if (!enough && !volume) return std::nullopt;
    layout_.proven = enough;
    return layout_;
  }

  const View& image_;
  FrameLayout layout_;
  bool audio_first_ = false;
  std::size_t votes_ = 0;
  std::int64_t origin_ = 0;
  std::vector<std::uint64_t> voters_;
};

}  // namespace

std::optional<FrameLayout> find_layout(const View& image, std::uint32_t frame_bytes) {
  return Search(image, frame_bytes).run();
}

std::optional<code::FrameKind> kind_of_head(std::span<const std::byte, kHeadBytes> head) noexcept {
  if (!std::ranges::equal(code::sync_pattern, head.first<kSyncBytes>())) return std::nullopt;
  const unsigned mode = std::to_integer<unsigned>(head[15]) & 0x1FU;
  if (mode == 1) return code::FrameKind::mode1;
  if (mode != 2 || std::memcmp(head.data() + 16, head.data() + 20, 4) != 0) return std::nullopt;
  const bool form2 = (std::to_integer<unsigned>(head[18]) & 0x20U) != 0;
  return form2 ? code::FrameKind::mode2_form2 : code::FrameKind::mode2_form1;
}

std::optional<std::size_t> user_offset(code::FrameKind kind) noexcept {
  switch (kind) {
    case code::FrameKind::mode1:
      return 16;
    case code::FrameKind::mode2_form1:
      return 24;
    default:
      return std::nullopt;
  }
}

void full_frame(std::span<const std::byte> stored, bool headless,
                code::MutableFrameView frame) noexcept {
  std::size_t at = 0;
  if (headless) {
    constexpr std::array<std::byte, 4> kHeader{std::byte{0}, std::byte{2}, std::byte{0},
                                               std::byte{2}};
    std::ranges::copy(code::sync_pattern, frame.begin());
    std::ranges::copy(kHeader, frame.begin() + kSyncBytes);
    at = kSyncBytes + kHeader.size();
  }
  const std::size_t count = std::min(stored.size(), frame.size() - at);
  std::memcpy(frame.data() + at, stored.data(), count);
  std::ranges::fill(frame.subspan(at + count), std::byte{0});
}

std::string address_words(std::int64_t lba) {
  if (lba < code::first_lba || lba > code::last_lba) return fmt::format("block {}", lba);
  const std::int64_t frames = lba - code::first_lba;
  return fmt::format("{:02}:{:02}:{:02}", frames / 75 / 60, frames / 75 % 60, frames % 75);
}

}  // namespace platter::framing
