// Files made below a directory.
//
// Everything is done through descriptors of directories that were opened without following links,
// so that nothing on an image can lead outside.
#include <fcntl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <iterator>
#include <limits>
#include <optional>
#include <system_error>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include <fmt/format.h>

#include "core/descriptor.h"
#include "files/content_copier.h"
#include "files/sink.h"

namespace platter {
namespace {

constexpr mode_t kWhileWriting = 0600;
constexpr mode_t kDirectoryWhileWriting = 0700;

std::string reason_of(int error) {
  return std::generic_category().message(error);
}

struct timespec moment(const std::optional<Timestamp>& time, std::uint32_t nanoseconds) {
  if (!time) return {0, UTIME_OMIT};
  return {static_cast<time_t>(time->seconds), static_cast<long>(nanoseconds % 1'000'000'000U)};
}

std::array<struct timespec, 2> times_of(const Attributes& attributes) {
  const auto& accessed = attributes.accessed ? attributes.accessed : attributes.modified;
  return {moment(accessed, 0), moment(attributes.modified, attributes.modified_nanoseconds)};
}

class DirectorySink final : public FileSink {
 public:
  DirectorySink(std::string directory, const SinkOptions& options)
      : directory_(std::move(directory)), options_(options), mask_(umask(0)) {
    umask(mask_);
    if (mkdir(directory_.c_str(), 0777) != 0 && errno != EEXIST) fail(directory_);
    root_ = Descriptor(open(directory_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (root_.get() < 0) fail(directory_);
    copier_.emplace(root_.get(), directory_, options.strict);
  }

  void begin_volume(const std::string& directory) override {
    names_.clear();
    made_.clear();
    first_names_.clear();
    parent_.reset();
    top_ = directory;
    top_made_ = directory.empty();
  }

  void add(const FileVisit& file, Volume& volume, const View& view,
           std::vector<Finding>& findings) override {
    findings_ = &findings;
    enter_parent_of(file);
    std::string name = host_name(file);
    switch (file.attributes.type) {
      case NodeType::directory:
        add_directory(file, std::move(name));
        break;
      case NodeType::file:
        add_file(file, std::move(name), volume, view);
        break;
      case NodeType::symlink:
        add_symlink(file, std::move(name), volume);
        break;
      case NodeType::unknown:
        leave_out(file, "it is of no kind that could be made here");
        break;
      default:
        add_special(file, std::move(name));
        break;
    }
    if (!go_on()) throw Interrupted();
  }

  void finish(std::vector<Finding>& findings) override {
    copier_->finish([this] { return go_on(); });
    take_report(findings);
    // From the leaves up: a directory's time changes when something is made in it.
    for (auto made = directories_.rbegin(); made != directories_.rend(); ++made) {
      const char* path = made->path.c_str();
      if (options_.owner) give_owner(root_.get(), path, made->uid, made->gid);
      if (fchmodat(root_.get(), path, made->mode, 0) != 0) fail(made->path);
      if (utimensat(root_.get(), path, made->times.data(), AT_SYMLINK_NOFOLLOW) != 0)
        fail(made->path);
    }
    directories_.clear();
  }

 private:
  struct MadeDirectory {
    std::string path;  // below the root
    mode_t mode;
    std::optional<std::uint32_t> uid;
    std::optional<std::uint32_t> gid;
    std::array<struct timespec, 2> times;
  };
  struct Parent {
    std::string path;  // decoded, as in FileVisit
    std::string host;  // below the root, "" for the root
    Descriptor descriptor;
  };

  [[noreturn]] void fail(const std::string& below) const {
    throw IoError(below == directory_ ? below : directory_ + "/" + below, 0, 0, reason_of(errno));
  }

  static std::string joined(const std::string& directory, const std::string& name) {
    return directory.empty() ? name : directory + "/" + name;
  }

  void give_owner(int directory, const char* name, const std::optional<std::uint32_t>& uid,
                  const std::optional<std::uint32_t>& gid) const {
    if (!uid && !gid) return;
    const uid_t owner = uid ? *uid : static_cast<uid_t>(-1);
    const gid_t group = gid ? *gid : static_cast<gid_t>(-1);
    if (fchownat(directory, name, owner, group, AT_SYMLINK_NOFOLLOW) != 0) fail(name);
  }

  [[nodiscard]] mode_t mode_of(const Attributes& attributes, mode_t otherwise) const {
    return attributes.mode ? static_cast<mode_t>(*attributes.mode & 07777U) : otherwise & ~mask_;
  }

  // The name on the disk where it is one here too.
  static std::string host_name(const FileVisit& file) {
    const bool bytes_serve =
        file.entry.charset == Charset::ascii && !is_unusable_name(file.entry.name);
    return std::string(bytes_serve ? file.entry.name : file.name);
  }

  // Only when something goes into it.
  void make_top() {
    if (top_made_) return;
    if (mkdirat(root_.get(), top_.c_str(), 0777) != 0 && errno != EEXIST) fail(top_);
    top_made_ = true;
  }

  void enter_parent_of(const FileVisit& file) {
    make_top();
    const std::size_t length = file.path.size() - file.name.size();
    const std::string_view path = file.path.substr(0, length == 0 ? 0 : length - 1);
    if (parent_ && parent_->path == path) return;
    Parent parent{std::string(path), top_, open_directory(top_)};
    const auto known = names_.find(parent.path);
    if (known != names_.end()) {
      parent.host = known->second;
      parent.descriptor = open_directory(parent.host);
    } else {
      make_parents(parent);
    }
    parent_ = std::move(parent);
  }

  // Directories on the way to a file that was asked for alone.
  void make_parents(Parent& parent) {
    std::string decoded;
    std::string_view rest = parent.path;
    while (!rest.empty()) {
      const std::string part(rest.substr(0, rest.find('/')));
      rest.remove_prefix(std::min(rest.size(), part.size() + 1));
      decoded = joined(decoded, part);
      const auto known = names_.find(decoded);
      if (known != names_.end()) {
        parent.host = known->second;
      } else {
        if (mkdirat(parent.descriptor.get(), part.c_str(), 0777) != 0 && errno != EEXIST)
          fail(part);
        parent.host = joined(parent.host, part);
        names_.emplace(decoded, parent.host);
      }
      parent.descriptor = open_directory(parent.host);
    }
  }

  // Name by name, so that no symbolic link is followed on the way.
  [[nodiscard]] Descriptor open_directory(std::string_view host) const {
    Descriptor at(dup(root_.get()));
    while (!host.empty()) {
      const std::string part(host.substr(0, host.find('/')));
      host.remove_prefix(std::min(host.size(), part.size() + 1));
      Descriptor next(
          openat(at.get(), part.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC));
      if (next.get() < 0) fail(part);
      at = std::move(next);
    }
    return at;
  }

  // Calls make(name) until a name is free; it returns 0 or the error.
  template <typename Make>
  bool make_named(const FileVisit& file, std::string& name, Make make) {
    const std::string wanted = name;
    for (unsigned twin = 2;; ++twin) {
      int error = make(name.c_str());
      if (error == EEXIST && may_replace(name)) {
        if (unlinkat(parent_->descriptor.get(), name.c_str(), 0) == 0) error = make(name.c_str());
      }
      if (error == 0) break;
      if (error == ENAMETOOLONG && name.size() > 200) {
        name.resize(200);
        continue;
      }
      if (error != EEXIST) {
        leave_out(file, reason_of(error));
        return false;
      }
      if (!made_.contains(joined(parent_->host, wanted)) && !options_.replace) {
        throw IoError(directory_ + "/" + joined(parent_->host, name), 0, 0,
                      "is there already; --force replaces it");
      }
      name = fmt::format("{}~{}", wanted, twin);
    }
    made_.insert(joined(parent_->host, name));
    if (name != wanted) {
      report(file, Severity::caution, FindingCode::name_clash,
             fmt::format("{}: became {}", printable(file.path), printable(name)));
    }
    return true;
  }

  [[nodiscard]] bool may_replace(const std::string& name) const {
    return options_.replace && !made_.contains(joined(parent_->host, name));
  }

  void report(const FileVisit& file, Severity severity, FindingCode code, std::string message) {
    findings_->push_back({severity, code, {}, file.entry.place, 0, std::move(message)});
  }

  void leave_out(const FileVisit& file, const std::string& reason) {
    ++taken_.left_out;
    report(file, Severity::caution, FindingCode::file_left_out,
           fmt::format("{}: left out: {}", printable(file.path), reason));
  }

  void add_directory(const FileVisit& file, std::string name) {
    const std::string path(file.path);
    if (const auto known = names_.find(path); known != names_.end()) {
      keep_directory(file, known->second);
      return;
    }
    const bool made = make_named(file, name, [&](const char* at) {
      if (mkdirat(parent_->descriptor.get(), at, kDirectoryWhileWriting) == 0) return 0;
      // A directory that is there may be filled up.
      struct stat status {};
      const int error = errno;
      const bool reuse =
          error == EEXIST && may_replace(at) &&
          fstatat(parent_->descriptor.get(), at, &status, AT_SYMLINK_NOFOLLOW) == 0 &&
          S_ISDIR(status.st_mode);
      return reuse ? 0 : error;
    });
    if (!made) return;
    const std::string host = joined(parent_->host, name);
    names_.emplace(path, host);
    keep_directory(file, host);
  }

  void keep_directory(const FileVisit& file, const std::string& host) {
    ++taken_.directories;
    directories_.push_back({host, mode_of(file.attributes, 0777), file.attributes.uid,
                            file.attributes.gid, times_of(file.attributes)});
  }

  // A further name of a file that was made before.
  bool add_as_link(const FileVisit& file, std::string& name) {
    const Attributes& attributes = file.attributes;
    if (attributes.identity == 0 || attributes.links.value_or(1) < 2) return false;
    const auto first = first_names_.find(attributes.identity);
    if (first == first_names_.end()) return false;
    const bool made = make_named(file, name, [&](const char* at) {
      return linkat(root_.get(), first->second.c_str(), parent_->descriptor.get(), at, 0) == 0
                 ? 0
                 : errno;
    });
    if (made) ++taken_.links;
    return true;
  }

  void remember_name(const FileVisit& file, const std::string& name) {
    const Attributes& attributes = file.attributes;
    if (attributes.identity == 0 || attributes.links.value_or(1) < 2) return;
    first_names_.emplace(attributes.identity, joined(parent_->host, name));
  }

  void add_file(const FileVisit& file, std::string name, Volume& volume, const View& view) {
    if (add_as_link(file, name)) return;
    const Attributes& attributes = file.attributes;
    if (attributes.bytes > static_cast<std::uint64_t>(std::numeric_limits<off_t>::max())) {
      leave_out(file, fmt::format("it claims {} bytes", attributes.bytes));
      return;
    }
    Descriptor out;
    const bool made = make_named(file, name, [&](const char* at) {
      out = Descriptor(openat(parent_->descriptor.get(), at,
                              O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, kWhileWriting));
      return out.get() >= 0 ? 0 : errno;
    });
    if (!made) return;
    CopyJob job{.out = std::move(out),
                .host = joined(parent_->host, name),
                .path = std::string(file.path),
                .view = view,
                .extents = {},
                .bytes = attributes.bytes,
                .mode = mode_of(attributes, 0666),
                .times = times_of(attributes),
                .uid = {},
                .gid = {}};
    if (options_.owner) {
      job.uid = attributes.uid;
      job.gid = attributes.gid;
    }
    each_present_extent(volume, view, file.entry.node, [&](const Extent& extent) {
      job.extents.push_back(extent);
      taken_.bytes += extent.absent ? 0 : extent.bytes;
      return true;
    });
    ++taken_.files;
    remember_name(file, name);
    copier_->copy(std::move(job), [this] { return go_on(); });
    take_report(*findings_);
  }

  [[nodiscard]] bool go_on() const { return !options_.on_progress || options_.on_progress(taken_); }

  void take_report(std::vector<Finding>& findings) {
    ContentCopier::Report report = copier_->take_report();
    taken_.left_out += report.left_out;
    taken_.files -= report.left_out;
    std::ranges::move(report.findings, std::back_inserter(findings));
  }

  void add_symlink(const FileVisit& file, std::string name, Volume& volume) {
    if (add_as_link(file, name)) return;
    const std::string target = volume.link_target(file.entry.node);
    if (target.empty() || target.find('\0') != std::string::npos) {
      leave_out(file, "the link leads nowhere");
      return;
    }
    const bool made = make_named(file, name, [&](const char* at) {
      return symlinkat(target.c_str(), parent_->descriptor.get(), at) == 0 ? 0 : errno;
    });
    if (!made) return;
    const int parent = parent_->descriptor.get();
    if (options_.owner) give_owner(parent, name.c_str(), file.attributes.uid, file.attributes.gid);
    const auto times = times_of(file.attributes);
    if (utimensat(parent, name.c_str(), times.data(), AT_SYMLINK_NOFOLLOW) != 0) fail(name);
    ++taken_.links;
    remember_name(file, name);
  }

  void add_special(const FileVisit& file, std::string name) {
    if (!options_.devices) {
      leave_out(file, fmt::format("it is a {}; --devices makes those",
                                  node_type_name(file.attributes.type)));
      return;
    }
    if (add_as_link(file, name)) return;
    const Attributes& attributes = file.attributes;
    const mode_t kind = attributes.type == NodeType::char_device    ? S_IFCHR
                        : attributes.type == NodeType::block_device ? S_IFBLK
                        : attributes.type == NodeType::fifo         ? S_IFIFO
                                                                    : S_IFSOCK;
    const DeviceNumber number = attributes.device.value_or(DeviceNumber{});
    const bool made = make_named(file, name, [&](const char* at) {
      return mknodat(parent_->descriptor.get(), at, kind | kWhileWriting,
                     makedev(number.major, number.minor)) == 0
                 ? 0
                 : errno;
    });
    if (!made) return;
    const int parent = parent_->descriptor.get();
    if (options_.owner) give_owner(parent, name.c_str(), attributes.uid, attributes.gid);
    if (fchmodat(parent, name.c_str(), mode_of(attributes, 0666), 0) != 0) fail(name);
    const auto times = times_of(attributes);
    if (utimensat(parent, name.c_str(), times.data(), AT_SYMLINK_NOFOLLOW) != 0) fail(name);
    ++taken_.others;
    remember_name(file, name);
  }

  std::string directory_;
  SinkOptions options_;
  mode_t mask_;
  Descriptor root_;
  bool top_made_ = true;
  std::string top_;                                     // directory of the volume, below the root
  std::unordered_map<std::string, std::string> names_;  // decoded path of a directory -> host path
  std::unordered_set<std::string> made_;                // host paths
  std::unordered_map<std::uint64_t, std::string> first_names_;
  std::optional<Parent> parent_;
  std::vector<MadeDirectory> directories_;
  std::vector<Finding>* findings_ = nullptr;
  std::optional<ContentCopier> copier_;  // last: its thread works on what is above
};

}  // namespace

std::unique_ptr<FileSink> directory_sink(const std::string& directory, const SinkOptions& options) {
  return std::make_unique<DirectorySink>(directory, options);
}

}  // namespace platter
