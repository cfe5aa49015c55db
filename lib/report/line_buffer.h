// Text that is put together line by line and handed on in large pieces.
#pragma once

#include <array>
#include <charconv>
#include <cstdint>
#include <cstring>
#include <ostream>
#include <string>
#include <string_view>

namespace platter {

/// Appends to memory of its own; a list of a million files must not cost an allocation or a check
/// for each number. room() makes sure of space, the rest takes it for granted.
class LineBuffer {
 public:
  explicit LineBuffer(std::ostream& out) : out_(out), bytes_(kBytes, '\0') { at_ = bytes_.data(); }
  LineBuffer(const LineBuffer&) = delete;
  LineBuffer& operator=(const LineBuffer&) = delete;
  ~LineBuffer() { flush(); }

  /// Makes room for `bytes` more, by handing on what is there.
  void room(std::size_t bytes) {
    if (bytes <= static_cast<std::size_t>(bytes_.data() + bytes_.size() - at_)) return;
    flush();
    if (bytes > bytes_.size()) {
      bytes_.resize(bytes);
      at_ = bytes_.data();
    }
  }
  /// The same, then the text.
  void put_any(std::string_view text) {
    room(text.size());
    put(text);
  }
  void put(std::string_view text) {
    std::memcpy(at_, text.data(), text.size());
    at_ += text.size();
  }
  void put(char c) { *at_++ = c; }
  void put(std::uint64_t number) { at_ = std::to_chars(at_, at_ + kNumber, number).ptr; }

  void flush() {
    out_.write(bytes_.data(), at_ - bytes_.data());
    at_ = bytes_.data();
  }

  static constexpr std::size_t kNumber = 20;  ///< most bytes of a number

 private:
  static constexpr std::size_t kBytes = 64 * 1024;

  std::ostream& out_;
  std::string bytes_;
  char* at_;
};

}  // namespace platter
