// The frame codes against three outside witnesses: vectors computed before this code was written,
// a second implementation straight from the definitions (below), and SHA-256 of libcrypto.
#include "framing/sector_code.h"

#include <algorithm>
#include <cstring>
#include <iomanip>
#include <ostream>
#include <random>
#include <sstream>
#include <string>

#include <catch2/catch.hpp>
#include <openssl/evp.h>

namespace {

using namespace platter::sector_code;

using Bytes = std::vector<std::byte>;

std::string hex(std::span<const std::byte> bytes) {
  std::ostringstream text;
  text << std::hex << std::setfill('0');
  for (const std::byte byte : bytes)
    text << std::setw(2) << std::to_integer<int>(byte);
  return text.str();
}

std::string sha256(std::span<const std::byte> bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned size = 0;
  REQUIRE(EVP_Digest(bytes.data(), bytes.size(), digest.data(), &size, EVP_sha256(), nullptr) == 1);
  return hex(std::as_bytes(std::span(digest).first(size)));
}

template <std::size_t Count>
std::array<std::byte, Count> ramp() {
  std::array<std::byte, Count> bytes{};
  for (std::size_t i = 0; i < Count; ++i)
    bytes[i] = static_cast<std::byte>(i & 0xFF);
  return bytes;
}

template <std::size_t Count>
std::array<std::byte, Count> zeros() {
  return {};
}

template <std::size_t Count, typename Random>
std::array<std::byte, Count> noise(Random& random) {
  std::array<std::byte, Count> bytes{};
  for (std::byte& byte : bytes)
    byte = static_cast<std::byte>(random() & 0xFFU);
  return bytes;
}

constexpr Subheader data_subheader{std::byte{0}, std::byte{0}, std::byte{0x08}, std::byte{0}};

template <typename Random>
std::byte nonzero_byte(Random& random) {
  return static_cast<std::byte>(1 + random() % 255);
}

// ---- The definitions once more, slowly: nothing here is shared with the library. ----

// Long division of the message, one bit at a time, by x^32+x^31+x^16+x^15+x^4+x^3+x+1. The
// remainder has x^31 on top and is turned round at the end, as the frame stores it.
std::uint32_t edc_by_division(std::span<const std::byte> bytes) {
  std::uint64_t remainder = 0;
  const auto feed = [&remainder](unsigned bit) {
    remainder = (remainder << 1) | bit;
    if ((remainder >> 32) != 0) remainder ^= 0x18001801BULL;
  };
  for (const std::byte byte : bytes) {
    for (int i = 0; i < 8; ++i)
      feed((std::to_integer<unsigned>(byte) >> i) & 1U);
  }
  for (int i = 0; i < 32; ++i)
    feed(0);
  std::uint32_t turned = 0;
  for (int i = 0; i < 32; ++i) {
    if (((remainder >> i) & 1U) != 0) turned |= 1U << (31 - i);
  }
  return turned;
}

unsigned field_product(unsigned a, unsigned b) {
  unsigned product = 0;
  for (int i = 0; i < 8; ++i) {
    if (((b >> i) & 1U) != 0) product ^= a << i;
  }
  for (int i = 15; i >= 8; --i) {
    if (((product >> i) & 1U) != 0) product ^= 0x11DU << (i - 8);
  }
  return product;
}

unsigned field_power(unsigned exponent) {
  static const std::array<unsigned, 64> powers = [] {
    std::array<unsigned, 64> table{};
    table[0] = 1;
    for (std::size_t i = 1; i < table.size(); ++i)
      table[i] = field_product(table[i - 1], 2);
    return table;
  }();
  return powers.at(exponent);
}

// Offsets in the frame of the symbols of each word, in the words of the standard: P word n takes
// 43*m+n, Q word n takes (44*m+43*n) mod 1118 of the 16-bit words from byte 12 on.
std::vector<std::vector<std::size_t>> word_layout(bool q) {
  std::vector<std::vector<std::size_t>> words;
  for (std::size_t n = 0; n < (q ? 26U : 43U); ++n) {
    for (std::size_t b = 0; b < 2; ++b) {
      std::vector<std::size_t> offsets;
      for (std::size_t m = 0; m < (q ? 43U : 26U); ++m) {
        offsets.push_back(12 + 2 * (q ? (44 * m + 43 * n) % 1118 : 43 * m + n) + b);
      }
      if (q) {
        offsets.push_back(12 + 2 * (1118 + n) + b);
        offsets.push_back(12 + 2 * (1144 + n) + b);
      }
      words.push_back(offsets);
    }
  }
  return words;
}

const std::vector<std::vector<std::size_t>>& p_layout() {
  static const auto layout = word_layout(false);
  return layout;
}

const std::vector<std::vector<std::size_t>>& q_layout() {
  static const auto layout = word_layout(true);
  return layout;
}

// The two parity symbols from the two equations, by Cramer's rule with an inverse found by search.
void solve_parity(Frame& frame, const std::vector<std::size_t>& offsets, bool header_as_zero) {
  const std::size_t count = offsets.size();
  unsigned sum = 0;
  unsigned weighted = 0;
  for (std::size_t i = 0; i + 2 < count; ++i) {
    if (header_as_zero && offsets[i] < 16) continue;
    const auto symbol = std::to_integer<unsigned>(frame[offsets[i]]);
    sum ^= symbol;
    weighted ^= field_product(symbol, field_power(static_cast<unsigned>(count - 1 - i)));
  }
  static const unsigned inverse_of_3 = [] {
    unsigned inverse = 1;
    while (field_product(inverse, 3) != 1)
      ++inverse;
    return inverse;
  }();
  const unsigned first = field_product(sum ^ weighted, inverse_of_3);
  frame[offsets[count - 2]] = static_cast<std::byte>(first);
  frame[offsets[count - 1]] = static_cast<std::byte>(sum ^ first);
}

Frame encode_slowly(std::span<const std::byte> user, int minute, int second, int third, int mode,
                    std::optional<Subheader> subheader) {
  Frame frame{};
  std::fill(frame.begin() + 1, frame.begin() + 11, std::byte{0xFF});
  frame[12] = static_cast<std::byte>(minute / 10 * 16 + minute % 10);
  frame[13] = static_cast<std::byte>(second / 10 * 16 + second % 10);
  frame[14] = static_cast<std::byte>(third / 10 * 16 + third % 10);
  frame[15] = static_cast<std::byte>(mode);
  std::size_t at = 16;
  std::size_t covered_from = 0;
  if (subheader) {
    std::copy(subheader->begin(), subheader->end(), frame.begin() + 16);
    std::copy(subheader->begin(), subheader->end(), frame.begin() + 20);
    at = 24;
    covered_from = 16;
  }
  std::copy(user.begin(), user.end(), frame.begin() + static_cast<std::ptrdiff_t>(at));
  at += user.size();
  const std::uint32_t sum =
      edc_by_division(std::span(frame).subspan(covered_from, at - covered_from));
  for (std::size_t i = 0; i < 4; ++i)
    frame[at + i] = static_cast<std::byte>(sum >> (8 * i));
  if (user.size() == 2048) {
    for (const auto& word : p_layout())
      solve_parity(frame, word, subheader.has_value());
    for (const auto& word : q_layout())
      solve_parity(frame, word, subheader.has_value());
  }
  return frame;
}

bool all_words_hold(const Frame& frame, FrameKind kind) {
  const FrameSyndromes words = syndromes(frame, kind);
  return std::none_of(words.p.begin(), words.p.end(), [](auto& word) { return word.bad(); }) &&
         std::none_of(words.q.begin(), words.q.end(), [](auto& word) { return word.bad(); });
}

// Damages a copy of `sound`, repairs it, and demands that all of it comes back and that the list of
// changes is the damage.
bool repair_restores(const Frame& sound, const Frame& damaged) {
  Frame frame = damaged;
  const RepairResult result = repair(frame);
  if (result.outcome != RepairOutcome::corrected || frame != sound) return false;
  std::size_t listed = 0;
  for (std::size_t offset = 0; offset < frame_bytes; ++offset) {
    if (sound[offset] == damaged[offset]) continue;
    if (listed >= result.changes.size()) return false;
    const ChangedByte expected{static_cast<std::uint16_t>(offset), damaged[offset], sound[offset]};
    if (result.changes[listed] != expected) return false;
    ++listed;
  }
  return listed == result.changes.size();
}

// Damage that may or may not be repaired; true unless the outcome and the frame contradict.
bool repair_is_honest(const Frame& sound, const Frame& damaged) {
  Frame frame = damaged;
  const RepairResult result = repair(frame);
  switch (result.outcome) {
    case RepairOutcome::corrected:
      return frame == sound;
    case RepairOutcome::sound:
      return damaged == sound && frame == sound;
    case RepairOutcome::not_correctable:
    case RepairOutcome::unprotected:
      break;
  }
  return frame == damaged && result.changes.empty();
}

std::vector<Path> both_paths() {
  return {Path::portable, Path::fastest};
}

}  // namespace

