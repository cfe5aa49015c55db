// The bytes behind a dump whose words came out of the drive's interface the wrong way round.
#pragma once

#include <memory>

#include "core/source.h"

namespace platter::framing {

/// Bytes of an image with every 16-bit or 32-bit word turned round. Bytes at the end that fill no
/// word are left out.
class SwappedSource final : public ByteSource {
 public:
  /// \param word  bytes of a word: 2 or 4
  SwappedSource(std::shared_ptr<const ByteSource> image, unsigned word)
      : image_(std::move(image)), word_(word), size_(image_->size() / word * word) {}

  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override;
  /// The image as stored.
  [[nodiscard]] const std::shared_ptr<const ByteSource>& image() const noexcept { return image_; }

 private:
  std::shared_ptr<const ByteSource> image_;
  unsigned word_;
  std::uint64_t size_;
};

}  // namespace platter::framing
