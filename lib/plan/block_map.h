// Runs of blocks, each with a state and a note.
//
// A map never holds two runs that share a block, keeps its runs in ascending order, and joins
// neighbours that say the same. So two maps that say the same are equal.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plan/size.h"

namespace platter::plan {

/// What a run of blocks is. BLOCK_STATE(identifier, "word in the text form", "meaning")
enum class BlockState : std::uint8_t {
#define BLOCK_STATE(identifier, word, meaning) identifier,
#include "plan/block_states.def"
#undef BLOCK_STATE
};

/// The word of the text form.
[[nodiscard]] std::string_view block_state_word(BlockState state) noexcept;
[[nodiscard]] std::string_view block_state_meaning(BlockState state) noexcept;
[[nodiscard]] std::optional<BlockState> find_block_state(std::string_view word) noexcept;

struct BlockRun {
  std::uint64_t start = 0;   ///< first block
  std::uint64_t blocks = 0;  ///< never 0 inside a map
  BlockState state = BlockState::unknown;
  std::string note;

  [[nodiscard]] std::uint64_t end() const noexcept { return start + blocks; }
  friend bool operator==(const BlockRun&, const BlockRun&) = default;
};

class BlockMap {
 public:
  /// Lays a run over the map: what it covers is replaced. A run whose end does not fit 64 bits is
  /// cut there; an empty one changes nothing. Appending behind the last run is cheap.
  void paint(BlockRun run);

  [[nodiscard]] const std::vector<BlockRun>& runs() const noexcept { return runs_; }
  [[nodiscard]] bool empty() const noexcept { return runs_.empty(); }
  /// Blocks in all runs together.
  [[nodiscard]] std::uint64_t blocks() const noexcept;
  /// The run that holds a block, or nullptr.
  [[nodiscard]] const BlockRun* at(std::uint64_t block) const noexcept;
  /// Only the runs of one state.
  [[nodiscard]] BlockMap only(BlockState state) const;

  friend bool operator==(const BlockMap&, const BlockMap&) = default;

 private:
  friend BlockMap combine(const BlockMap&, const BlockMap&, bool, bool, bool);
  void append(BlockRun run);

  std::vector<BlockRun> runs_;
};

/// Blocks of either map; where both have one, a's state and note stand.
[[nodiscard]] BlockMap united(const BlockMap& a, const BlockMap& b);
/// Blocks of both maps, with a's state and note.
[[nodiscard]] BlockMap intersected(const BlockMap& a, const BlockMap& b);
/// Blocks of a that b does not have.
[[nodiscard]] BlockMap subtracted(const BlockMap& a, const BlockMap& b);
/// The blocks of [0, size) that the map does not have.
[[nodiscard]] BlockMap complement(const BlockMap& map, std::uint64_t size, BlockState state,
                                  const std::string& note = {});

/// The text form: a title line, then one run a line: begins, length, state, note, parted by single
/// spaces. Notes have \\, \n, \r and \xNN escapes, so a line is always a line.
[[nodiscard]] std::string write_block_map(const BlockMap& map);
/// Reads it back. Lines that are empty or start with '#' are passed over. Runs may stand in any
/// order; a block that two runs claim is an error. Errors name the line.
[[nodiscard]] Parsed<BlockMap> read_block_map(std::string_view text);

}  // namespace platter::plan
