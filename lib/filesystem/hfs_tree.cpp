#include "filesystem/hfs_tree.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace platter::filesystem {
namespace {

constexpr std::size_t kOffsetBytes = 2;
constexpr std::uint64_t kIndex = 0;
constexpr std::uint64_t kHeader = 1;
constexpr std::size_t kPointerBytes = 4;
// An index node holds at least three keys, so no tree of 2^32 nodes is higher.
constexpr unsigned kHighest = 24;
// How many times over its leaves may be passed in vain.
constexpr std::uint64_t kMostAstray = 4;

std::size_t offset_at(const HfsTreeNode& node, std::size_t index) {
  const std::size_t at = node.bytes.size() - kOffsetBytes * (index + 1);
  return decode_unsigned(std::span(node.bytes).subspan(at, kOffsetBytes), ByteOrder::big);
}

// The first record from `index` on for which `before` does not hold.
std::size_t first_not_before(const HfsTreeNode& node, std::size_t index, HfsTree::Before before) {
  std::size_t end = node.count();
  while (index < end) {
    const std::size_t middle = index + (end - index) / 2;
    if (before(node.record(middle))) {
      index = middle + 1;
    } else {
      end = middle;
    }
  }
  return index;
}

}  // namespace

std::size_t HfsTreeNode::count() const {
  const std::size_t most = (bytes.size() - kHfsNode.bytes) / kOffsetBytes - 1;
  return std::min<std::size_t>(head().get<"records">(), most);
}

std::span<const std::byte> HfsTreeNode::record(std::size_t index) const {
  if (index >= count()) return {};
  const std::size_t begin = offset_at(*this, index);
  const std::size_t end = offset_at(*this, index + 1);
  if (begin < kHfsNode.bytes || end <= begin || end > bytes.size() - kOffsetBytes * (count() + 1)) {
    return {};
  }
  return std::span(bytes).subspan(begin, end - begin);
}

std::span<const std::byte> hfs_record_data(std::span<const std::byte> record,
                                           std::size_t key_width) {
  if (record.size() < key_width) return {};
  const std::size_t key = key_width + decode_unsigned(record.first(key_width), ByteOrder::big);
  const std::size_t data = key + key % 2;  // data start at an even byte
  return data < record.size() ? record.subspan(data) : std::span<const std::byte>{};
}

HfsTree::HfsTree(View view, std::vector<HfsRun> runs, const HfsTreeForm& form)
    : view_(std::move(view)), runs_(std::move(runs)), form_(form), header_(ByteOrder::big) {
  std::uint64_t bytes = 0;
  for (const HfsRun& run : runs_)
    ends_.push_back(bytes = saturating_add(bytes, run.bytes));
  nodes_ = bytes / form_.node_bytes;
  HfsTreeNode first;
  if (!read(0, first) || first.head().get<"kind">() != kHeader) return;
  header_ = view_.record<kHfsTreeHeader>(first.place + kHfsNode.bytes, ByteOrder::big);
}

bool HfsTree::read(std::uint64_t number, HfsTreeNode& node) const {
  if (number >= nodes_) return false;
  node.number = number;
  node.bytes.resize(form_.node_bytes);
  // A node can be larger than a block, so that it may lie in several runs.
  std::size_t done = 0;
  while (done < form_.node_bytes) {
    const std::uint64_t offset = number * form_.node_bytes + done;
    const auto end = std::ranges::upper_bound(ends_, offset);
    if (end == ends_.end()) return false;
    const HfsRun& run = runs_[static_cast<std::size_t>(end - ends_.begin())];
    const std::uint64_t place = run.place + run.bytes - (*end - offset);
    if (done == 0) node.place = place;
    const auto here =
        static_cast<std::size_t>(std::min<std::uint64_t>(*end - offset, form_.node_bytes - done));
    if (view_.read(place, std::span(node.bytes).subspan(done, here)) != here) return false;
    done += here;
  }
  return true;
}

std::span<const std::byte> HfsTree::index_data(std::span<const std::byte> record) const {
  if (form_.index_key_bytes == 0) return hfs_record_data(record, form_.key_width);
  const std::size_t data = form_.key_width + form_.index_key_bytes;
  return data < record.size() ? record.subspan(data) : std::span<const std::byte>{};
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
bool HfsTree::descend(Before before, HfsTreeNode& node) {
  if (runs_.empty()) return false;  // there is no tree
  if (!header_.complete()) {
    node.place = runs_.front().place;
    report(node, "a tree does not begin with a node of the kind that describes it");
    return false;
  }
  if (header_.get<"root">() == 0) return false;  // an empty tree
  if (!read(header_.get<"root">(), node)) {
    report(node, fmt::format("the root of a tree is node {}, expected one below {}",
                             header_.get<"root">(), nodes_));
    return false;
  }
  for (unsigned level = 0; level < kHighest; ++level) {
    if (node.is_leaf()) return true;
    if (node.head().get<"kind">() != kIndex) break;
    const std::size_t behind = first_not_before(node, 1, before);
    const auto data = index_data(node.record(behind - 1));
    if (data.size() < kPointerBytes) break;
    const std::uint64_t child = decode_unsigned(data.first(kPointerBytes), ByteOrder::big);
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
void HfsTree::along_leaves(HfsTreeNode& node, std::size_t index, Visitor visit,
                           FunctionRef<bool(const HfsTreeNode& node)> go_on) {
  const std::uint64_t start = node.number;
  while (true) {
    for (; index < node.count(); ++index) {
      if (!visit(node, index)) return;
    }
    if (!go_on(node)) return;
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

void HfsTree::each_from(Before before, Visitor visit) {
  HfsTreeNode node;
  if (!descend(before, node)) return;
  bool found = false;
  bool useful = false;
  std::uint64_t idle = 0;
  const std::size_t first = first_not_before(node, 0, before);
  const auto look_at = [&](const HfsTreeNode& leaf, std::size_t index) {
    found = found || !before(leaf.record(index));
    useful = useful || found;
    return !found || visit(leaf, index);
  };
  // A sound tree leads to the leaf that is wanted or to the one before. Where keys are out of order
  // the leaves are searched one by one, but not for every search from their first to their last.
  const auto go_on = [&](const HfsTreeNode& leaf) {
    if (!std::exchange(useful, false) && ++idle > 1 && ++astray_ > kMostAstray * nodes_) {
      report(leaf, fmt::format("searches in a tree pass leaf {} and {} more in vain, expected keys "
                               "in order",
                               leaf.number, astray_ - 1));
      return false;
    }
    return true;
  };
  along_leaves(node, first, look_at, go_on);
}

void HfsTree::each(Visitor visit) {
  HfsTreeNode node;
  const std::uint64_t first = header_.get<"first_leaf">();
  if (first == 0) return;
  if (!read(first, node) || !node.is_leaf() || node.head().get<"previous">() != 0) {
    report(node,
           fmt::format("the first leaf of a tree is node {}, expected a leaf with none before "
                       "it",
                       first));
    return;
  }
  along_leaves(node, 0, visit, [](const HfsTreeNode&) { return true; });
}

}  // namespace platter::filesystem
