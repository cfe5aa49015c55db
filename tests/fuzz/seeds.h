// Making first inputs for the fuzz targets; see input.h for their form.
#pragma once

#include <string>
#include <utility>

#include "fuzz/input.h"

namespace platter::fuzz {

/// Writes inputs below a folder. Inputs that would be too large to be of use are left out.
class SeedWriter {
 public:
  explicit SeedWriter(std::string folder) : folder_(std::move(folder)) {}

  void add(const std::string& target, const std::string& title, std::span<const std::byte> input);
  void add_text(const std::string& target, const std::string& title, std::string_view text);
  /// An image without the zeros at its end.
  /// \param choices  what the target takes from the input's end, the last one first taken
  void add_image(const std::string& target, const std::string& title,
                 std::span<const std::byte> image, const std::vector<std::uint8_t>& choices = {});

  [[nodiscard]] std::size_t count() const noexcept { return count_; }

 private:
  std::string folder_;
  std::size_t count_ = 0;
};

/// For the targets that read whole images.
void write_image_seeds(SeedWriter& writer);
/// For those that read one structure or one frame.
void write_part_seeds(SeedWriter& writer);
/// For those that read text.
void write_text_seeds(SeedWriter& writer);

}  // namespace platter::fuzz