namespace platter::sector_code {

std::ostream& operator<<(std::ostream& out, FrameKind kind) {
  return out << kind_name(kind);
}

std::ostream& operator<<(std::ostream& out, const FrameCheck& check) {
  return out << check.kind << " edc=" << static_cast<int>(check.edc) << " p=" << int{check.p_bad}
             << " q=" << int{check.q_bad} << " sync=" << check.sync_ok << " mode=" << check.mode_ok
             << " filler=" << check.filler_ok << " address=" << check.address.value_or(-1000000);
}

}  // namespace platter::sector_code

TEST_CASE("encoders give the known vectors", "[sector_code]") {
  struct Vector {
    const char* name;
    Frame frame;
    std::size_t edc_at;
    const char* edc;
    const char* first_p;
    const char* last_p;
    const char* first_q;
    const char* last;
    const char* sha256;
  };
  const std::vector<Vector> vectors{
      {"mode 1, zeros", encode_mode1(zeros<2048>(), 0).value(), 2064, "c513682b", "00f700f5",
       "00000000", "00410000", "00c10012",
       "b4f18ab66709c9b3fdef2721cc323e031b6728f3ca6c57b7c435c96189222250"},
      {"mode 1, ramp", encode_mode1(ramp<2048>(), 0).value(), 2064, "279739e6", "4213c794",
       "4d1c95c4", "46e94486", "d07c6523",
       "f6a94f686e87d4dd2816703689017aa16078564724f033e97eb0faa23cb1adb3"},
      {"mode 1, zeros at 16", encode_mode1(zeros<2048>(), 16).value(), 2064, "bc17005f", "00f7eff5",
       "00000000", "00410000", "59c1eb12",
       "835dc0be84939e86244c0573e7d6a7cea535e65917f0a63ff9149610c1d9f674"},
      {"form 1, zeros", encode_form1(zeros<2048>(), data_subheader, 0).value(), 2072, "0b888194",
       "00000000", "160d1f35", "00000000", "00000000",
       "019d8734ffd82181a112f3b3c485312e8cfc1e37c1fc85374606669356ee35b8"},
      {"form 1, ramp", encode_form1(ramp<2048>(), data_subheader, 0).value(), 2072, "e90cd059",
       "59ff7fd9", "0d8befb1", "13fd68aa", "6161d387",
       "dc34c41e0727a097f0b4b1d0e2cd4cc22de2b63e96532f2b84a656414899a4ba"},
      {"form 2, zeros", encode_form2(zeros<2324>(), Subheader{}, 0).value(), 2348, "3f13b0be",
       nullptr, nullptr, nullptr, "3f13b0be",
       "7642dcde6dc9ef4bb2f5071ba19207bb8f0d56da1b530dfc5205fcd7499322af"},
      {"form 2, ramp", encode_form2(ramp<2324>(), Subheader{}, 0).value(), 2348, "bc8dd995",
       nullptr, nullptr, nullptr, "bc8dd995",
       "1448b7acb3865f6ae3fa2229aca0ffc565e90dfde7e7e8d449ffb2ffa8d0c6b8"},
  };
  for (const Vector& vector : vectors) {
    INFO(vector.name);
    const FrameView frame{vector.frame};
    CHECK(hex(frame.subspan(vector.edc_at, 4)) == vector.edc);
    if (vector.first_p != nullptr) {
      CHECK(hex(frame.subspan(2076, 4)) == vector.first_p);
      CHECK(hex(frame.subspan(2244, 4)) == vector.last_p);
      CHECK(hex(frame.subspan(2248, 4)) == vector.first_q);
    }
    CHECK(hex(frame.subspan(2348, 4)) == vector.last);
    CHECK(sha256(frame) == vector.sha256);
    for (const Path path : both_paths())
      CHECK(check(frame, path).sound());
  }
  CHECK(sha256(FrameView{vectors[0].frame}.subspan(2076, 276)) ==
        "619e335e55204ce597079fd54f8df335793665dc098a41cb0c59f36185705394");
  CHECK(sha256(FrameView{vectors[1].frame}.subspan(2076, 276)) ==
        "212505f3755df90b5877fecf3ae60bde8f79aa82d98b5e848da0447e73f47ff7");
}

