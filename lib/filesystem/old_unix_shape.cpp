#include "filesystem/old_unix_shape.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "filesystem/s5_structures.h"
#include "filesystem/v6_structures.h"

namespace platter::filesystem {
namespace {

constexpr std::size_t kMostProblems = 8;

// The first address of the root directory; nullopt when the root inode is no directory.
std::optional<std::uint64_t> root_block(std::span<const std::byte> inode,
                                        const OldUnixShape& shape) {
  if (shape.inode == &kV6Inode) {
    const FieldReader<kV6Inode> reader(inode.data(), shape.order);
    const std::uint64_t mode = reader.get<"mode">();
    if ((mode & (kV6Allocated | kV6TypeMask)) != (kV6Allocated | kV6Directory)) return std::nullopt;
    // A small one: a large root needs more than 128 entries, and then its block is indirect.
    const std::uint64_t size = reader.get<"size_high">() << 16U | reader.get<"size_low">();
    if (size < 2 * kS5Entry.bytes || size % kS5Entry.bytes != 0) return std::nullopt;
    if (reader.get<"nlink">() < 2) return std::nullopt;
    return reader.get<"address">();
  }
  const FieldReader<kS5Inode> reader(inode.data(), shape.order);
  const std::uint64_t size = reader.get<"size">();
  if ((reader.get<"mode">() & 0170000U) != 0040000 || reader.get<"nlink">() < 2)
    return std::nullopt;
  if (size < 2 * kS5Entry.bytes || size % kS5Entry.bytes != 0) return std::nullopt;
  // No directory names more files than there can be, each a few times over.
  if (size / kS5Entry.bytes > 16 * 65536) return std::nullopt;
  return s5_address(reader.raw<"address">(), shape.order);
}

bool is_large(std::span<const std::byte> inode, const OldUnixShape& shape) {
  return shape.inode == &kV6Inode &&
         (FieldReader<kV6Inode>(inode.data(), shape.order).get<"mode">() & kV6Large) != 0;
}

bool is_entry(std::span<const std::byte> at, const OldUnixShape& shape, std::string_view name) {
  const FieldReader<kS5Entry> entry(at.data(), shape.order);
  const auto raw = entry.raw<"name">();
  for (std::size_t i = 0; i < raw.size(); ++i) {
    const char expected = i < name.size() ? name[i] : '\0';
    if (static_cast<char>(raw[i]) != expected) return false;
  }
  return entry.get<"inode">() == shape.root;
}

// Follows one free list.
class FreeListWalk {
 public:
  FreeListWalk(const View& view, const OldUnixShape& shape)
      : view_(view), shape_(shape), numbers_(*shape.chain->find("free")) {
    const std::uint64_t present = divide_up(view.bytes(), shape.block_bytes);
    list_.free.resize(static_cast<std::size_t>(std::min(shape.blocks, present)));
  }

  FreeList follow() {
    std::vector<std::uint32_t> numbers = shape_.free;
    std::uint64_t at = shape_.place_of("free");
    while (!numbers.empty()) {
      for (std::size_t i = numbers.size() - 1; i > 0; --i) {
        if (numbers[i] == 0) {
          problem(at, fmt::format("the free list holds block 0 as its number {}", i));
        } else {
          take(numbers[i], at);
        }
      }
      // The first number is free itself and holds the next part of the list.
      const std::uint64_t link = numbers[0];
      if (link == 0 || !take(link, at)) break;
      at = link * shape_.block_bytes;
      if (!read_part(at, numbers)) break;
    }
    return std::move(list_);
  }

 private:
  void problem(std::uint64_t at, std::string message) {
    if (list_.problems.size() < kMostProblems) list_.problems.push_back({at, std::move(message)});
  }

  // Whether the block is a data block that was not in the list before.
  bool take(std::uint64_t block, std::uint64_t at) {
    if (!shape_.is_data(block)) {
      problem(at, fmt::format("the free list names block {}, expected {} to {}", block,
                              shape_.first_data, shape_.blocks - 1));
      return false;
    }
    ++list_.count;
    if (block >= list_.free.size()) return true;
    if (list_.free[block]) {
      problem(at, fmt::format("the free list names block {} twice", block));
      --list_.count;
      return false;
    }
    list_.free[block] = true;
    return true;
  }

  bool read_part(std::uint64_t at, std::vector<std::uint32_t>& numbers) {
    std::array<std::byte, 1024> buffer{};
    const std::span<std::byte> part = std::span(buffer).first(shape_.chain->bytes);
    if (view_.read(at, part) != part.size()) {
      problem(at, fmt::format("the free list goes on in block {}, past the end of the image",
                              at / shape_.block_bytes));
      return false;
    }
    const Field& counter = *shape_.chain->find("nfree");
    const std::uint64_t count =
        decode_unsigned(part.subspan(counter.offset, counter.width), shape_.order);
    if (count > numbers_.count) {
      problem(at, fmt::format("a free list block counts {} numbers, expected at most {}", count,
                              numbers_.count));
      return false;
    }
    numbers.clear();
    for (std::size_t i = 0; i < count; ++i) {
      const auto where = part.subspan(numbers_.offset + i * numbers_.width, numbers_.width);
      numbers.push_back(static_cast<std::uint32_t>(decode_unsigned(where, shape_.order)));
    }
    return true;
  }

