// Small structures that lie side by side, read many at a time.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "core/view.h"

namespace platter::filesystem {

/// Looks at a view through pieces of it that are kept. A piece is large where places rise one after
/// the other or come back, as the inodes of a directory's files do, and small where they do not.
class PieceCache {
 public:
  explicit PieceCache(View view) : view_(std::move(view)) {}
  PieceCache(const PieceCache&) = delete;
  PieceCache& operator=(const PieceCache&) = delete;

  /// The bytes [offset, offset + bytes) of the view; empty when not all of them are there or when
  /// the medium failed (see failed()). They stay until the next call.
  [[nodiscard]] std::span<const std::byte> at(std::uint64_t offset, std::size_t bytes) {
    if (offset >= start_ && fits_within(offset - start_, bytes, held_)) {
      return {data_ + (offset - start_), bytes};
    }
    return other(offset, bytes);
  }

  /// Whether the last fetch met a medium that could not be read.
  [[nodiscard]] bool failed() const noexcept { return failed_; }

 private:
  static constexpr std::uint64_t kSmall = 4096;
  static constexpr std::uint64_t kLarge = 32 * 1024;
  static constexpr std::size_t kPieces = 16;  // at most 512 KiB are kept
  // A large piece costs about as much as so many small ones.
  static constexpr int kLargeCost = 8;
  static constexpr int kMostCredit = 16 * kLargeCost;

  struct Piece {
    std::uint64_t start = 0;
    std::uint64_t held = 0;
    const std::byte* data = nullptr;  // in the buffer, or where the source has it
    std::vector<std::byte> buffer = {};
  };

  // What is in another piece than the last one.
  std::span<const std::byte> other(std::uint64_t offset, std::size_t bytes) {
    if (view_.lost_in_place()) forget();
    Piece& piece = pieces_[offset / kLarge % kPieces];
    if (offset < piece.start || !fits_within(offset - piece.start, bytes, piece.held)) {
      return fetch(piece, offset, bytes);
    }
    credit_ = std::min(credit_ + 1, kMostCredit);
    keep(piece);
    return {data_ + (offset - start_), bytes};
  }

  void forget() {
    held_ = 0;
    for (Piece& piece : pieces_)
      piece.held = 0;
  }

  void keep(Piece& piece) {
    last_ = &piece;
    data_ = piece.data;
    start_ = piece.start;
    held_ = piece.held;
  }

  std::span<const std::byte> fetch(Piece& piece, std::uint64_t offset, std::size_t bytes) {
    failed_ = false;
    held_ = 0;
    if (!fits_within(offset, bytes, view_.bytes())) return {};
    const std::uint64_t large = offset / kLarge * kLarge;
    const bool rising = last_ != nullptr && large == last_->start / kLarge * kLarge + kLarge;
    // Rising places leave what lies behind them: its buffer is still near the processor.
    if (rising) std::swap(piece.buffer, last_->buffer);
    if (rising) last_->held = 0;
    const bool is_large = rising || credit_ >= kLargeCost;
    if (is_large && !rising) credit_ -= kLargeCost;
    // A second small piece where one is already: more of them may be wanted.
    if (!is_large && piece.held != 0 && piece.start / kLarge * kLarge == large) {
      credit_ = std::min(credit_ + kLargeCost, kMostCredit);
    }
    const std::uint64_t begin = is_large ? large : offset / kSmall * kSmall;
    const std::uint64_t wanted = std::max(is_large ? kLarge : kSmall, offset - begin + bytes);
    if (!(is_large && find_in_place(piece, begin, wanted)) && !read(piece, begin, wanted) &&
        !read(piece, offset, bytes)) {
      failed_ = true;
      return {};
    }
    keep(piece);
    if (!fits_within(offset - start_, bytes, held_)) return {};
    return {data_ + (offset - start_), bytes};
  }

  bool find_in_place(Piece& piece, std::uint64_t begin, std::uint64_t bytes) {
    const auto there =
        view_.in_place(begin, static_cast<std::size_t>(std::min(bytes, view_.bytes() - begin)));
    if (there.empty()) return false;
    piece.start = begin;
    piece.held = there.size();
    piece.data = there.data();
    return true;
  }

  bool read(Piece& piece, std::uint64_t begin, std::uint64_t bytes) {
    piece.held = 0;
    if (piece.buffer.size() < bytes) piece.buffer.resize(static_cast<std::size_t>(bytes));
    try {
      piece.held =
          view_.read(begin, std::span(piece.buffer).first(static_cast<std::size_t>(bytes)));
    } catch (const IoError&) {
      return false;
    }
    piece.start = begin;
    piece.data = piece.buffer.data();
    return true;
  }

  View view_;
  std::array<Piece, kPieces> pieces_;
  Piece* last_ = nullptr;
  const std::byte* data_ = nullptr;  // of the last piece, as start_ and held_
  std::uint64_t start_ = 0;
  std::uint64_t held_ = 0;
  int credit_ = 0;
  bool failed_ = false;
};

}  // namespace platter::filesystem