TEST_CASE("the worked example of a wrong byte", "[sector_code]") {
  Frame frame = encode_mode1(ramp<2048>(), 0).value();
  frame[100] ^= std::byte{0x5A};
  const FrameSyndromes words = syndromes(frame, FrameKind::mode1);
  CHECK(words.p[2] == Syndrome{0x5A, 0x77});
  CHECK(p_symbol_offset(2, 1) == 100);
  const FrameCheck found = check(frame);
  CHECK(found.edc == EdcState::bad);
  CHECK(found.p_bad == 1);
  CHECK(found.q_bad == 1);
  const RepairResult result = repair(frame);
  CHECK(result.outcome == RepairOutcome::corrected);
  REQUIRE(result.changes.size() == 1);
  CHECK(result.changes[0] == ChangedByte{100, std::byte{0x5A ^ 84}, std::byte{84}});
}

TEST_CASE("symbol offsets are those of the standard", "[sector_code]") {
  for (std::size_t word = 0; word < p_word_count; ++word) {
    for (std::size_t i = 0; i < 26; ++i)
      REQUIRE(p_symbol_offset(word, i) == p_layout()[word][i]);
  }
  for (std::size_t word = 0; word < q_word_count; ++word) {
    for (std::size_t i = 0; i < 45; ++i)
      REQUIRE(q_symbol_offset(word, i) == q_layout()[word][i]);
  }
}

