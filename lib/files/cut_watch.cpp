#include "files/cut_watch.h"

#include <algorithm>
#include <iterator>

#include <fmt/format.h>

#include "files/content.h"

namespace platter {
namespace {

constexpr std::size_t kMostTold = 64;

}  // namespace

CutWatch::CutWatch(Volume& volume, const View& view, std::uint64_t claimed_bytes)
    : volume_(volume), view_(view), is_cut_(claimed_bytes > view.bytes()) {
  if (!is_cut_) return;
  const NodeId root = volume.root();
  look_at_directory(root, volume.attributes(root).bytes, view.start(), "/");
}

void CutWatch::look_closely(const FileVisit& file) {
  if (file.attributes.type == NodeType::directory) {
    look_at_directory(file.entry.node, file.attributes.bytes, file.entry.place, file.path);
  } else if (file.attributes.type == NodeType::unknown && without_record_++ == 0) {
    first_name_ = file.path;
    first_place_ = file.entry.place;
  }
}

void CutWatch::look_at_directory(NodeId node, std::uint64_t bytes, std::uint64_t place,
                                 std::string_view path) {
  std::uint64_t missing = 0;
  each_present_extent(volume_, view_, node, [&](const Extent& extent) {
    missing = saturating_add(missing, extent.absent ? extent.bytes : 0);
    return true;
  });
  if (missing == 0) return;
  if (directories_.size() == kMostTold) {
    ++more_directories_;
    return;
  }
  directories_.push_back(
      {Severity::fault,
       FindingCode::content_missing,
       {},
       place,
       0,
       fmt::format("{}: the image does not hold {} of the {} bytes of this directory; what they "
                   "name is not listed",
                   printable(path), missing, bytes)});
}

void CutWatch::tell(std::vector<Finding>& findings) {
  std::ranges::move(directories_, std::back_inserter(findings));
  directories_.clear();
  const auto add = [&findings](std::uint64_t place, std::string message) {
    findings.push_back(
        {Severity::fault, FindingCode::content_missing, {}, place, 0, std::move(message)});
  };
  if (more_directories_ != 0)
    add(0, fmt::format("bytes of {} more directories are missing", more_directories_));
  if (without_record_ != 0) {
    add(first_place_,
        fmt::format("nothing is known of {} file{} whose records the image does not "
                    "hold; the first is {}",
                    without_record_, without_record_ == 1 ? "" : "s", printable(first_name_)));
  }
}

}  // namespace platter
