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

/// Writes a piece of known greatest length. Lives in a local variable while it is used, so that
/// where it stands is kept in a register.
class LinePiece {
 public:
  static constexpr std::size_t kNumber = 20;  ///< most bytes of a number

  explicit LinePiece(char* at) noexcept : at_(at) {}

  void put(std::string_view text) noexcept {
    std::memcpy(at_, text.data(), text.size());
    at_ += text.size();
  }
  void put(char c) noexcept { *at_++ = c; }
  void put(std::uint64_t number) noexcept { at_ = std::to_chars(at_, at_ + kNumber, number).ptr; }
  [[nodiscard]] char* end() const noexcept { return at_; }

 private:
  char* at_;
};

/// Appends to memory of its own; a list of a million files must not cost an allocation or a check
/// for each number.
class LineBuffer {
 public:
  explicit LineBuffer(std::ostream& out) : out_(out), bytes_(kBytes, '\0') { at_ = bytes_.data(); }
  LineBuffer(const LineBuffer&) = delete;
  LineBuffer& operator=(const LineBuffer&) = delete;
  ~LineBuffer() { flush(); }

  /// Begins a piece of at most `bytes`; it counts when it is given to add().
  [[nodiscard]] LinePiece piece(std::size_t bytes) {
    if (bytes > static_cast<std::size_t>(bytes_.data() + bytes_.size() - at_)) make_room(bytes);
    return LinePiece(at_);
  }
  void add(const LinePiece& piece) noexcept { at_ = piece.end(); }
  void put(std::string_view text) {
    LinePiece out = piece(text.size());
    out.put(text);
    add(out);
  }

  /// The same for text that is not worth copying.
  void put_large(std::string_view text) {
    flush();
    out_.write(text.data(), static_cast<std::streamsize>(text.size()));
  }

  void flush() {
    out_.write(bytes_.data(), at_ - bytes_.data());
    at_ = bytes_.data();
  }

 private:
  static constexpr std::size_t kBytes = 64 * 1024;

  // By handing on what is there.
  void make_room(std::size_t bytes) {
    flush();
    if (bytes <= bytes_.size()) return;
    bytes_.resize(bytes);
    at_ = bytes_.data();
  }

  std::ostream& out_;
  std::string bytes_;
  char* at_;
};

}  // namespace platter
