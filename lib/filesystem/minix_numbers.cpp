#include "filesystem/minix_numbers.h"

#include <algorithm>

#include <fmt/format.h>

#include "filesystem/unix_bitmap.h"

namespace platter::filesystem {
namespace {

constexpr std::uint64_t kMostLogZone = 6;
constexpr std::size_t kHandful = 1;
constexpr std::uint64_t kLooked = 4096;  // bytes of the inode map that show its words

struct Kind {
  std::uint64_t magic;
  unsigned version;
  unsigned name_bytes;
};
constexpr Kind kKinds[] = {{kMinixMagic1, 1, 14},
                           {kMinixMagic1Long, 1, 30},
                           {kMinixMagic2, 2, 14},
                           {kMinixMagic2Long, 2, 30}};

class Reader {
 public:
  Reader(const View& view, ByteOrder order) : view_(view) { numbers_.order = order; }

  std::optional<MinixNumbers> old_form() {
    const auto super = view_.record<kMinixSuper>(kMinixSuperblockPlace, numbers_.order);
    if (!super.complete()) return std::nullopt;
    const auto* kind = std::ranges::find(kKinds, super.get<"magic">(), &Kind::magic);
    if (kind == std::end(kKinds)) return std::nullopt;
    numbers_.version = kind->version;
    numbers_.name_bytes = kind->name_bytes;
    numbers_.inode_bytes = kind->version == 1 ? kMinixInode1.bytes : kMinixInode2.bytes;
    numbers_.zones = kind->version == 1 ? super.get<"nzones">() : super.get<"zones">();
    numbers_.state = super.get<"state">();
    take(super);
    return checked(super);
  }

  std::optional<MinixNumbers> new_form() {
    const auto super = view_.record<kMinixSuper3>(kMinixSuperblockPlace, numbers_.order);
    if (!super.complete() || super.get<"magic">() != kMinixMagic3) return std::nullopt;
    numbers_.version = 3;
    numbers_.name_bytes = 60;
    numbers_.inode_bytes = kMinixInode2.bytes;
    numbers_.block_bytes = super.get<"block_bytes">();
    if (numbers_.block_bytes < 1024 || numbers_.block_bytes % 512 != 0) return std::nullopt;
    numbers_.zones = super.get<"zones">();
    take(super);
    return checked(super);
  }

 private:
  template <const Structure& S>
  void take(const Record<S>& super) {
    numbers_.inodes = super.template get<"ninodes">();
    numbers_.imap_blocks = super.template get<"imap_blocks">();
    numbers_.zmap_blocks = super.template get<"zmap_blocks">();
    numbers_.first_data_zone = super.template get<"first_data_zone">();
    log_zone_ = super.template get<"log_zone_size">();
    numbers_.record = super.keep();
  }

  template <const Structure& S>
  std::optional<MinixNumbers> checked(const Record<S>& super) {
    if (log_zone_ > kMostLogZone || numbers_.inodes == 0) return std::nullopt;
    numbers_.zone_bytes = numbers_.block_bytes << log_zone_;
    const std::uint64_t bits = numbers_.block_bytes * 8;
    const std::uint64_t table =
        divide_up(numbers_.inodes * numbers_.inode_bytes, numbers_.block_bytes);
    const std::uint64_t blocks = 2 + numbers_.imap_blocks + numbers_.zmap_blocks + table;
    const std::uint64_t first = divide_up(blocks, numbers_.zone_bytes / numbers_.block_bytes);
    if (numbers_.first_data_zone == 0 && numbers_.version == 3) numbers_.first_data_zone = first;
    // The tables must have room; without that nothing can be read.
    if (numbers_.first_data_zone < first || numbers_.first_data_zone >= numbers_.zones ||
        numbers_.imap_blocks * bits <= numbers_.inodes ||
        numbers_.zmap_blocks * bits < numbers_.zone_bits()) {
      return std::nullopt;
    }
    // More room than that is strange. Some makers count the zones of the tables in the map too.
    check(super.template place_of<"imap_blocks">(), "imap_blocks", numbers_.imap_blocks,
          divide_up(numbers_.inodes + 1, bits), 1);
    check(super.template place_of<"zmap_blocks">(), "zmap_blocks", numbers_.zmap_blocks,
          divide_up(numbers_.zones + 1, bits), 1);
    check(super.template place_of<"first_data_zone">(), "first_data_zone", numbers_.first_data_zone,
          first, 0);
    if (numbers_.contradictions.size() > kHandful) return std::nullopt;
    return std::move(numbers_);
  }

  void check(std::uint64_t place, std::string_view name, std::uint64_t found,
             std::uint64_t expected, std::uint64_t slack) {
    if (found <= expected + slack) return;
    numbers_.contradictions.push_back(
        {place, 2, fmt::format("the superblock's {} is {}, expected {}", name, found, expected)});
  }

  const View& view_;
  MinixNumbers numbers_;
  std::uint64_t log_zone_ = 0;
};

}  // namespace

std::optional<MinixNumbers> minix_numbers(const View& view) {
  for (const ByteOrder order : {ByteOrder::little, ByteOrder::big}) {
    if (auto found = Reader(view, order).old_form()) return found;
    if (auto found = Reader(view, order).new_form()) return found;
  }
  return std::nullopt;
}

std::size_t minix_map_word(const View& view, const MinixNumbers& numbers) {
  if (numbers.order == ByteOrder::little) return 1;
  const auto map = view.read_vector(numbers.imap_place(),
                                    std::min(kLooked, numbers.imap_blocks * numbers.block_bytes));
  return map.empty() ? 1 : likely_word(map);
}

}  // namespace platter::filesystem
