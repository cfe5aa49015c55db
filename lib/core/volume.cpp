#include "core/volume.h"

#include <algorithm>

#include <fmt/format.h>

namespace platter {
namespace {

// Beyond this many, one more finding helps nobody.
constexpr std::size_t kMostFindings = 256;

}  // namespace

std::string_view node_type_name(NodeType type) noexcept {
  switch (type) {
    case NodeType::file:
      return "file";
    case NodeType::directory:
      return "directory";
    case NodeType::symlink:
      return "symlink";
    case NodeType::char_device:
      return "char-device";
    case NodeType::block_device:
      return "block-device";
    case NodeType::fifo:
      return "fifo";
    case NodeType::socket:
      return "socket";
    case NodeType::unknown:
      return "unknown";
  }
  return "";
}

NodeType type_of_mode(std::uint32_t mode) noexcept {
  switch (mode & 0170000U) {
    case 0010000:
      return NodeType::fifo;
    case 0020000:
      return NodeType::char_device;
    case 0040000:
      return NodeType::directory;
    case 0060000:
      return NodeType::block_device;
    case 0100000:
      return NodeType::file;
    case 0120000:
      return NodeType::symlink;
    case 0140000:
      return NodeType::socket;
    default:
      return NodeType::unknown;
  }
}

std::vector<Finding> Volume::take_findings() {
  std::vector<Finding> taken;
  taken.swap(findings_);
  if (dropped_ != 0) {
    const Finding& last = taken.back();
    taken.push_back({Severity::note,
                     FindingCode::filesystem_damaged,
                     {},
                     last.start,
                     0,
                     fmt::format("{} more findings of this kind are left out", dropped_)});
    dropped_ = 0;
  }
  return taken;
}

void Volume::find(Severity severity, FindingCode code, std::uint64_t at, std::uint64_t bytes,
                  std::string message) {
  const bool known = std::ranges::any_of(findings_, [&](const Finding& finding) {
    return finding.code == code && finding.start == at && finding.message == message;
  });
  if (known) return;
  if (findings_.size() >= kMostFindings) {
    ++dropped_;
    return;
  }
  findings_.push_back({severity, code, {}, at, bytes, std::move(message)});
}

}  // namespace platter
