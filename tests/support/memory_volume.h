// A volume whose tree stands in memory: what a disk could hold, and what no disk should.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "core/view.h"
#include "core/volume.h"

namespace platter::test {

/// Nodes are numbered from 1, the root. Content lies in one run of bytes, `image`.
class MemoryVolume : public Volume {
 public:
  struct Node {
    Attributes attributes;
    std::string target;
    std::vector<Extent> extents;
    std::vector<std::pair<std::string, NodeId>> entries;
    Charset charset = Charset::ascii;
  };

  MemoryVolume();

  /// Adds a node and its name in `directory`. Returns its number.
  NodeId add(NodeId directory, const std::string& name, Attributes attributes);
  NodeId add_directory(NodeId directory, const std::string& name);
  /// A file whose content is `content`, in one extent.
  NodeId add_file(NodeId directory, const std::string& name, const std::string& content);
  NodeId add_symlink(NodeId directory, const std::string& name, const std::string& target);
  /// A further name.
  void link(NodeId directory, const std::string& name, NodeId node);
  [[nodiscard]] Node& node(NodeId number) { return nodes_[number]; }
  /// The bytes that extents refer to, so far.
  [[nodiscard]] View view() const;
  /// Bytes of the image so far; the next content starts there.
  [[nodiscard]] std::uint64_t image_bytes() const { return image_.size(); }

  [[nodiscard]] NodeId root() const override { return 1; }
  [[nodiscard]] Attributes attributes(NodeId node) override;
  void each_entry(NodeId directory, FunctionRef<bool(const Entry&)> visit) override;
  void each_extent(NodeId node, FunctionRef<bool(const Extent&)> visit) override;
  [[nodiscard]] std::string link_target(NodeId node) override;
  void each_run(FunctionRef<bool(const BlockRun&)> visit) override;
  [[nodiscard]] std::uint64_t unit_bytes() const override { return unit; }

  std::vector<BlockRun> runs;            ///< what each_run() says
  std::uint64_t unit = 512;              ///< what unit_bytes() says
  std::uint64_t extents_handed_out = 0;  ///< by all calls of each_extent()

 private:
  std::map<NodeId, Node> nodes_;
  NodeId next_ = 2;
  std::vector<std::byte> image_;
};

}  // namespace platter::test
