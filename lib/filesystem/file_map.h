// Following a file's block pointers: direct ones, and trees of blocks full of pointers.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "core/function_ref.h"
#include "core/view.h"
#include "core/volume.h"

namespace platter::filesystem {

/// The blocks of a volume, as pointers count them.
struct BlockSpace {
  std::uint64_t block_bytes = 0;
  std::uint64_t first = 0;   ///< pointers below it lead to no file's bytes
  std::uint64_t blocks = 0;  ///< pointers from here on lead out of the volume
};

/// How a block of pointers is read.
struct PointerBlock {
  unsigned pointer_bytes = 4;
  std::uint64_t pointers = 0;  ///< in a block
  ByteOrder order = ByteOrder::little;
};

/// What was wrong with a file's pointers; the first trouble only.
enum class MapTrouble : std::uint8_t {
  none,
  pointer,     ///< leads out of the volume
  order,       ///< a block comes after its successor, or twice
  too_much,    ///< more blocks than the volume has: some must be named several times
  unreadable,  ///< the medium failed
  node,        ///< a block of pointers is not what it should be
};

/// Hands out where a file's bytes lie. The work is bounded by the blocks that the volume has, and
/// by those that are really in the image, however often a hostile file names them.
class FileMap {
 public:
  enum class Wanted : std::uint8_t { data, pointer_blocks };

  /// \param bytes  the file's stated size; nothing is handed out beyond it
  FileMap(const View& view, const BlockSpace& space, std::uint64_t bytes, Wanted wanted,
          FunctionRef<bool(const Extent&)> visit);

  /// `count` blocks of the file from its block `unit` on. Block 0 is a hole.
  /// \returns whether to go on
  bool add(std::uint64_t unit, std::uint64_t block, std::uint64_t count = 1);
  /// `count` blocks that should be somewhere, but nobody can tell where.
  bool add_absent(std::uint64_t unit, std::uint64_t count);
  /// Blocks that the file has been given but never wrote: a hole of its content, and handed out
  /// with the pointer blocks because nobody else may have them.
  bool add_reserved(std::uint64_t block, std::uint64_t count);
  /// A tree of pointer blocks, `level` (1 to 3) deep, for the file's blocks from `unit` on.
  bool add_tree(std::uint64_t unit, std::uint64_t block, unsigned level, const PointerBlock& form);

  /// Whether a block of pointers may be read now; counts it.
  bool enter(std::uint64_t block);
  /// Reads a block of pointers. Nullptr: nothing of it can be read. What is not there is zero;
  /// `present` says how much was. One buffer for each level, kept until the next call for it.
  const std::byte* read_block(std::uint64_t block, std::size_t level, std::size_t& present);
  void trouble(MapTrouble kind, std::uint64_t block);
  [[nodiscard]] bool is_place(std::uint64_t block, std::uint64_t count) const noexcept;
  [[nodiscard]] Wanted wanted() const noexcept { return wanted_; }
  /// Whether the file's block `unit` lies at or beyond its end.
  [[nodiscard]] bool is_behind_end(std::uint64_t unit) const noexcept {
    return saturating_mul(unit, space_.block_bytes) >= bytes_;
  }

  /// Hands out what is held back.
  void finish();

  [[nodiscard]] MapTrouble trouble() const noexcept { return trouble_; }
  [[nodiscard]] std::uint64_t trouble_block() const noexcept { return trouble_block_; }

 private:
  static constexpr std::size_t kLevels = 6;

  bool put(const Extent& extent);
  bool add_pointers(std::uint64_t unit, std::uint64_t block, unsigned level,
                    const PointerBlock& form, std::uint64_t below);

  const View& view_;
  BlockSpace space_;
  std::uint64_t bytes_;
  Wanted wanted_;
  FunctionRef<bool(const Extent&)> visit_;
  ExtentJoiner joiner_;
  std::uint64_t present_;       // blocks in the image
  std::uint64_t blocks_left_;   // that may still be handed out
  std::uint64_t present_left_;  // of them inside the image
  std::uint64_t reads_left_;    // pointer blocks that may still be read
  std::uint64_t next_unit_ = 0;
  bool stopped_ = false;
  MapTrouble trouble_ = MapTrouble::none;
  std::uint64_t trouble_block_ = 0;
  std::array<std::vector<std::byte>, kLevels> buffers_;
};

/// What to say of a trouble: "points to block 17, expected ...". Empty for none.
[[nodiscard]] std::string trouble_words(const FileMap& map, const BlockSpace& space);
/// The finding code that fits.
[[nodiscard]] FindingCode trouble_code(MapTrouble trouble) noexcept;

}  // namespace platter::filesystem
