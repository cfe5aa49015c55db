// What both hostile tests of the labels ask with.
#pragma once

#include <cctype>
#include <functional>
#include <random>
#include <set>
#include <string>

#include "claims.h"

namespace platter::test {

/// The first bytes of somebody else's buffer.
class Prefix final : public ByteSource {
 public:
  Prefix(const Bytes& bytes, std::size_t size) : bytes_(bytes), size_(size) {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override {
    if (offset >= size_) return 0;
    const auto count = std::min<std::uint64_t>(out.size(), size_ - offset);
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(offset), count, out.begin());
    return count;
  }

 private:
  const Bytes& bytes_;
  std::size_t size_;
};

/// What every claim owes, however broken the label is; "" when it owes nothing. Plain checks: a
/// test macro for each of some hundred thousand claims would take longer than the claims.
inline std::string complaint_about(const Claim& claim) {
  std::set<std::string> ids;
  for (const Slice& slice : claim.slices) {
    if (slice.id.empty() || slice.id.find('/') != std::string::npos) return "id " + slice.id;
    if (!ids.insert(slice.id).second) return "twice: " + slice.id;
    if (slice.bytes == 0) return "empty slice " + slice.id;
  }
  if (claim.slices.size() > 1100 || claim.findings.size() > 600) return "too much";
  if (claim.records.empty()) return "no record";
  std::set<std::pair<std::uint64_t, std::string>> said;
  for (const Finding& finding : claim.findings) {
    const std::string& message = finding.message;
    if (message.empty() || message.back() == '.') return "message: " + message;
    if (std::isupper(static_cast<unsigned char>(message[0])) != 0) return "message: " + message;
    if (!said.emplace(finding.start, message).second) return "said twice: " + message;
  }
  return {};
}

/// Asks the labels of a test about the first so many bytes; returns what is wrong with the answers.
using AskLabels = std::function<std::string(const Bytes& bytes, std::size_t size)>;

/// The first `head` bytes, those that say something, and what lies less than `reach` behind one.
inline std::vector<std::size_t> telling_places(const Bytes& bytes, std::size_t head,
                                               std::size_t reach) {
  std::vector<std::size_t> places;
  std::size_t quiet = reach;
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    quiet = bytes[at] == std::byte{0} ? quiet + 1 : 0;
    if (at < head || quiet < reach) places.push_back(at);
  }
  return places;
}

/// Spoils each of these bytes of a fixture in three ways.
inline void check_each_byte_spoiled(const std::string& name, const std::vector<std::size_t>& places,
                                    const AskLabels& ask) {
  Bytes bytes = hex_fixture(name);
  for (const std::size_t at : places) {
    const std::byte whole = bytes[at];
    for (const unsigned mask : {0x01U, 0x80U, 0xFFU}) {
      bytes[at] = whole ^ static_cast<std::byte>(mask);
      const std::string complaint = ask(bytes, bytes.size());
      if (!complaint.empty()) FAIL_CHECK(name << " byte " << at << ": " << complaint);
    }
    bytes[at] = whole;
  }
}

/// Spoils eight of these bytes of a fixture at once, `rounds` times.
inline void check_bytes_spoiled_together(const std::string& name,
                                         const std::vector<std::size_t>& places,
                                         std::mt19937& random, int rounds, const AskLabels& ask) {
  const Bytes whole = hex_fixture(name);
  for (int round = 0; round < rounds; ++round) {
    Bytes bytes = whole;
    for (int i = 0; i < 8; ++i)
      bytes[places[random() % places.size()]] = static_cast<std::byte>(random() & 0xFFU);
    const std::string complaint = ask(bytes, bytes.size());
    if (!complaint.empty()) FAIL_CHECK(name << " round " << round << ": " << complaint);
  }
}

}  // namespace platter::test