TEST_CASE("encoders agree with the definitions on random frames", "[sector_code]") {
  std::mt19937 random(130);
  bool same = true;
  bool sound = true;
  for (int round = 0; round < 10000; ++round) {
    const auto user = noise<form2_user_bytes>(random);
    const std::span<const std::byte, user_bytes> short_user(user.data(), user_bytes);
    const int minute = static_cast<int>(random() % 100);
    const int second = static_cast<int>(random() % 60);
    const int third = static_cast<int>(random() % 75);
    const int lba = (minute * 60 + second) * 75 + third - 150;
    auto subheader = noise<4>(random);
    Frame slow{};
    std::optional<Frame> quick;
    FrameKind kind = FrameKind::mode1;
    if (round % 5 == 4) {
      subheader[2] |= std::byte{0x20};
      kind = FrameKind::mode2_form2;
      slow = encode_slowly(user, minute, second, third, 2, subheader);
      quick = encode_form2(user, subheader, lba);
    } else if (round % 2 == 1) {
      subheader[2] &= std::byte{0xDF};
      kind = FrameKind::mode2_form1;
      slow = encode_slowly(short_user, minute, second, third, 2, subheader);
      quick = encode_form1(short_user, subheader, lba);
    } else {
      slow = encode_slowly(short_user, minute, second, third, 1, std::nullopt);
      quick = encode_mode1(short_user, lba);
    }
    same = same && quick == slow;
    for (const Path path : both_paths()) {
      const FrameCheck found = check(slow, path);
      sound = sound && found.sound() && found.kind == kind && found.address == lba &&
              found.edc == EdcState::good;
    }
    if (kind != FrameKind::mode2_form2) sound = sound && all_words_hold(slow, kind);
  }
  CHECK(same);
  CHECK(sound);
}

TEST_CASE("EDC of any length and alignment, in pieces, on both paths", "[sector_code]") {
  std::mt19937 random(14);
  const auto bytes = noise<700>(random);
  bool same = true;
  for (std::size_t from = 0; from < 17; ++from) {
    for (std::size_t count = 0; count <= 650; ++count) {
      const auto part = std::span(bytes).subspan(from, count);
      const std::uint32_t whole = edc(part, 0, Path::portable);
      if (count % 13 == 0) same = same && whole == edc_by_division(part);
      for (const Path path : both_paths()) {
        const std::size_t cut = count / 3;
        same = same && edc(part, 0, path) == whole;
        same = same && edc(part.subspan(cut), edc(part.first(cut), 0, path), path) == whole;
      }
    }
  }
  CHECK(same);
  CHECK(edc({}, 0x12345678U) == 0x12345678U);
}

TEST_CASE("addresses", "[sector_code]") {
  const auto parse = [](int minute, int second, int frame) {
    const std::array<std::byte, 3> bytes{static_cast<std::byte>(minute),
                                         static_cast<std::byte>(second),
                                         static_cast<std::byte>(frame)};
    return parse_address(bytes);
  };
  CHECK(parse(0x00, 0x02, 0x00) == 0);
  CHECK(parse(0x00, 0x02, 0x16) == 16);
  CHECK(parse(0x00, 0x00, 0x00) == -150);
  CHECK(parse(0x99, 0x59, 0x74) == last_lba);
  CHECK_FALSE(parse(0x00, 0x60, 0x00));
  CHECK_FALSE(parse(0x00, 0x02, 0x75));
  CHECK_FALSE(parse(0x0A, 0x02, 0x00));
  CHECK_FALSE(parse(0xA0, 0x02, 0x00));
  CHECK_FALSE(address_bytes(first_lba - 1));
  CHECK_FALSE(address_bytes(last_lba + 1));
  CHECK_FALSE(encode_mode1(zeros<2048>(), -151));
  CHECK_FALSE(encode_form1(zeros<2048>(), Subheader{}, last_lba + 1));
  CHECK_FALSE(encode_form2(zeros<2324>(), Subheader{}, -151));
  bool same = true;
  for (std::int32_t lba = first_lba; lba <= last_lba; ++lba) {
    same = same && parse_address(address_bytes(lba).value()) == lba;
  }
  CHECK(same);
}

