#include "filesystem/hfs_tree.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter::filesystem {
namespace {

constexpr std::size_t kOffsetBytes = 2;
constexpr std::uint64_t kIndex = 0;
constexpr std::uint64_t kHeader = 1;
// An index node holds at least four keys, so no tree whose file has 2^32 bytes is higher.
constexpr unsigned kHighest = 16;

std::size_t offset_at(const HfsTreeNode& node, std::size_t index) {
  const std::size_t at = kHfsNodeBytes - kOffsetBytes * (index + 1);
  return decode_unsigned(std::span(node.bytes).subspan(at, kOffsetBytes), ByteOrder::big);
}

}  // namespace

std::size_t HfsTreeNode::count() const {
  constexpr std::size_t kMost = (kHfsNodeBytes - kHfsNode.bytes) / kOffsetBytes - 1;
  return std::min<std::size_t>(head().get<"records">(), kMost);
}

std::span<const std::byte> HfsTreeNode::record(std::size_t index) const {
  if (index >= count()) return {};
  const std::size_t begin = offset_at(*this, index);
  const std::size_t end = offset_at(*this, index + 1);
  if (begin < kHfsNode.bytes || end <= begin ||
      end > kHfsNodeBytes - kOffsetBytes * (count() + 1)) {
    return {};
  }
  return std::span(bytes).subspan(begin, end - begin);
}

std::span<const std::byte> hfs_record_data(std::span<const std::byte> record) {
  if (record.empty()) return {};
  const std::size_t key = 1 + std::to_integer<std::size_t>(record[0]);
  const std::size_t data = key + key % 2;  // data start at an even byte
  return data < record.size() ? record.subspan(data) : std::span<const std::byte>{};
}

HfsTree::HfsTree(View view, std::vector<HfsRun> runs)
    : view_(std::move(view)), runs_(std::move(runs)), header_(ByteOrder::big) {
  std::uint64_t bytes = 0;
  for (const HfsRun& run : runs_)
    bytes = saturating_add(bytes, run.bytes);
  nodes_ = bytes / kHfsNodeBytes;
  HfsTreeNode first;
  if (!read(0, first) || first.head().get<"kind">() != kHeader) return;
  header_ = view_.record<kHfsTreeHeader>(first.place + kHfsNode.bytes, ByteOrder::big);
}

bool HfsTree::read(std::uint64_t number, HfsTreeNode& node) const {
  if (number >= nodes_) return false;
  std::uint64_t offset = number * kHfsNodeBytes;
  for (const HfsRun& run : runs_) {
    if (offset < run.bytes) {
      node.number = number;
      node.place = run.place + offset;
      return view_.read(node.place, node.bytes) == kHfsNodeBytes;
    }
    offset -= run.bytes;
  }
  return false;
}

void HfsTree::report(const HfsTreeNode& node, std::string message) {
  if (!problem_) problem_ = {node.place, std::move(message)};
}

std::optional<HfsTree::Problem> HfsTree::take_problem() {
  auto taken = std::move(problem_);
  problem_.reset();
  return taken;
}

// From the root to the leaf that holds the last record before the wanted place, or the first leaf.
bool HfsTree::descend(FunctionRef<bool(std::span<const std::byte>)> before, HfsTreeNode& node) {
  if (!header_.complete() || header_.get<"root">() == 0) return false;
  if (!read(header_.get<"root">(), node)) {
    report(node, fmt::format("the root of a tree is node {}, expected one below {}",
                             header_.get<"root">(), nodes_));
    return false;
  }
  for (unsigned level = 0; level < kHighest; ++level) {
    if (node.is_leaf()) return true;
    if (node.head().get<"kind">() != kIndex) break;
    std::size_t chosen = 0;
    while (chosen + 1 < node.count() && before(node.record(chosen + 1)))
      ++chosen;
    const auto data = hfs_record_data(node.record(chosen));
    if (data.size() < 4) break;
    const std::uint64_t child = decode_unsigned(data.first(4), ByteOrder::big);
    const std::uint64_t height = node.head().get<"height">();
    const std::uint64_t parent = node.number;
    if (!read(child, node) || node.head().get<"height">() + 1 != height) {
      report(node, fmt::format("node {} of a tree leads to node {}, expected a node of height {} "
                               "there",
                               parent, child, height - 1));
      return false;
    }
  }
  report(node, fmt::format("node {} of a tree has the kind {}, expected an index or a leaf",
                           node.number, node.head().get<"kind">()));
  return false;
}

// Each leaf must name the one before it. So a chain that leads back can only lead back to where the
// walk began: any other leaf would have to name two.
void HfsTree::along_leaves(HfsTreeNode& node, std::size_t index, Visitor visit) {
  const std::uint64_t start = node.number;
  while (true) {
    for (; index < node.count(); ++index) {
      if (!visit(node, index)) return;
    }
    const std::uint64_t from = node.number;
    const std::uint64_t next = node.head().get<"next">();
    if (next == 0) return;
    if (next == start || !read(next, node) || !node.is_leaf() ||
        node.head().get<"previous">() != from) {
      report(node,
             fmt::format("leaf {} of a tree is followed by node {}, expected a leaf that names "
                         "it as the one before",
                         from, next));
      return;
    }
    index = 0;
  }
}

void HfsTree::each_from(FunctionRef<bool(std::span<const std::byte>)> before, Visitor visit) {
  HfsTreeNode node;
  if (!descend(before, node)) return;
  bool found = false;
  along_leaves(node, 0, [&](const HfsTreeNode& leaf, std::size_t index) {
    found = found || !before(leaf.record(index));
    return !found || visit(leaf, index);
  });
}

void HfsTree::each(Visitor visit) {
  HfsTreeNode node;
  const std::uint64_t first = header_.get<"first_leaf">();
  if (!header_.complete() || first == 0) return;
  if (!read(first, node) || !node.is_leaf() || node.head().get<"previous">() != 0) {
    report(node,
           fmt::format("the first leaf of a tree is node {}, expected a leaf with none before "
                       "it",
                       first));
    return;
  }
  along_leaves(node, 0, visit);
}

}  // namespace platter::filesystem
