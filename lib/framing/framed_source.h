// The plain bytes behind optical frames.
#pragma once

#include <memory>

#include "core/source.h"
#include "framing/frame_layout.h"

namespace platter::framing {

/// The 2048 user bytes of each frame, one after another, read when they are asked for; nothing is
/// stored. Frames that hold no sector of 2048 bytes (audio, mode 0, mode 2 without form and in form
/// 2) read as zeros, so that every sector stays at its place. Codes are not checked here.
class FramedSource final : public ByteSource {
 public:
  FramedSource(std::shared_ptr<const ByteSource> image, const FrameLayout& layout)
      : image_(std::move(image)), layout_(layout) {}

  [[nodiscard]] std::uint64_t size() const noexcept override { return layout_.plain_bytes(); }
  std::size_t read(std::uint64_t offset, std::span<std::byte> out) const override;

  [[nodiscard]] const FrameLayout& layout() const noexcept { return layout_; }
  /// The image that the frames are in.
  [[nodiscard]] const std::shared_ptr<const ByteSource>& image() const noexcept { return image_; }

  /// Where a byte of the plain image stands in the image; empty past the end and for bytes of
  /// frames that hold no sector. May throw IoError.
  [[nodiscard]] std::optional<std::uint64_t> stored_place(std::uint64_t plain) const;

 private:
  [[nodiscard]] std::optional<std::uint64_t> user_place(std::uint64_t frame) const;

  std::shared_ptr<const ByteSource> image_;
  FrameLayout layout_;
};

}  // namespace platter::framing
