// What both hostile tests of the labels ask with.
#pragma once

#include <cctype>
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

}  // namespace platter::test
