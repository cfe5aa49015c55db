// Damage that real and hostile images have: cut anywhere, any byte wrong.
#pragma once

#include <algorithm>
#include <cstddef>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "core/numbers.h"
#include "core/source.h"
#include "survey/survey.h"

namespace platter::test {

/// One good image and where its structures stand.
struct Specimen {
  std::string name;
  std::vector<std::byte> bytes;
};

/// Every text fixture and one image of every writer.
[[nodiscard]] std::vector<Specimen> specimens();

/// A source that hands out damaged bytes of a shared original, so that a case costs no copy. Counts
/// what is read, and can note where.
class Damaged final : public ByteSource {
 public:
  Damaged(const std::vector<std::byte>& original, std::uint64_t length)
      : original_(original), length_(std::min<std::uint64_t>(length, original.size())) {}
  Damaged(const std::vector<std::byte>& original, std::uint64_t at, std::byte value)
      : original_(original), length_(original.size()), at_(at), value_(value) {}

  [[nodiscard]] std::uint64_t size() const noexcept override { return length_; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override;
  [[nodiscard]] std::uint64_t bytes_read() const noexcept { return read_; }
  /// Places that were read, as [start, end), since noting began.
  void note_reads() const { noting_ = true; }
  [[nodiscard]] const std::map<std::uint64_t, std::uint64_t>& reads() const noexcept {
    return reads_;
  }

 private:
  const std::vector<std::byte>& original_;
  std::uint64_t length_;
  std::uint64_t at_ = kLargest;
  std::byte value_{};
  mutable std::uint64_t read_ = 0;
  mutable bool noting_ = false;
  mutable std::map<std::uint64_t, std::uint64_t> reads_;
};

/// The survey of a source, as if it were an image.
[[nodiscard]] Image image_of(std::shared_ptr<const ByteSource> source);
[[nodiscard]] Survey survey_of(std::shared_ptr<const ByteSource> source);

}  // namespace platter::test
