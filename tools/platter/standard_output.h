// Standard output that remembers why it could not be written.
#pragma once

#include <array>
#include <cstdint>
#include <streambuf>

namespace platter::tool {

class StandardOutput final : public std::streambuf {
 public:
  StandardOutput();

  /// Bytes that were written so far.
  [[nodiscard]] std::uint64_t written() const noexcept { return written_; }
  /// The system's reason for the first failure; 0 when there was none.
  [[nodiscard]] int error() const noexcept { return error_; }

 protected:
  int_type overflow(int_type character) override;
  int sync() override;
  std::streamsize xsputn(const char* text, std::streamsize count) override;

 private:
  bool write_all(const char* bytes, std::size_t count);

  std::array<char, 64 * 1024> buffer_{};
  std::uint64_t written_ = 0;
  int error_ = 0;
};

}  // namespace platter::tool
