#include "files/selection.h"

#include <algorithm>
#include <iterator>
#include <optional>
#include <utility>

namespace platter {

Selection::Selection(const std::vector<std::string>& paths, bool ignore_case) {
  for (const std::string& path : paths) {
    Pattern pattern(path, ignore_case);
    if (pattern.text().empty()) {  // "/": the root, so everything
      patterns_.clear();
      answered_.clear();
      return;
    }
    only_plain_ = only_plain_ && !pattern.is_pattern();
    patterns_.push_back(std::move(pattern));
    answered_.push_back(false);
  }
}

std::vector<std::string> Selection::unanswered() const {
  std::vector<std::string> left;
  for (std::size_t i = 0; i < patterns_.size(); ++i) {
    if (!answered_[i]) left.push_back(patterns_[i].text());
  }
  return left;
}

WalkResult Selection::walk(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                           std::vector<Finding>& findings, WalkOrder order) {
  if (everything()) return platter::walk(volume, volume.root(), "", visit, findings, order);
  if (only_plain_) return look_up(volume, visit, findings, order);
  WalkResult selected;
  const auto filter = [&](const FileVisit& file) {
    if (!selects(file.path)) return Step::go_on;
    ++(file.attributes.type == NodeType::directory ? selected.directories : selected.files);
    return visit(file);
  };
  selected.stopped = platter::walk(volume, volume.root(), "", filter, findings, order).stopped;
  return selected;
}

// A pattern that matches a directory selects what is below it.
bool Selection::selects(std::string_view path) {
  bool selected = false;
  for (std::size_t i = 0; i < patterns_.size(); ++i) {
    for (std::size_t end = path.find('/'); !answered_[i] || !selected;
         end = path.find('/', end + 1)) {
      if (patterns_[i].matches(path.substr(0, end))) {
        answered_[i] = true;
        selected = true;
        break;
      }
      if (end == std::string_view::npos) break;
    }
  }
  return selected;
}

WalkResult Selection::look_up(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                              std::vector<Finding>& findings, WalkOrder order) {
  struct Found {
    FoundPath path;
    Attributes attributes;
  };
  std::vector<Found> all_found;
  for (std::size_t i = 0; i < patterns_.size(); ++i) {
    std::optional<FoundPath> found = find_path(volume, patterns_[i].text());
    std::ranges::move(volume.take_findings(), std::back_inserter(findings));
    if (!found) continue;
    const Attributes attributes = volume.attributes(found->node);
    answered_[i] = true;
    all_found.push_back({std::move(*found), attributes});
  }
  // Meant by one of the earlier ones, or lies in a directory that is asked for anyway.
  const auto is_covered = [&](std::size_t i) {
    const std::string& path = all_found[i].path.path;
    for (std::size_t j = 0; j < all_found.size(); ++j) {
      const std::string& other = all_found[j].path.path;
      if (j < i && path == other) return true;
      if (path.size() > other.size() && path.starts_with(other) && path[other.size()] == '/')
        return true;
    }
    return false;
  };
  WalkResult all;
  for (std::size_t i = 0; i < all_found.size() && !all.stopped; ++i) {
    if (is_covered(i)) continue;
    const auto& [found, attributes] = all_found[i];
    const bool directory = attributes.type == NodeType::directory;
    const std::string_view path = found.path;
    const std::size_t slash = path.rfind('/');
    const std::string_view name = slash == std::string_view::npos ? path : path.substr(slash + 1);
    const Entry entry{found.name, found.charset, found.node, found.place};
    ++(directory ? all.directories : all.files);
    const Step step = visit({entry, path, name, found.raw_path, found.exact, false, 0, attributes});
    all.stopped = step == Step::stop;
    if (!directory || step != Step::go_on) continue;
    const WalkResult below = platter::walk(volume, found, visit, findings, order);
    all.files += below.files;
    all.directories += below.directories;
    all.stopped = below.stopped;
  }
  return all;
}

}  // namespace platter