TEST_CASE("kinds", "[sector_code]") {
  std::mt19937 random(2);
  const auto user = noise<form2_user_bytes>(random);
  const std::span<const std::byte, user_bytes> short_user(user.data(), user_bytes);
  const Frame mode1 = encode_mode1(short_user, 1000).value();
  const Frame form1 = encode_form1(short_user, data_subheader, 1000).value();
  const Frame form2 = encode_form2(user, data_subheader, 1000).value();
  CHECK(classify(mode1) == FrameKind::mode1);
  CHECK(classify(form1) == FrameKind::mode2_form1);
  CHECK(classify(form2) == FrameKind::mode2_form2);

  SECTION("mode 0 is empty") {
    Frame frame{};
    std::copy(mode1.begin(), mode1.begin() + 15, frame.begin());
    CHECK(check(frame).kind == FrameKind::mode0);
    CHECK(check(frame).sound());
    CHECK(repair(frame).outcome == RepairOutcome::unprotected);
    frame[2000] = std::byte{1};
    CHECK(check(frame).kind == FrameKind::mode0);
    CHECK_FALSE(check(frame).sound());
  }
  SECTION("audio, also where it looks a little like a sync") {
    Frame frame = noise<frame_bytes>(random);
    CHECK(classify(frame) == FrameKind::audio);
    CHECK(check(frame).sound());
    const Frame before = frame;
    CHECK(repair(frame).outcome == RepairOutcome::unprotected);
    CHECK(frame == before);
    frame = Frame{};
    CHECK(classify(frame) == FrameKind::audio);
    CHECK(repair(frame).outcome == RepairOutcome::unprotected);
    frame.fill(std::byte{0xFF});
    CHECK(classify(frame) == FrameKind::audio);
  }
  SECTION("formless") {
    Frame frame = noise<frame_bytes>(random);
    std::copy(form1.begin(), form1.begin() + 16, frame.begin());
    CHECK(classify(frame) == FrameKind::mode2_formless);
    CHECK(check(frame).sound());
    CHECK(check(frame).edc == EdcState::absent);
    const Frame before = frame;
    CHECK(repair(frame).outcome == RepairOutcome::unprotected);
    CHECK(frame == before);
  }
  SECTION("a few bytes of formless data among zeros are not wiped out") {
    Frame frame{};
    std::copy(form1.begin(), form1.begin() + 16, frame.begin());
    frame[500] = std::byte{0x41};
    const Frame before = frame;
    CHECK(repair(frame).outcome == RepairOutcome::not_correctable);
    CHECK(frame == before);
  }
  SECTION("form 2 without EDC") {
    Frame frame = encode_form2(user, data_subheader, 1000, false).value();
    CHECK(check(frame).edc == EdcState::absent);
    CHECK(check(frame).sound());
    CHECK(repair(frame).outcome == RepairOutcome::unprotected);
    frame[2348] = std::byte{1};
    CHECK(check(frame).edc == EdcState::bad);
    CHECK(repair(frame).outcome == RepairOutcome::not_correctable);
  }
  SECTION("subheader copies that differ") {
    for (std::size_t offset = 16; offset < 24; ++offset) {
      INFO(offset);
      Frame frame = form1;
      frame[offset] ^= std::byte{0x21};
      CHECK(classify(frame) == FrameKind::mode2_form1);
      CHECK(check(frame).edc == EdcState::bad);
      CHECK(repair_restores(form1, frame));
      frame = form2;
      frame[offset] ^= std::byte{0x01};
      CHECK(classify(frame) == FrameKind::mode2_form2);
      CHECK(check(frame).edc == EdcState::bad);
    }
    // Mastered so: the copies differ, and the EDC covers them as they are.
    Frame frame = form1;
    frame[20] = std::byte{7};
    const std::uint32_t sum = edc(std::span(frame).subspan(16, 2056));
    for (std::size_t i = 0; i < 4; ++i)
      frame[2072 + i] = static_cast<std::byte>(sum >> (8 * i));
    write_parity(frame, FrameKind::mode2_form1);
    CHECK(check(frame).kind == FrameKind::mode2_form1);
    CHECK(check(frame).sound());
  }
  SECTION("damaged sync") {
    for (const Frame& sound : {mode1, form1, form2}) {
      for (std::size_t offset = 0; offset < 12; ++offset) {
        Frame frame = sound;
        frame[offset] ^= std::byte{0x10};
        CHECK(classify(frame) == classify(sound));
        CHECK_FALSE(check(frame).sync_ok);
        CHECK_FALSE(check(frame).sound());
        CHECK(repair_restores(sound, frame));
      }
      Frame frame = sound;
      std::fill_n(frame.begin(), 12, std::byte{0x77});
      CHECK(classify(frame) == FrameKind::audio);
      CHECK(repair_restores(sound, frame));
    }
  }
  SECTION("every mode byte") {
    for (const Frame& sound : {mode1, form1, form2}) {
      for (unsigned mode = 0; mode < 256; ++mode) {
        INFO(classify(sound) << " with mode byte " << mode);
        Frame frame = sound;
        frame[15] = static_cast<std::byte>(mode);
        const bool is_form = classify(sound) != FrameKind::mode1;
        if (is_form && (mode & 0x1F) == 2) {
          CHECK(check(frame).sound());  // packet indicators; no code covers them in mode 2
          CHECK(repair(frame).outcome == RepairOutcome::sound);
        } else if (frame != sound) {
          CHECK_FALSE(check(frame).sound());
          CHECK(repair_restores(sound, frame));
        }
      }
    }
  }
}

