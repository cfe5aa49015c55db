#include "files/walk.h"

#include <algorithm>
#include <iterator>
#include <optional>
#include <unordered_set>

#include <fmt/format.h>

namespace platter {
namespace {

// Deeper trees than this were never made by hand; path names have limits of 1024 bytes and less.
constexpr std::size_t kDeepest = 1024;

// A directory that waits to be entered.
struct Pending {
  NodeId node;
  std::uint64_t place;
  std::uint32_t depth;
  std::string name;      // decoded
  std::string raw_name;  // empty: the same bytes as `name`
};

class Walker {
 public:
  Walker(Volume& volume, FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings)
      : volume_(volume), visit_(visit), findings_(findings) {}

  WalkResult from(NodeId top, std::string_view top_path) {
    path_ = top_path;
    raw_path_ = top_path;
    entered_.insert(top);
    read_directory(top, 0);
    while (!pending_.empty() && !result_.stopped) {
      Pending next = std::move(pending_.back());
      pending_.pop_back();
      enter(std::move(next));
    }
    collect();
    return result_;
  }

 private:
  void enter(Pending directory) {
    if (!entered_.insert(directory.node).second) {
      findings_.push_back({Severity::fault, FindingCode::directory_loop, {}, directory.place, 0,
                           fmt::format("the directory {} was entered before under another name",
                                       joined(directory))});
      return;
    }
    // Back to the directory that this one lies in.
    while (marks_.size() >= directory.depth) {
      path_.resize(marks_.back().path);
      raw_path_.resize(marks_.back().raw_path);
      marks_.pop_back();
      names_.pop_back();
    }
    marks_.push_back({path_.size(), raw_path_.size()});
    append(path_, directory.name);
    append(raw_path_, directory.raw_name.empty() ? directory.name : directory.raw_name);
    names_.push_back(std::move(directory.name));
    if (directory.depth >= kDeepest) {
      findings_.push_back({Severity::caution, FindingCode::filesystem_damaged, {}, directory.place, 0,
                           fmt::format("{} levels of directories are the most that is entered",
                                       kDeepest)});
      return;
    }
    read_directory(directory.node, directory.depth);
  }

  void read_directory(NodeId directory, std::uint32_t depth) {
    const std::size_t first = pending_.size();
    const std::size_t path_length = path_.size();
    const std::size_t raw_length = raw_path_.size();
    volume_.each_entry(directory, [&](const Entry& entry) {
      const Decoded name = decode_text(entry.name, entry.charset);
      append(path_, name.utf8);
      append(raw_path_, entry.name);
      const Attributes attributes = volume_.attributes(entry.node);
      const bool is_directory = attributes.type == NodeType::directory;
      ++(is_directory ? result_.directories : result_.files);
      const Step step = visit_({names_, entry, path_, path_ == raw_path_ || name.exact, raw_path_, attributes});
      path_.resize(path_length);
      raw_path_.resize(raw_length);
      if (step == Step::stop) result_.stopped = true;
      if (step == Step::go_on && is_directory) {
        pending_.push_back({entry.node, entry.place, depth + 1, name.utf8,
                            name.utf8 == entry.name ? std::string() : std::string(entry.name)});
      }
      return !result_.stopped;
    });
    // The last of a stack comes first: keep the order of the disk.
    std::reverse(pending_.begin() + static_cast<std::ptrdiff_t>(first), pending_.end());
    collect();
  }

  void collect() {
    std::ranges::move(volume_.take_findings(), std::back_inserter(findings_));
  }

  static void append(std::string& path, std::string_view name) {
    if (!path.empty()) path += '/';
    path += name;
  }

  [[nodiscard]] std::string joined(const Pending& directory) const {
    std::string path;
    for (std::size_t i = 0; i + 1 < directory.depth && i < names_.size(); ++i) append(path, names_[i]);
    append(path, directory.name);
    return path;
  }

  struct Mark {
    std::size_t path;
    std::size_t raw_path;
  };

  Volume& volume_;
  FunctionRef<Step(const FileVisit&)> visit_;
  std::vector<Finding>& findings_;
  WalkResult result_;
  std::vector<Pending> pending_;
  std::unordered_set<NodeId> entered_;
  std::vector<std::string> names_;
  std::vector<Mark> marks_;
  std::string path_;
  std::string raw_path_;
};

}  // namespace

WalkResult walk(Volume& volume, NodeId top, std::string_view top_path,
                FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings) {
  return Walker(volume, visit, findings).from(top, top_path);
}

std::optional<Place> find_path(Volume& volume, std::string_view path) {
  Place place{volume.root(), {}, {}};
  while (true) {
    while (!path.empty() && path.front() == '/') path.remove_prefix(1);
    if (path.empty()) return place;
    const std::string_view wanted = path.substr(0, path.find('/'));
    path.remove_prefix(wanted.size());
    bool found = false;
    NodeId next = 0;
    volume.each_entry(place.node, [&](const Entry& entry) {
      if (decode_text(entry.name, entry.charset).utf8 != wanted) return true;
      found = true;
      next = entry.node;
      if (!place.path.empty()) {
        place.path += '/';
        place.raw_path += '/';
      }
      place.path += wanted;
      place.raw_path += entry.name;
      return false;
    });
    if (!found) return std::nullopt;
    place.node = next;
  }
}

bool is_unusable_name(std::string_view name) noexcept {
  return name.empty() || name == "." || name == ".." || name.find('/') != std::string_view::npos ||
         name.find('\0') != std::string_view::npos;
}

}  // namespace platter
