#include "files/walk.h"

#include <algorithm>
#include <iterator>
#include <unordered_set>

#include <fmt/format.h>

#include "core/name_scan.h"

namespace platter {
namespace {

// Deeper trees than this were never made by hand; path names have limits of 1024 bytes and less.
constexpr std::uint32_t kDeepest = 1024;

// Most names consist of nothing that has to be decoded or escaped.
bool is_plain(const Entry& entry) noexcept {
  const bool wide = entry.charset == Charset::ucs2_be || entry.charset == Charset::utf16_le;
  return !wide && is_plain_name(entry.name);
}

// A part of a path. What no part may be or hold is percent-escaped.
Decoded decode_name(const Entry& entry) {
  Decoded name = decode_text(entry.name, entry.charset);
  if (!is_unusable_name(name.utf8)) return name;
  std::string safe;
  for (const char c : name.utf8) {
    const bool escaped = c == '/' || c == '\0' || c == '%' || name.utf8 == "." || name.utf8 == "..";
    safe += escaped ? fmt::format("%{:02X}", static_cast<unsigned char>(c)) : std::string(1, c);
  }
  return {safe.empty() ? std::string("%") : safe, false};
}

void append_part(std::string& path, std::string_view name) {
  if (!path.empty()) path += '/';
  path += name;
}

class Walker {
 public:
  Walker(Volume& volume, FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings,
         WalkOrder order)
      : volume_(volume), visit_(visit), findings_(findings), order_(order) {}

  WalkResult from(NodeId top, std::string_view top_path) {
    path_ = top_path;
    plain_ = top_path.empty();  // not worth finding out
    entered_.insert(top);
    read_directory(top, 0);
    while (!pending_.empty() && !result_.stopped) {
      Pending next = std::move(pending_.back());
      pending_.pop_back();
      take(std::move(next));
    }
    collect();
    return result_;
  }

 private:
  // What waits to be visited (nested order) or entered (both orders).
  struct Pending {
    NodeId node;
    std::uint64_t place;
    std::uint32_t depth;  // directories above it
    Charset charset;
    bool visited;
    std::string name;  // as on the disk
  };
  struct Mark {
    std::size_t path;
    std::size_t raw_path;
    bool exact;
    bool plain;
  };

  void take(Pending next) {
    // Back to the directory that it lies in.
    while (marks_.size() > next.depth) {
      path_.resize(marks_.back().path);
      raw_path_.resize(marks_.back().raw_path);
      exact_ = marks_.back().exact;
      plain_ = marks_.back().plain;
      marks_.pop_back();
    }
    const Entry entry{next.name, next.charset, next.node, next.place};
    if (!next.visited && !visit_one(entry, next.depth)) return;
    enter(entry, next.depth);
  }

  void enter(const Entry& directory, std::uint32_t depth) {
    marks_.push_back({path_.size(), raw_path_.size(), exact_, plain_});
    append(directory);
    if (!entered_.insert(directory.node).second) {
      findings_.push_back({Severity::fault,
                           FindingCode::directory_loop,
                           {},
                           directory.place,
                           0,
                           fmt::format("the directory {} was entered before under another name",
                                       printable(path_))});
    } else if (depth + 1 >= kDeepest) {
      findings_.push_back(
          {Severity::caution,
           FindingCode::filesystem_damaged,
           {},
           directory.place,
           0,
           fmt::format("no more than {} levels of directories are entered", kDeepest)});
    } else {
      read_directory(directory.node, depth + 1);
    }
  }

  void read_directory(NodeId directory, std::uint32_t depth) {
    const std::size_t first = pending_.size();
    const bool nested = order_ == WalkOrder::nested;
    volume_.each_entry(directory, [&](const Entry& entry) {
      if (nested || visit_one(entry, depth)) {
        pending_.push_back(
            {entry.node, entry.place, depth, entry.charset, !nested, std::string(entry.name)});
      }
      return !result_.stopped;
    });
    // The last of a stack comes first: keep the order of the disk.
    std::reverse(pending_.begin() + static_cast<std::ptrdiff_t>(first), pending_.end());
    collect();
  }

  // Whether it is a directory to be entered.
  bool visit_one(const Entry& entry, std::uint32_t depth) {
    if (entry.attributes != nullptr) return visit_one(entry, *entry.attributes, depth);
    return visit_one(entry, volume_.attributes(entry.node), depth);
  }

  bool visit_one(const Entry& entry, const Attributes& attributes, std::uint32_t depth) {
    const std::size_t path_length = path_.size();
    const std::size_t raw_length = raw_path_.size();
    const bool exact = exact_;
    const bool plain = plain_;
    append(entry);
    const bool is_directory = attributes.type == NodeType::directory;
    ++(is_directory ? result_.directories : result_.files);
    const std::string_view name =
        std::string_view(path_).substr(path_length == 0 ? 0 : path_length + 1);
    const Step step =
        visit_({entry, path_, name, exact_ ? path_ : raw_path_, exact_, plain_, depth, attributes});
    path_.resize(path_length);
    raw_path_.resize(raw_length);
    exact_ = exact;
    plain_ = plain;
    if (step == Step::stop) result_.stopped = true;
    return is_directory && step == Step::go_on;
  }

  // The second path is kept only where a part is no text.
  void append(const Entry& entry) {
    if (exact_ && is_plain(entry)) {
      append_part(path_, entry.name);
      return;
    }
    plain_ = false;
    const Decoded name = decode_name(entry);
    if (exact_ && !name.exact) raw_path_ = path_;
    append_part(path_, name.utf8);
    exact_ = exact_ && name.exact;
    if (!exact_) append_part(raw_path_, name.exact ? std::string_view(name.utf8) : entry.name);
  }

  void collect() { std::ranges::move(volume_.take_findings(), std::back_inserter(findings_)); }

  Volume& volume_;
  FunctionRef<Step(const FileVisit&)> visit_;
  std::vector<Finding>& findings_;
  WalkOrder order_;
  WalkResult result_;
  std::vector<Pending> pending_;
  std::unordered_set<NodeId> entered_;
  std::vector<Mark> marks_;  // where the path ended before each directory that is on it
  std::string path_;
  std::string raw_path_;  // empty while exact_
  bool exact_ = true;
  bool plain_ = true;
};

}  // namespace

WalkResult walk(Volume& volume, NodeId top, std::string_view top_path,
                FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings,
                WalkOrder order) {
  return Walker(volume, visit, findings, order).from(top, top_path);
}

std::optional<FoundPath> find_path(Volume& volume, std::string_view path) {
  FoundPath place{volume.root(), 0, {}};
  while (true) {
    while (!path.empty() && path.front() == '/')
      path.remove_prefix(1);
    if (path.empty()) return place;
    const std::string_view wanted = path.substr(0, path.find('/'));
    path.remove_prefix(wanted.size());
    std::optional<Entry> found;
    volume.each_entry(place.node, [&](const Entry& entry) {
      const bool same = is_plain(entry) ? entry.name == wanted : decode_name(entry).utf8 == wanted;
      if (same) found = Entry{{}, entry.charset, entry.node, entry.place};
      return !same;
    });
    if (!found) return std::nullopt;
    append_part(place.path, wanted);
    place.node = found->node;
    place.place = found->place;
  }
}

bool is_unusable_name(std::string_view name) noexcept {
  return name.empty() || name == "." || name == ".." || name.find('/') != std::string_view::npos ||
         name.find('\0') != std::string_view::npos;
}

}  // namespace platter