  const View& view_;
  const OldUnixShape& shape_;
  const Field& numbers_;
  FreeList list_;
};

}  // namespace

Disagreements disagreements(const OldUnixShape& shape) {
  Disagreements found;
  const auto check = [&](bool holds, std::string_view field, std::uint64_t value,
                         std::string_view expected) {
    if (holds) return;
    found.all.push_back(
        {field, fmt::format("the superblock's {} is {}, expected {}", field, value, expected)});
  };
  const std::uint64_t least = shape.inode_block + 1;
  // V6 counts the blocks of its inode list, the others name the block behind it.
  const std::uint64_t isize =
      shape.inode == &kV6Inode ? shape.first_data - shape.inode_block : shape.first_data;
  check(shape.first_data >= least && shape.first_data < shape.blocks, "isize", isize,
        "an inode list that ends inside the volume");
  check(shape.blocks <= shape.most_blocks, "fsize", shape.blocks,
        fmt::format("at most {}", shape.most_blocks));
  found.sizes = found.all.empty();
  if (!found.sizes) return found;
  if (shape.free_list_known) {
    check(shape.free_count <= shape.chain_capacity(), "nfree", shape.free_count,
          fmt::format("at most {}", shape.chain_capacity()));
    for (std::size_t i = 0; i < shape.free.size(); ++i) {
      if (shape.is_data(shape.free[i]) || (i == 0 && shape.free[i] == 0)) continue;
      check(false, "free", shape.free[i],
            fmt::format("a block from {} to {}", shape.first_data, shape.blocks - 1));
      break;
    }
  }
  constexpr std::uint64_t kHints = 100;
  check(shape.free_inode_count <= kHints, "ninode", shape.free_inode_count, "at most 100");
  const std::uint64_t data = shape.blocks - shape.first_data;
  if (shape.stated_free) {
    check(*shape.stated_free <= data, "tfree", *shape.stated_free, fmt::format("at most {}", data));
  }
  if (shape.stated_free_inodes) {
    check(*shape.stated_free_inodes <= shape.inodes, "tinode", *shape.stated_free_inodes,
          fmt::format("at most {}", shape.inodes));
  }
  return found;
}

RootState root_state(const View& view, const OldUnixShape& shape) {
  std::array<std::byte, 64> inode{};
  const std::span<std::byte> bytes = std::span(inode).first(shape.inode->bytes);
  if (view.read(shape.inode_place(shape.root), bytes) != bytes.size()) return RootState::absent;
  auto block = root_block(bytes, shape);
  if (!block || !shape.is_data(*block)) return RootState::wrong;
  if (is_large(bytes, shape)) {
    block = view.number(*block * shape.block_bytes, 2, shape.order);
    if (!shape.is_data(*block)) return RootState::wrong;
  }
  std::array<std::byte, 2 * kS5Entry.bytes> entries{};
  if (view.read(*block * shape.block_bytes, entries) != entries.size()) return RootState::absent;
  const std::span<const std::byte> at(entries);
  const bool sound = is_entry(at.first(kS5Entry.bytes), shape, ".") &&
                     is_entry(at.last(kS5Entry.bytes), shape, "..");
  return sound ? RootState::sound : RootState::wrong;
}

FreeList walk_free_list(const View& view, const OldUnixShape& shape) {
  return FreeListWalk(view, shape).follow();
}

void report(Claim& claim, const View& view, const OldUnixShape& shape, const Disagreements& found) {
  for (const Disagreement& one : found.all) {
    claim.find(Severity::fault, FindingCode::filesystem_damaged,
               view.start() + shape.place_of(one.field), shape.superblock->find(one.field)->width,
               one.message);
  }
}

void add_old_unix_facts(Claim& claim, const OldUnixShape& shape) {
  claim.facts.set("byte_order", byte_order_name(shape.order))
      .set("block_bytes", shape.block_bytes)
      .set("volume_bytes", shape.volume_bytes());
  if (shape.stated_free && *shape.stated_free <= shape.blocks && shape.free_list_known) {
    claim.facts.set("used_bytes", (shape.blocks - *shape.stated_free) * shape.block_bytes)
        .set("free_bytes", *shape.stated_free * shape.block_bytes);
  }
  if (shape.time != 0) claim.facts.set("modified", Timestamp{shape.time});
  claim.facts.set("inodes", shape.inodes);
  if (shape.stated_free_inodes) claim.facts.set("free_inodes", *shape.stated_free_inodes);
}

}  // namespace platter::filesystem
