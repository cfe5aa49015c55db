#include "hostile/damage.h"

namespace platter::test {

std::size_t Damaged::read(std::uint64_t offset, std::span<std::byte> out) const {
  if (offset >= length_) return 0;
  const auto count =
      static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), length_ - offset));
  std::copy_n(original_.begin() + static_cast<std::ptrdiff_t>(offset), count, out.begin());
  if (at_ >= offset && at_ - offset < count) out[static_cast<std::size_t>(at_ - offset)] = value_;
  read_ += count;
  if (noting_) reads_[offset] = std::max(reads_[offset], offset + count);
  return count;
}

Image image_of(std::shared_ptr<const ByteSource> source) {
  Image image;
  image.path = "damaged";
  image.bytes = image.stored_bytes = source->size();
  image.source = std::move(source);
  return image;
}

Survey survey_of(std::shared_ptr<const ByteSource> source) {
  return survey(image_of(std::move(source)));
}

}  // namespace platter::test