TEST_CASE("any single wrong byte is repaired", "[sector_code]") {
  std::mt19937 random(1);
  const Frame mode1 = encode_mode1(noise<2048>(random), 4711).value();
  const Frame form1 = encode_form1(noise<2048>(random), data_subheader, 4711).value();
  const Frame mode1_zeros = encode_mode1(zeros<2048>(), -150).value();
  const Frame form1_zeros = encode_form1(zeros<2048>(), data_subheader, 0).value();
  std::size_t failures = 0;
  for (const Frame* const sound : {&mode1, &form1, &mode1_zeros, &form1_zeros}) {
    const bool is_mode1 = classify(*sound) == FrameKind::mode1;
    for (std::size_t offset = 0; offset < frame_bytes; ++offset) {
      // In form 1 no code covers minute, second and frame.
      if (!is_mode1 && offset >= 12 && offset < 15) continue;
      for (int sample = 0; sample < 6; ++sample) {
        Frame frame = *sound;
        // Bits 5-7 of a mode 2 mode byte are free.
        frame[offset] ^= sample == 0 || offset == 15 ? std::byte{0x01} : nonzero_byte(random);
        failures += repair_restores(*sound, frame) ? 0U : 1U;
      }
    }
  }
  CHECK(failures == 0);
}

TEST_CASE("bursts of up to 86 bytes are repaired", "[sector_code]") {
  std::mt19937 random(86);
  const Frame mode1 = encode_mode1(noise<2048>(random), 4711).value();
  const Frame form1 = encode_form1(noise<2048>(random), data_subheader, 4711).value();
  std::size_t failures = 0;
  for (const Frame* const sound : {&mode1, &form1}) {
    const std::size_t from = sound == &mode1 ? 12 : 16;
    for (std::size_t offset = from; offset + 86 <= frame_bytes; offset += 3) {
      Frame frame = *sound;
      const std::size_t length = offset % 2 == 0 ? 86 : 2 + random() % 85;
      for (std::size_t i = 0; i < length; ++i)
        frame[offset + i] ^= nonzero_byte(random);
      if (offset % 5 == 0) std::fill_n(frame.begin(), 12, std::byte{0});
      failures += repair_restores(*sound, frame) ? 0U : 1U;
    }
    // The last bytes, up to the end of the frame.
    for (std::size_t length = 1; length <= 86; ++length) {
      Frame frame = *sound;
      for (std::size_t i = 0; i < length; ++i)
        frame[frame_bytes - 1 - i] ^= nonzero_byte(random);
      failures += repair_restores(*sound, frame) ? 0U : 1U;
    }
  }
  CHECK(failures == 0);
}

