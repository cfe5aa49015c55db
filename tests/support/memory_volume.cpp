#include "support/memory_volume.h"

#include <algorithm>

#include "support/survey.h"

namespace platter::test {

MemoryVolume::MemoryVolume() {
  Attributes root;
  root.type = NodeType::directory;
  root.mode = 0755;
  nodes_[1].attributes = root;
}

NodeId MemoryVolume::add(NodeId directory, const std::string& name, Attributes attributes) {
  const NodeId number = next_++;
  attributes.identity = number;
  if (!attributes.links) attributes.links = 1;
  nodes_[number].attributes = attributes;
  nodes_[directory].entries.emplace_back(name, number);
  return number;
}

NodeId MemoryVolume::add_directory(NodeId directory, const std::string& name) {
  Attributes attributes;
  attributes.type = NodeType::directory;
  attributes.mode = 0750;
  attributes.modified = Timestamp{600'000'000};
  return add(directory, name, attributes);
}

NodeId MemoryVolume::add_file(NodeId directory, const std::string& name,
                              const std::string& content) {
  Attributes attributes;
  attributes.type = NodeType::file;
  attributes.mode = 0640;
  attributes.uid = 7;
  attributes.gid = 8;
  attributes.modified = Timestamp{700'000'000};
  attributes.bytes = content.size();
  const NodeId number = add(directory, name, attributes);
  const std::uint64_t start = image_.size();
  for (const char c : content)
    image_.push_back(static_cast<std::byte>(c));
  image_.resize((image_.size() + 511) / 512 * 512);
  if (!content.empty()) nodes_[number].extents.push_back({0, start, content.size(), false});
  return number;
}

NodeId MemoryVolume::add_symlink(NodeId directory, const std::string& name,
                                 const std::string& target) {
  Attributes attributes;
  attributes.type = NodeType::symlink;
  attributes.mode = 0777;
  attributes.bytes = target.size();
  const NodeId number = add(directory, name, attributes);
  nodes_[number].target = target;
  return number;
}

void MemoryVolume::link(NodeId directory, const std::string& name, NodeId node) {
  nodes_[directory].entries.emplace_back(name, node);
  nodes_[node].attributes.links = nodes_[node].attributes.links.value_or(0) + 1;
}

View MemoryVolume::view() const {
  return view_of(image_);
}

Attributes MemoryVolume::attributes(NodeId node) {
  const auto found = nodes_.find(node);
  return found == nodes_.end() ? Attributes{} : found->second.attributes;
}

void MemoryVolume::each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) {
  const auto found = nodes_.find(directory);
  if (found == nodes_.end()) return;
  std::uint64_t place = 0;
  for (const auto& [name, node] : found->second.entries) {
    if (!visit({name, found->second.charset, node, 16 * ++place})) return;
  }
}

void MemoryVolume::each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) {
  const auto found = nodes_.find(node);
  if (found == nodes_.end()) return;
  for (const Extent& extent : found->second.extents) {
    ++extents_handed_out;
    if (!visit(extent)) return;
  }
}

std::string MemoryVolume::link_target(NodeId node) {
  const auto found = nodes_.find(node);
  return found == nodes_.end() ? std::string() : found->second.target;
}

void MemoryVolume::each_run(FunctionRef<bool(const BlockRun&)> visit) {
  for (const BlockRun& run : runs) {
    if (!visit(run)) return;
  }
}

}  // namespace platter::test