TEST_CASE("a few wrong bytes anywhere, and in the worst places, are repaired", "[sector_code]") {
  std::mt19937 random(4);
  const Frame sound = encode_mode1(noise<2048>(random), 4711).value();
  std::size_t failures = 0;
  for (int round = 0; round < 4000; ++round) {
    Frame frame = sound;
    const std::size_t count = 2 + random() % 3;
    for (std::size_t i = 0; i < count; ++i)
      frame[12 + random() % 2340] ^= nonzero_byte(random);
    if (frame != sound) failures += repair_restores(sound, frame) ? 0U : 1U;
  }
  CHECK(failures == 0);

  // Four bytes on the corners: two P words and two Q words with two errors each, so that no word
  // can be corrected alone.
  failures = 0;
  for (int round = 0; round < 4000; ++round) {
    const std::size_t first_column = random() % 43;
    const std::size_t second_column = (first_column + 1 + random() % 42) % 43;
    const std::size_t first_diagonal = random() % 26;
    const std::size_t second_diagonal = (first_diagonal + 1 + random() % 25) % 26;
    const std::size_t half = random() % 2;
    Frame frame = sound;
    for (const std::size_t column : {first_column, second_column}) {
      for (const std::size_t diagonal : {first_diagonal, second_diagonal}) {
        frame[q_symbol_offset(2 * diagonal + half, column)] ^= nonzero_byte(random);
      }
    }
    failures += repair_restores(sound, frame) ? 0U : 1U;
  }
  CHECK(failures == 0);

  SECTION("two whole columns, two whole diagonals") {
    failures = 0;
    for (std::size_t word = 0; word + 2 < p_word_count; ++word) {
      Frame frame = sound;
      for (std::size_t i = 0; i < 26; ++i) {
        frame[p_symbol_offset(word, i)] ^= nonzero_byte(random);
        frame[p_symbol_offset(word + 2, i)] ^= nonzero_byte(random);
      }
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    for (std::size_t word = 0; word + 2 < q_word_count; ++word) {
      Frame frame = sound;
      for (std::size_t i = 0; i < 43; ++i) {
        frame[q_symbol_offset(word, i)] ^= nonzero_byte(random);
        frame[q_symbol_offset(word + 2, i)] ^= nonzero_byte(random);
      }
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
  SECTION("errors in the filler that form a P word, so that only Q complains") {
    failures = 0;
    for (std::size_t offset = 2068; offset < 2076; ++offset) {
      Frame difference{};
      difference[offset] = std::byte{0x26};
      write_parity(difference, FrameKind::mode1);
      Frame frame = sound;
      for (std::size_t i = offset; i < 2248; ++i)
        frame[i] ^= difference[i];
      failures += repair_restores(sound, frame) ? 0U : 1U;
      // With Q made to match as well, only the filler tells.
      write_parity(frame, FrameKind::mode1);
      CHECK_FALSE(check(frame).filler_ok);
      CHECK_FALSE(check(frame).sound());
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
  SECTION("all parity lost") {
    for (const std::byte value : {std::byte{0}, std::byte{0xFF}, std::byte{0x5A}}) {
      Frame frame = sound;
      std::fill(frame.begin() + 2068, frame.end(), value);
      CHECK(repair_restores(sound, frame));
    }
  }
  SECTION("errors that form a Q word, so that only P complains") {
    failures = 0;
    for (std::size_t offset = 16; offset < 2064; offset += 7) {
      Frame difference{};
      difference[offset] = nonzero_byte(random);
      for (const auto& word : q_layout())
        solve_parity(difference, word, false);
      Frame frame = sound;
      for (std::size_t i = 0; i < frame_bytes; ++i)
        frame[i] ^= difference[i];
      CHECK(check(frame).q_bad == 0);
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
  SECTION("errors that form a P word, so that only Q complains") {
    failures = 0;
    for (int round = 0; round < 500; ++round) {
      Frame frame = sound;
      const std::size_t word = random() % p_word_count;
      // Any data symbol with the two parity symbols that belong to it.
      Frame difference{};
      difference[p_symbol_offset(word, random() % 24)] = nonzero_byte(random);
      write_parity(difference, FrameKind::mode1);
      for (std::size_t i = 0; i < 26; ++i) {
        frame[p_symbol_offset(word, i)] ^= difference[p_symbol_offset(word, i)];
      }
      failures += repair_restores(sound, frame) ? 0U : 1U;
    }
    CHECK(failures == 0);
  }
}

TEST_CASE("damage beyond the code leaves the frame alone", "[sector_code]") {
  std::mt19937 random(9);
  const Frame mode1 = encode_mode1(noise<2048>(random), 4711).value();
  const Frame form1 = encode_form1(noise<2048>(random), data_subheader, 4711).value();
  for (const Frame* const sound : {&mode1, &form1}) {
    Frame frame = *sound;
    for (std::size_t i = 100; i < 1500; ++i)
      frame[i] ^= nonzero_byte(random);
    const Frame before = frame;
    const RepairResult result = repair(frame);
    CHECK(result.outcome == RepairOutcome::not_correctable);
    CHECK(result.kind == classify(*sound));
    CHECK(result.changes.empty());
    CHECK(frame == before);
  }
  // An address that is none, in a mode where no code covers it.
  Frame lost = form1;
  lost[12] = std::byte{0xFF};
  CHECK_FALSE(check(lost).address);
  CHECK(repair(lost).outcome == RepairOutcome::not_correctable);
  // All words hold, but the EDC does not: parity made for other data.
  Frame frame = mode1;
  frame[50] ^= std::byte{1};
  write_parity(frame, FrameKind::mode1);
  const Frame before = frame;
  CHECK(check(frame).p_bad == 0);
  CHECK(check(frame).q_bad == 0);
  CHECK(check(frame).edc == EdcState::bad);
  CHECK(repair(frame).outcome == RepairOutcome::not_correctable);
  CHECK(frame == before);
}

TEST_CASE("heavy damage never comes out as a wrong frame", "[sector_code]") {
  std::mt19937 random(99);
  std::size_t lies = 0;
  for (int round = 0; round < 3000; ++round) {
    const bool is_form1 = round % 2 == 1;
    const auto user = round % 3 == 0 ? zeros<2048>() : noise<2048>(random);
    const Frame sound = is_form1 ? encode_form1(user, data_subheader, round).value()
                                 : encode_mode1(user, round).value();
    Frame frame = sound;
    const std::size_t from = is_form1 ? 16 : 12;
    const std::size_t count = std::size_t{1} << (random() % 11);
    for (std::size_t i = 0; i < count; ++i) {
      frame[from + random() % (frame_bytes - from)] ^= nonzero_byte(random);
    }
    if (round % 4 == 0) {  // a lost stretch on top
      const std::size_t start = from + random() % 1500;
      std::fill_n(frame.begin() + static_cast<std::ptrdiff_t>(start), random() % 800, std::byte{0});
    }
    lies += repair_is_honest(sound, frame) ? 0U : 1U;
  }
  CHECK(lies == 0);
}

TEST_CASE("both paths give the same verdict on whatever bytes", "[sector_code]") {
  INFO("accelerated path on this machine: " << (accelerated_path_available() ? "yes" : "no"));
  std::mt19937 random(77);
  bool same = true;
  bool counted_right = true;
  for (int round = 0; round < 6000; ++round) {
    Frame frame = noise<frame_bytes>(random);
    const int shape = round % 4;
    if (shape == 1) frame = encode_mode1(noise<2048>(random), round).value();
    if (shape == 2) frame = encode_form1(noise<2048>(random), data_subheader, round).value();
    if (shape == 3) {
      std::copy(sync_pattern.begin(), sync_pattern.end(), frame.begin());
      frame[15] = static_cast<std::byte>(random() % 4);
    }
    const std::size_t count = random() % 12;
    for (std::size_t i = 0; i < count; ++i)
      frame[random() % frame_bytes] ^= nonzero_byte(random);
    const FrameCheck portable = check(frame, Path::portable);
    same = same && portable == check(frame, Path::fastest);
    if (portable.kind == FrameKind::mode1 || portable.kind == FrameKind::mode2_form1) {
      const FrameSyndromes words = syndromes(frame, portable.kind);
      const auto is_bad = [](const Syndrome& word) { return word.bad(); };
      counted_right = counted_right &&
                      std::count_if(words.p.begin(), words.p.end(), is_bad) == portable.p_bad &&
                      std::count_if(words.q.begin(), words.q.end(), is_bad) == portable.q_bad;
    }
  }
  CHECK(same);
  CHECK(counted_right);
  // Each place alone: a lane that one path drops would show here.
  const Frame sound = encode_mode1(noise<2048>(random), 1).value();
  for (std::size_t offset = 12; offset < frame_bytes; ++offset) {
    Frame frame = sound;
    frame[offset] ^= nonzero_byte(random);
    frame[15] = std::byte{1};
    for (const FrameKind kind : {FrameKind::mode1, FrameKind::mode2_form1}) {
      const bool header_as_zero = kind == FrameKind::mode2_form1;
      const auto* const bytes = reinterpret_cast<const std::uint8_t*>(frame.data());
      const auto slow = detail::kernel_for(Path::portable).count_bad_parity(bytes, header_as_zero);
      const auto quick = detail::kernel_for(Path::fastest).count_bad_parity(bytes, header_as_zero);
      same = same && slow.p_bad == quick.p_bad && slow.q_bad == quick.q_bad;
    }
  }
  CHECK(same);
}

TEST_CASE("many frames at once, with and without sub-channel bytes", "[sector_code]") {
  std::mt19937 random(5);
  constexpr std::size_t count = 20;
  for (const std::size_t stride : {std::size_t{2352}, std::size_t{2368}, std::size_t{2448}}) {
    Bytes image;
    for (std::size_t i = 0; i < count; ++i) {
      auto frame = encode_mode1(noise<2048>(random), static_cast<int>(i)).value();
      if (i == 7) frame[1234] ^= std::byte{0x80};
      image.insert(image.end(), frame.begin(), frame.end());
      if (i + 1 < count) image.resize(image.size() + stride - frame_bytes, std::byte{0xAA});
    }
    for (const Path path : both_paths()) {
      std::vector<FrameCheck> checks(count + 5);
      REQUIRE(check_frames(image, stride, checks, path) == count);
      for (std::size_t i = 0; i < count; ++i) {
        CHECK(checks[i].sound() == (i != 7));
        CHECK(checks[i].address == static_cast<int>(i));
      }
      CHECK(check_frames(image, stride, std::span(checks).first(3), path) == 3);
      CHECK(check_frames(std::span(image).first(image.size() - 1), stride, checks, path) ==
            count - 1);
    }
  }
  CHECK(whole_frames(0, 2352) == 0);
  CHECK(whole_frames(2351, 2352) == 0);
  CHECK(whole_frames(2352, 2448) == 1);
  CHECK(whole_frames(2448 + 2352, 2448) == 2);
  CHECK(whole_frames(100000, 2351) == 0);
  CHECK(whole_frames(100000, 0) == 0);
}
